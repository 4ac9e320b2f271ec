"""What every command is made of: its words, its arguments, and how it answers."""

import argparse
import sys
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from importlib import import_module
from pathlib import Path
from typing import Any, Protocol, cast

import orjson

from analysis.base.estimate import Estimate
from analysis.base.formatting import within
from analysis.base.time import EARLIEST_MS, LATEST_MS, Span, format_rfc3339, parse_rfc3339
from analysis.plant.plant import Plant
from analysis.readings.readings import Record, record_span
from analysis.readings.worked_once import kept
from collector.errors import FormError, LogFileError
from collector.files.log_file import Report, load_log
from collector.files.plant_file import load_plants
from collector.files.settings import JOURNAL_ADDRESS, BrokerSettings, Settings, load_settings
from collector.installation.site import journal_to_read, open_journal
from collector.journal.exchanges import as_recorded, swap_book
from collector.journal.journal import Journal
from collector.store.opening import beside, open_to_read
from collector.store.protocol import StoreRecord, clock_ms, plant_extent
from dashboard.command_line.argument_types import PORT

DONE, TOLD, UNUSABLE = 0, 1, 2
"""Exit status: done; something to be told; the input cannot be used."""


class CommandModule(Protocol):
    """What a module of ``dashboard.commands`` offers."""

    def arguments(self, parser: argparse.ArgumentParser) -> None:
        """Add the command's arguments."""

    def run(self, arguments: argparse.Namespace) -> int:
        """Run the command and give its exit status."""


@dataclass(frozen=True, slots=True)
class Command:
    """One command of the program; its module is loaded only when it is called."""

    name: str
    words: str
    module: str = ""

    def load(self) -> CommandModule:
        """The module that knows its arguments and runs it."""
        found = import_module(f"dashboard.commands.{self.module or self.name}")
        return cast("CommandModule", found)


def say(text: str = "") -> None:
    """Write a line for a person on standard output, at once even where it is piped on."""
    print(text, flush=True)


def warn(text: str) -> None:
    """Write a line on standard error."""
    print(text, file=sys.stderr)


def answer(document: Any) -> None:
    """Write one JSON document on standard output."""
    sys.stdout.write(orjson.dumps(document, option=orjson.OPT_INDENT_2).decode() + "\n")


def plant_argument(parser: argparse.ArgumentParser) -> None:
    """``--plant``, ``--settings``."""
    parser.add_argument(
        "--plant", type=Path, required=True, metavar="FILE", help="plant file, or a folder of them"
    )
    parser.add_argument(
        "--settings", type=Path, metavar="FILE", help="settings of this installation"
    )


def json_argument(parser: argparse.ArgumentParser) -> None:
    """``--json``."""
    parser.add_argument("--json", action="store_true", help="answer with one JSON document")


def broker_arguments(parser: argparse.ArgumentParser) -> None:
    """``--broker``, ``--port``, ``--username``; the password comes from the environment."""
    parser.add_argument("--broker", metavar="HOST", help="name or address of the broker")
    parser.add_argument("--port", type=PORT, help="port of the broker (1883, or 8883 with TLS)")
    parser.add_argument("--username", help="user name at the broker")


def settings_of(arguments: argparse.Namespace) -> Settings:
    """Settings from the file named, with the broker named on the command line.

    Raises
    ------
    FormError
        The file cannot be used.
    """
    settings = load_settings(getattr(arguments, "settings", None))
    given = {
        key: value
        for key, argument in (("host", "broker"), ("port", "port"), ("username", "username"))
        if (value := getattr(arguments, argument, None)) is not None
    }
    broker: BrokerSettings = replace(settings.broker, **given)
    return replace(settings, broker=broker)


def record_arguments(parser: argparse.ArgumentParser) -> None:
    """What every analysis takes: plant, a log or the store, and a span."""
    plant_argument(parser)
    json_argument(parser)
    parser.add_argument("--log", type=Path, metavar="LOG", help="read this log file, not the store")
    parser.add_argument(
        "--from", dest="start", metavar="TIME", help="begin here: RFC 3339 time with offset"
    )
    parser.add_argument(
        "--to", dest="end", metavar="TIME", help="end here: RFC 3339 time with offset"
    )


@dataclass(frozen=True, slots=True)
class Asked:
    """One plant with its readings and the span asked for, and whether rows were left out."""

    plant: Plant
    record: Record
    span: Span
    had_bad_rows: bool


