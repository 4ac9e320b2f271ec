"""``swap``: a pump's exchange as a record, and the guided list that leads through it."""

import argparse
import sys
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from analysis.base.time import format_rfc3339
from analysis.exchange.checklist import STEPS, Step, next_step
from analysis.plant.exchanges import KnownSwap, PumpCard, SettingPower, StepDone, SwapRecord
from analysis.plant.plant import Plant
from collector.errors import FormError
from collector.files.plant_file import load_plants
from collector.installation.site import journal_to_read, open_journal
from collector.journal.exchanges import (
    WHICH,
    SwapBook,
    begin_swap,
    known_swaps,
    note_swap,
    swap_book,
    tick_step,
)
from collector.journal.journal import Journal
from collector.store.protocol import clock_ms
from dashboard.command_line.argument_types import NOT_NEGATIVE
from dashboard.command_line.command import (
    DONE,
    TOLD,
    answer,
    answer_each,
    json_argument,
    moment,
    plant_argument,
    say,
    settings_of,
    warn,
)
from dashboard.commands.logbook import one_plant
from dashboard.parts.words import count

_CARD_KEYS: dict[str, Callable[[str], Any]] = {
    "drive": lambda text: _one_of(text, ("electronic", "induction")),
    "length": int,
    "thread": str,
    "head": float,
    "least": float,
    "most": float,
    "index": float,
    "always_on": lambda text: {"yes": True, "no": False}[text],
    "plug": str,
}
_CARD_FIELDS = {
    "length": "port_to_port_mm",
    "head": "head_m",
    "least": "least_w",
    "most": "most_w",
    "index": "energy_index",
}


def arguments(parser: argparse.ArgumentParser) -> None:
    """What to do, of which pump, and what to write down."""
    choices = ("list", "start", "record", "show", "guide")
    parser.add_argument("do", nargs="?", choices=choices, default="list")
    plant_argument(parser)
    json_argument(parser)
    parser.add_argument("--pump", metavar="ID", help="pump that is exchanged")
    parser.add_argument("--who", default="", help="who does it")
    parser.add_argument(
        "--time", metavar="TIME", help="when the new pump went in: RFC 3339 time with offset"
    )
    parser.add_argument(
        "--claim", type=NOT_NEGATIVE, metavar="KWH", help="saving a year that was promised [kWh]"
    )
    parser.add_argument("--mode", metavar="WORDS", help="mode and setting of the new pump")
    parser.add_argument(
        "--night", choices=("on", "off"), help="whether night reduction is on at the new pump"
    )
    keys = " ".join(f"{key}=..." for key in _CARD_KEYS)
    for which in WHICH:
        parser.add_argument(
            f"--{which}", nargs="+", default=[], metavar="KEY=VALUE", help=f"{which} pump: {keys}"
        )
    parser.add_argument("--done", nargs="+", default=[], metavar="STEP", help="steps that are done")
    parser.add_argument("--words", default="", help="remark on the steps or the photo")
    parser.add_argument("--photo", type=Path, metavar="FILE", help="keep this photo")
    parser.add_argument(
        "--watts",
        nargs="+",
        default=[],
        metavar="PUMP:SETTING=W",
        help="measured power, like old:III=64.2 or, with its interval, new:I=6.1..5.8..6.4",
    )


def run(arguments: argparse.Namespace) -> int:
    """Do what is asked with the records of this installation."""
    plants = load_plants(arguments.plant)
    settings = settings_of(arguments)
    opened = journal_to_read if arguments.do in ("list", "show") else open_journal
    with closing(opened(settings)) as journal:
        book = swap_book(settings, journal)
        if arguments.do == "list":
            return _list(plants, book, as_json=arguments.json)
        plant = one_plant(plants, "a swap")
        desk = Desk(plant, _pump(plant, arguments), journal, book, arguments)
        return {"start": _start, "record": _write, "show": _show, "guide": _guide}[arguments.do](
            desk
        )


