"""What a pump's exchange saved, against what was claimed."""

import argparse
from contextlib import closing
from dataclasses import replace
from typing import Any

from analysis.base.time import format_rfc3339, to_ms
from analysis.energy.payback import Terms
from analysis.plant.plant import Plant, Swap
from analysis.savings.burner_starts import cyclings
from analysis.savings.drawn_years import Question
from analysis.savings.result import Saving
from analysis.savings.saving import saving_of, together
from collector.errors import FormError
from collector.installation.site import journal_to_read
from collector.journal.exchanges import as_recorded, swap_book
from dashboard.command_line.argument_types import HOURS_A_YEAR, NOT_NEGATIVE, POSITIVE, SHARE
from dashboard.command_line.command import (
    Asked,
    answer_each,
    asked_records,
    head,
    in_words,
    record_arguments,
    say,
    settings_of,
    status,
)
from dashboard.parts.words import years


def arguments(parser: argparse.ArgumentParser) -> None:
    """Those of every analysis, which pump, and how to reckon."""
    record_arguments(parser)
    parser.add_argument("--pump", metavar="ID", help="only exchanges of this pump")
    parser.add_argument(
        "--hours",
        type=HOURS_A_YEAR,
        metavar="H",
        help="running hours a year that you state, where none were measured (option A)",
    )
    parser.add_argument(
        "--hours-within",
        type=SHARE,
        default=0.1,
        metavar="SHARE",
        help="the hours are right within this share (0.1)",
    )
    parser.add_argument(
        "--two-plugs",
        action="store_true",
        help="the new pump was measured by another plug than the old one",
    )
    money_arguments(parser)


def money_arguments(parser: argparse.ArgumentParser) -> None:
    """``--cost``, ``--spent-anyway``, ``--years``, ``--interest``."""
    parser.add_argument(
        "--cost", type=NOT_NEGATIVE, metavar="MONEY", help="what the exchange costs"
    )
    parser.add_argument(
        "--spent-anyway",
        type=NOT_NEGATIVE,
        default=0.0,
        metavar="MONEY",
        help="part of the cost that a worn pump would have brought anyway",
    )
    parser.add_argument(
        "--years", type=POSITIVE, default=10.0, help="the new pump lasts so many years (10)"
    )
    parser.add_argument(
        "--interest", type=SHARE, default=0.03, help="interest a year, as a share (0.03)"
    )


def terms_of(arguments: argparse.Namespace, *, within: float = 0.0) -> Terms | None:
    """Terms of the investment, None without a cost."""
    if arguments.cost is None:
        return None
    return Terms(
        investment=arguments.cost,
        years=arguments.years,
        interest=arguments.interest,
        investment_share=within,
        avoided=arguments.spent_anyway,
    )


def run(arguments: argparse.Namespace) -> int:
    """Saving of every swap of the plant."""
    found = [_with_records(a, arguments) for a in asked_records(arguments)]
    results = [(a, _savings(a, arguments)) for a in found]
    if arguments.json:
        answer_each([_document(a, savings) for a, savings in results])
        return status(found)
    for asked, savings in results:
        say(f"{asked.plant.name}, {asked.span.days:.1f} days")
        for saving in savings:
            _say_saving(saving)
            for one in cyclings(asked.plant, saving.swap, asked.record, span=asked.span):
                say(
                    f"    starts a day of {one.boiler}: {one.before_per_day:.1f} before, "
                    f"{one.after_per_day:.1f} since; {in_words(one.change)}"
                )
        if len(savings) > 1:
            both = together(savings).document()
            say(f"  all swaps together: {in_words(together(savings).per_year)}")
            say(f"    {_verdict(both['verdict'])}: {both['why']}")
    return status(found)


def _with_records(asked: Asked, arguments: argparse.Namespace) -> Asked:
    """The plant with the swaps recorded in the journal, where the store is asked."""
    if arguments.log is not None:
        return asked
    settings = settings_of(arguments)
    with closing(journal_to_read(settings)) as journal:
        return replace(asked, plant=as_recorded(swap_book(settings, journal), asked.plant))


def _savings(asked: Asked, arguments: argparse.Namespace) -> list[Saving]:
    hours = arguments.hours
    asked_for = {
        "hours": None if hours is None else (hours, hours * arguments.hours_within),
        "terms": terms_of(arguments),
    } | ({"same_plug": False} if arguments.two_plugs else {})
    return [
        saving_of(
            asked.plant,
            swap,
            asked.record,
            span=asked.span,
            question=Question.of_swap(asked.plant, swap, **asked_for),
        )
        for swap in _swaps(asked.plant, arguments.pump)
    ]


def _swaps(plant: Plant, pump: str | None) -> list[Swap]:
    swaps = [s for s in plant.swaps if pump is None or s.pump == pump]
    if not swaps:
        which = "" if pump is None else f" of pump {pump!r}"
        remedy = "write a [[swap]] table into the plant file, or record it: 'stokehold swap'"
        raise FormError([f"{plant.name}: no swap{which} is known; {remedy}"])
    return swaps


def _document(asked: Asked, savings: list[Saving]) -> dict[str, Any]:
    """One swap stands as it is, several in a list with their sum."""
    if len(savings) == 1:
        return head(asked) | _with_cycling(asked, savings[0])
    return head(asked) | {
        "swaps": [_with_cycling(asked, s) for s in savings],
        "together": together(savings).document(),
    }


def _with_cycling(asked: Asked, saving: Saving) -> dict[str, Any]:
    found = cyclings(asked.plant, saving.swap, asked.record, span=asked.span)
    return saving.document() | {"cycling": [one.document() for one in found]}


def _verdict(word: str | None) -> str:
    return "nothing was claimed" if word is None else word.replace("_", " ")


def _say_saving(saving: Saving) -> None:
    say(f"  {saving.swap.pump}, swapped {format_rfc3339(to_ms(saving.swap.time))}")
    for words, side in (("before", saving.before), ("after", saving.after)):
        power = "" if side.running_w.value is None else f"{side.running_w.value:.1f} W running, "
        say(f"    {words}: {side.days} days {side.basis}, {power}a year {in_words(side.per_year)}")
    say(f"    saved so far: {in_words(saving.so_far)}")
    say(f"    a year, projected: {in_words(saving.per_year)}")
    claim = saving.swap.claim_kwh_per_year
    say(f"    claimed: {'nothing' if claim is None else f'{claim:.0f} kWh a year'}")
    say(f"    {_verdict(saving.verdict.word)}: {saving.verdict.why}")
    if saving.ceiling is not None:
        say(f"    ceiling: {saving.ceiling.sum_in_words}")
    say(f"    method: {saving.method}")
    doubts = ", ".join(f"{name} {width:.0f}" for name, width in saving.parts.items())
    say(f"    doubt, kWh either way: {doubts}")
    say(f"    worth: {in_words(saving.worth.electricity)}; with the fuel that replaces the")
    say(f"      pump's heat: {in_words(saving.worth.net)}")
    if saving.worth.investment is not None:
        payback = saving.worth.investment["payback_years"]
        say(f"    pays back {years(payback['low'], payback['high'])}")
    for note in saving.notes:
        say(f"    note: {note}")
