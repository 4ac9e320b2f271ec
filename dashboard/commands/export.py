"""Readings of the store into a log file."""

import argparse
from contextlib import closing
from pathlib import Path

from tqdm import tqdm

from analysis.base.time import Span
from collector.errors import FormError
from collector.files.log_writing import write_log
from collector.store.opening import open_to_read
from collector.store.protocol import ALL_TIME
from collector.store.protocol import address as address_of
from dashboard.command_line.command import (
    DONE,
    REVERSED,
    answer,
    json_argument,
    moment,
    one_plant,
    plant_argument,
    say,
    settings_of,
)
from dashboard.parts.words import count


def arguments(parser: argparse.ArgumentParser) -> None:
    """Where to, and what span."""
    parser.add_argument(
        "log", type=Path, metavar="LOG", help="log file to write: .csv, .csv.gz or .parquet"
    )
    plant_argument(parser)
    json_argument(parser)
    parser.add_argument(
        "--from", dest="start", metavar="TIME", help="begin here: RFC 3339 time with offset"
    )
    parser.add_argument(
        "--to", dest="end", metavar="TIME", help="end here: RFC 3339 time with offset"
    )
    parser.add_argument(
        "--channel", action="append", metavar="ID", help="only this channel; you can repeat it"
    )


def run(arguments: argparse.Namespace) -> int:
    """Write readings of the store to a log file."""
    plant = one_plant(arguments.plant)
    known = {c.id for c in plant.channels}
    chosen = set(arguments.channel or known)
    if strangers := chosen - known:
        raise FormError([f"--channel: {min(strangers)!r} is no channel of the plant file"])
    start = moment("--from", arguments.start) if arguments.start else ALL_TIME.start_ms
    end = moment("--to", arguments.end) if arguments.end else ALL_TIME.end_ms
    if end < start:
        raise FormError([REVERSED])
    with closing(open_to_read(settings_of(arguments), [plant])) as store:
        parts = (
            (c, store.read(address_of(plant, c), Span(start, end)))
            for c in tqdm(plant.channels, unit=" channels", disable=None, desc="export")
            if c.id in chosen
        )
        rows = write_log(arguments.log, parts)
    if arguments.json:
        answer({"rows": rows, "log": str(arguments.log)})
    else:
        say(f"{count(rows, 'row')} written to {arguments.log}")
    return DONE