@dataclass(frozen=True, slots=True)
class Desk:
    """Where a swap is worked on: plant, pump, journal, records and what was asked."""

    plant: Plant
    pump: str
    journal: Journal
    book: SwapBook
    asked: argparse.Namespace

    @property
    def record(self) -> SwapRecord:
        """The pump's newest record, as it stands now."""
        return self.book.open_record(self.plant.key, self.pump)


def _pump(plant: Plant, arguments: argparse.Namespace) -> str:
    known = [pump.id for pump in plant.pumps]
    if arguments.pump is None and len(known) == 1:
        return known[0]
    if arguments.pump not in known:
        raise FormError(
            [f"--pump: '{arguments.pump}' is no pump of {plant.name}; known: {', '.join(known)}"]
        )
    return str(arguments.pump)


# list


def _list(plants: list[Plant], book: SwapBook, *, as_json: bool) -> int:
    found = [(plant, known_swaps(book, plant)) for plant in plants]
    if as_json:
        answer_each(
            [{"plant": p.name, "swaps": [_known_document(k) for k in ks]} for p, ks in found]
        )
        return DONE
    for plant, known in found:
        say(f"{plant.name}, {count(len(known), 'swap')}")
        for one in known:
            number = f"record {one.record.id}" if one.record else "plant file only"
            say(f"  {format_rfc3339(_time(one))} {one.swap.pump} ({number})")
        for record in _unfinished(plant, book):
            say(f"  {record.pump}: begun {format_rfc3339(record.started_ms)}, not finished")
    return DONE


def _unfinished(plant: Plant, book: SwapBook) -> list[SwapRecord]:
    return [r for r in book.records(plant.key) if r.time_ms is None]


def _time(known: KnownSwap) -> int:
    return round(known.swap.time.timestamp() * 1000)


def _known_document(known: KnownSwap) -> dict[str, Any]:
    return {
        "pump": known.swap.pump,
        "time": format_rfc3339(_time(known)),
        "claim_kwh_per_year": known.swap.claim_kwh_per_year,
        "record": known.record.document() if known.record else None,
    }


# start and record


def _start(desk: Desk) -> int:
    pump = next(p for p in desk.plant.pumps if p.id == desk.pump)
    begin_swap(desk.book, desk.plant, pump, now_ms=clock_ms(), who=desk.asked.who)
    return _write(desk)


def _with_head(record: SwapRecord, asked: argparse.Namespace) -> SwapRecord:
    return replace(
        record,
        who=asked.who or record.who,
        mode=record.mode if asked.mode is None else asked.mode,
        night_reduction=record.night_reduction if asked.night is None else asked.night == "on",
        claim_kwh_per_year=record.claim_kwh_per_year if asked.claim is None else asked.claim,
        time_ms=moment("--time", asked.time) if asked.time else record.time_ms,
        old=_card(record.old, "--old", asked.old),
        new=_card(record.new, "--new", asked.new),
    )


def _card(card: PumpCard, argument: str, pairs: list[str]) -> PumpCard:
    given = {}
    for pair in pairs:
        key, _, text = pair.partition("=")
        try:
            given[_CARD_FIELDS.get(key, key)] = _CARD_KEYS[key](text)
        except (KeyError, ValueError) as error:
            known = ", ".join(_CARD_KEYS)
            raise FormError(
                [f"{argument}: '{pair}' cannot be understood; write KEY=VALUE with {known}"]
            ) from error
    return replace(card, **given)


def _one_of(text: str, known: tuple[str, ...]) -> str:
    if text not in known:
        raise ValueError(text)
    return text


def _write(desk: Desk) -> int:
    asked, book = desk.asked, desk.book
    powers = [_setting_power(text) for text in asked.watts]
    head = _with_head(desk.record, asked)
    if asked.photo is not None:
        book.add_photo(desk.record, asked.photo, asked.words)
    book.save(head)
    for step in asked.done:
        tick(desk, step, asked.words)
    for power in powers:
        book.add_power(desk.record, power)
    note_swap(desk.journal, desk.record)
    return _show(desk)


