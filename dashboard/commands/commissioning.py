"""``commissioning``: how the fitting looks a day, a week, a month, a heated fortnight later."""

import argparse
from contextlib import closing

from analysis.base.time import format_rfc3339
from analysis.exchange.commissioning import (
    STAGE_WORDS,
    CommissioningReport,
    FittingCheck,
    newest_reports,
)
from analysis.plant.exchanges import KnownSwap, swaps_of
from collector.installation.site import journal_to_read
from collector.journal.exchanges import known_swaps, swap_book
from dashboard.command_line.command import (
    TOLD,
    Asked,
    answer_each,
    asked_records,
    head,
    record_arguments,
    say,
    settings_of,
    status,
)
from dashboard.parts.words import likelihood


def arguments(parser: argparse.ArgumentParser) -> None:
    """Those of every analysis, and whether a mistake found sets the exit status."""
    record_arguments(parser)
    parser.add_argument(
        "--fail-on-finding", action="store_true", help="end with status 1 if there is a mistake"
    )


def run(arguments: argparse.Namespace) -> int:
    """The reports due for each pump's newest swap."""
    found = asked_records(arguments)
    results = [
        (a, newest_reports(a.plant, _known(a, arguments), a.record, a.span.end_ms)) for a in found
    ]
    if arguments.json:
        answer_each([head(a) | {"reports": [r.document() for r in rs]} for a, rs in results])
    else:
        for asked, reports in results:
            _say_reports(asked, reports)
    any_found = any(report.found for _, reports in results for report in reports)
    return TOLD if arguments.fail_on_finding and any_found else status(found)


def _known(asked: Asked, arguments: argparse.Namespace) -> list[KnownSwap]:
    """Swaps of the plant file, with their records where the store is asked."""
    if arguments.log is not None:
        return [one for pump in asked.plant.pumps for one in swaps_of(asked.plant, pump.id, ())]
    settings = settings_of(arguments)
    with closing(journal_to_read(settings)) as journal:
        return known_swaps(swap_book(settings, journal), asked.plant)


def _say_reports(asked: Asked, reports: list[CommissioningReport]) -> None:
    if not reports:
        say(f"{asked.plant.name}: no swap lies a day or more before the last reading")
    for report in reports:
        say(
            f"{asked.plant.name}, {report.pump}: {STAGE_WORDS[report.stage]} after the swap of "
            f"{format_rfc3339(report.swap_ms)}"
        )
        for check in report.checks:
            _say_check(check)


def _say_check(check: FittingCheck) -> None:
    judged = check.judged
    if judged.state == "unknown":
        say(f"  ? {check.mistake.title}: cannot be said, needs {judged.needs}")
        return
    mark = "!" if judged.state == "found" else "-"
    verdict = f"found, {likelihood(judged.confidence)}" if mark == "!" else "no sign of it"
    say(f"  {mark} {check.mistake.title}: {verdict}")
    if judged.state != "found":
        return
    for sign in judged.evidence:
        value = "" if sign.value is None else f" {sign.value:.3g} {sign.unit}"
        say(f"      {sign.channel}: {sign.what}{value}; expected {sign.expected}")
    say(f"      do: {check.mistake.do}")
    say(f"      who: {check.mistake.who}")