def asked_records(arguments: argparse.Namespace) -> list[Asked]:
    """Plants with their readings, from a log or from the store.

    Raises
    ------
    StokeholdError
        Plant file, log or store cannot be used.
    """
    settings = settings_of(arguments)
    plants = settings.ruled(load_plants(arguments.plant))
    if arguments.log is not None:
        if len(plants) > 1:
            raise FormError(["--log: a log belongs to one plant; give --plant one file"])
        return [_from_log(plants[0], arguments)]
    store = open_to_read(settings, plants)
    with closing(journal_to_read(settings)) as journal:
        book = swap_book(settings, journal)
        plants = [as_recorded(book, plant) for plant in plants]
    found = []
    for plant in plants:
        span = _span(plant_extent(store, plant), arguments)
        found.append(Asked(plant, StoreRecord(store, plant, span), span, had_bad_rows=False))
    return found


def existing_journal(settings: Settings) -> Journal:
    """Open the journal to read; one that is not there is not made.

    Raises
    ------
    FormError
        There is none.
    """
    path = beside(settings.at(settings.store.path), "journal")
    if settings.secret(JOURNAL_ADDRESS, settings.store.journal_file) is None and not path.exists():
        raise FormError([f"no journal at {path}; set [store] path in --settings"])
    return open_journal(settings)


def _from_log(plant: Plant, arguments: argparse.Namespace) -> Asked:
    report = Report()
    record = load_log(arguments.log, {c.id: c for c in plant.channels}, report)
    if not record:
        raise LogFileError(_why_empty(arguments.log, report))
    for line in report.words(arguments.log):
        warn(line)
    span = _span(record_span(record), arguments)
    return Asked(plant, kept(record), span, had_bad_rows=report.has_skipped)


def _why_empty(log: Path, report: Report) -> str:
    """Why a log gives nothing to look at, in one line."""
    if report.unknown_channels:
        names = ", ".join(sorted(report.unknown_channels)[:8])
        return (
            f"{log}: none of its channels is in the plant file ({names}); give --plant the file "
            "it belongs to, or add a [[channel]] for each"
        )
    if report.bad:
        first = min(report.shown)
        return f"{log}:{first.line}: {first.why}, nor is any other row usable; mend the file"
    return f"{log}: holds no reading; give a log with rows"


def _span(whole: Span | None, arguments: argparse.Namespace) -> Span:
    if whole is None:
        now_ms = clock_ms()
        whole = Span(now_ms, now_ms)
    start, end = whole.start_ms, whole.end_ms
    if arguments.start is not None:
        start = moment("--from", arguments.start)
    if arguments.end is not None:
        end = moment("--to", arguments.end)
    if end >= start:
        return Span(start, end)
    if arguments.start is None:
        first = format_rfc3339(whole.start_ms)
        raise FormError([f"--to: the readings begin at {first}; give a later time"])
    if arguments.end is None:
        last = format_rfc3339(whole.end_ms)
        raise FormError([f"--from: the readings end at {last}; give an earlier time"])
    raise FormError([REVERSED])


REVERSED = "--to: lies before --from; exchange them"


def moment(argument: str, text: str) -> int:
    """A time given on the command line [ms].

    Raises
    ------
    FormError
        It is none.
    """
    try:
        found = parse_rfc3339(text)
    except (ValueError, OverflowError) as error:
        raise FormError([f"{argument}: {error}"]) from error
    if not EARLIEST_MS <= found <= LATEST_MS:
        raise FormError([f"{argument}: {text} lies outside the years 2000 to 2100; mend it"])
    return found


def answer_each(documents: Sequence[Any]) -> None:
    """One plant's document as it is, several under ``plants``."""
    answer(documents[0] if len(documents) == 1 else {"plants": list(documents)})


def head(asked: Asked) -> dict[str, Any]:
    """What every analysis' document begins with."""
    return {
        "plant": asked.plant.name,
        "from": format_rfc3339(asked.span.start_ms),
        "to": format_rfc3339(asked.span.end_ms),
    }


def status(found: Sequence[Asked]) -> int:
    """Exit status of an analysis."""
    return TOLD if any(a.had_bad_rows for a in found) else DONE


def one_plant(path: Path) -> Plant:
    """The only plant of a file.

    Raises
    ------
    FormError
        The file cannot be used, or it is a folder of several.
    """
    plants = load_plants(path)
    if len(plants) > 1:
        raise FormError(["--plant: give one file here, not a folder of several"])
    return plants[0]


def in_words(estimate: Estimate) -> str:
    """An estimate as a person reads it."""
    if estimate.value is None or estimate.low is None or estimate.high is None:
        return f"unknown, {estimate.reason}"
    said = within(estimate.value, estimate.low, estimate.high, estimate.unit)
    return f"{said.removesuffix(')')}, {estimate.basis})"