def _setting_power(text: str) -> SettingPower:
    head, _, figures = text.partition("=")
    which, _, setting = head.partition(":")
    try:
        watts = [float(figure) for figure in figures.split("..")]
    except ValueError:
        watts = []
    if which not in WHICH or not setting or len(watts) not in (1, 3):
        raise FormError([f"--watts: '{text}' cannot be understood; write old:III=64.2"])
    power = watts[0]
    # Plug class and reading together, where no interval is given: common practice, no source.
    low, high = watts[1:] or (power - 0.05 * power - 0.5, power + 0.05 * power + 0.5)
    return SettingPower("old" if which == "old" else "new", setting, power, low, high)


def tick(desk: Desk, step: str, words: str) -> None:
    """Tick a step off, by whom the command names."""
    done = StepDone(clock_ms(), desk.asked.who or desk.record.who, words)
    tick_step(desk.book, desk.journal, desk.record, step, done)


# show


def _show(desk: Desk) -> int:
    record = desk.record
    damaged = desk.book.damaged(record)
    document = record.document() | {
        "plant": desk.plant.name,
        "damaged_photos": [photo.name for photo in damaged],
        "open_steps": [step.name for step in STEPS if step.name not in record.steps],
    }
    if desk.asked.json:
        answer(document)
    else:
        _say_record(record)
    for photo in damaged:
        warn(f"{desk.book.photo_path(photo)}: gone or changed since it was kept; use a backup")
    return TOLD if damaged else DONE


def _say_record(record: SwapRecord) -> None:
    when = format_rfc3339(record.time_ms) if record.time_ms is not None else "not finished"
    say(f"swap {record.id} of {record.pump}: {when}{f', {record.who}' if record.who else ''}")
    for which, card in (("old", record.old), ("new", record.new)):
        say(f"  {which}: {card_words(card)}")
        for power in (p for p in record.powers if p.which == which):
            say(
                f"    at {power.setting}: {power.power_w:.1f} W "
                f"({power.low_w:.1f} to {power.high_w:.1f})"
            )
    night = {True: ", night reduction on", False: ", night reduction off", None: ""}
    say(f"  mode: {record.mode or 'not written down'}{night[record.night_reduction]}")
    for photo in record.photos:
        say(f"  photo {photo.name} {photo.words}")
    for step in STEPS:
        say(f"  [{'x' if step.name in record.steps else ' '}] {step.name}: {step.words}")


def card_words(card: PumpCard) -> str:
    """A pump's card in one line."""
    watts = None if card.most_w is None else f"{card.least_w or 0:g} to {card.most_w:g} W"
    parts = (
        card.drive,
        None if card.port_to_port_mm is None else f"{card.port_to_port_mm} mm",
        card.thread,
        None if card.head_m is None else f"{card.head_m:g} m head",
        watts,
        None if card.energy_index is None else f"energy index {card.energy_index:g}",
        {True: "always on", False: "switched", None: None}[card.always_on],
        None if card.plug is None else f"on plug {card.plug}",
    )
    return ", ".join(part for part in parts if part) or "nothing known"


# guide


def _guide(desk: Desk) -> int:
    """Lead through the open steps; whatever is ticked is kept at once, so it can be resumed."""
    passed: list[str] = []
    while step := next_step(desk.record.steps, passed):
        _say_step(step)
        reply = _ask("    done? [Enter = done, s = skip for now, q = stop here, or a remark] ")
        if reply is None or reply == "q":
            say("Stopped; the same command goes on from here.")
            return DONE
        if reply == "s":
            passed.append(step.name)
            continue
        tick(desk, step.name, reply)
    note_swap(desk.journal, desk.record)
    left = [step.name for step in STEPS if step.name not in desk.record.steps]
    say(f"Still open: {', '.join(left)}" if left else "Every step is done.")
    return DONE


def _say_step(step: Step) -> None:
    say(f"{step.name}: {step.words}")
    if step.caution:
        say(f"    caution: {step.caution}")
    say(f"    who: {step.who}")


def _ask(question: str) -> str | None:
    """A line from standard input, None where it has ended."""
    sys.stdout.write(question)
    sys.stdout.flush()
    line = sys.stdin.readline()
    say()
    return line.strip() if line else None
