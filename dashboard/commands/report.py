"""``report``: everything in one file to hand over, as PDF or HTML."""

import argparse
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

from analysis.base.time import from_ms
from analysis.exchange.commissioning import newest_reports
from analysis.plant.exchanges import KnownSwap, swaps_of
from collector.errors import FormError
from collector.installation.site import journal_to_read
from collector.journal.exchanges import SwapBook, known_swaps, swap_book
from collector.journal.trials import TrialBook
from collector.store.protocol import clock_ms
from dashboard.command_line.command import (
    Asked,
    answer,
    asked_records,
    record_arguments,
    say,
    settings_of,
    status,
)
from dashboard.report.as_html import html_document
from dashboard.report.as_pdf import pdf_document
from dashboard.report.blocks import Picture, Report, photo
from dashboard.report.report_data import Kept, gather
from dashboard.report.sections import sections


def arguments(parser: argparse.ArgumentParser) -> None:
    """Those of every analysis, and the files to write."""
    parser.add_argument(
        "out", nargs="+", type=Path, metavar="FILE", help="files to write: name.pdf, name.html"
    )
    record_arguments(parser)
    parser.add_argument("--title", help="title of the report (the name of the plant)")


_WRITERS: dict[str, Callable[[Report], bytes]] = {".pdf": pdf_document, ".html": html_document}


def run(arguments: argparse.Namespace) -> int:
    """Write the report into every file asked for."""
    for out in arguments.out:
        if out.suffix.lower() not in _WRITERS:
            raise FormError([f"{out}: a report is written as .pdf or .html; name the file so"])
    found = asked_records(arguments)
    if len(found) != 1:
        raise FormError(["--plant: a report is about one plant; name its file"])
    (asked,) = found
    if asked.span.end_ms <= asked.span.start_ms:
        raise FormError([f"{asked.plant.name}: no readings in this time; nothing to report"])
    report = _report(asked, arguments)
    sizes = {str(out): _write(out, report) for out in arguments.out}
    if arguments.json:
        names = [section.title for section in report.sections]
        answer({"plant": asked.plant.name, "files": sizes, "sections": names})
    else:
        for name, size in sizes.items():
            say(f"{name}: {size / 1000:.0f} kB")
    return status(found)


def _report(asked: Asked, arguments: argparse.Namespace) -> Report:
    now_ms = clock_ms()
    matter = gather(asked, _kept(asked, arguments), now_ms)
    start, end = (from_ms(t) for t in (asked.span.start_ms, asked.span.end_ms))
    return Report(
        title=arguments.title or f"Heating plant report: {asked.plant.name}",
        made=f"Made on {from_ms(now_ms):%d %B %Y} by Stokehold",
        span=f"Readings from {start:%d %B %Y} to {end:%d %B %Y}",
        sections=sections(matter),
    )


def _kept(asked: Asked, arguments: argparse.Namespace) -> Kept:
    """What the journal knows; of a log alone only the plant file's swaps."""
    plant = asked.plant
    if arguments.log is not None:
        known = [one for pump in plant.pumps for one in swaps_of(plant, pump.id, ())]
        return Kept(swaps=tuple(known), fitted=_fitted(asked, known), trials={}, photos={})
    settings = settings_of(arguments)
    with closing(journal_to_read(settings)) as journal:
        book, trials = swap_book(settings, journal), TrialBook(journal)
        known = known_swaps(book, plant)
        tried = {pump.id: trials.result(plant.key, pump.id) for pump in plant.pumps}
        return Kept(
            swaps=tuple(known),
            fitted=_fitted(asked, known),
            trials={pump: result[1] for pump, result in tried.items() if result},
            entries=tuple(journal.logbook(plant.key)),
            photos=_photos(book, known),
        )


def _fitted(asked: Asked, known: list[KnownSwap]) -> tuple[Any, ...]:
    return tuple(newest_reports(asked.plant, known, asked.record, asked.span.end_ms))


def _photos(book: SwapBook, known: list[KnownSwap]) -> dict[str, tuple[Picture, ...]]:
    """Pictures of the records, those left out whose file is gone, altered or no picture."""
    found: dict[str, tuple[Picture, ...]] = {}
    for one in known:
        if one.record is None:
            continue
        damaged = {p.name for p in book.damaged(one.record)}
        kept = [p for p in one.record.photos if p.name not in damaged]
        made = [photo(book.photo_path(p), p.words or p.name) for p in kept]
        found[one.swap.pump] = (
            *found.get(one.swap.pump, ()),
            *(picture for picture in made if picture is not None),
        )
    return found


def _write(out: Path, report: Report) -> int:
    try:
        return out.write_bytes(_WRITERS[out.suffix.lower()](report))
    except OSError as error:
        raise FormError(
            [f"{out}: cannot be written ({error.strerror}); check folder and space"]
        ) from error
