"""Log files into the store."""

import argparse
import sys
import time
from contextlib import closing
from pathlib import Path

from tqdm import tqdm

from collector.files.log_file import Report, read_log
from collector.store.opening import open_store
from collector.store.protocol import address as address_of
from collector.store.protocol import clock_ms
from dashboard.command_line.command import (
    DONE,
    TOLD,
    answer,
    json_argument,
    one_plant,
    plant_argument,
    say,
    settings_of,
    warn,
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """A log and the plant it belongs to."""
    parser.add_argument(
        "log", type=Path, metavar="LOG", help="log file to read: .csv, .csv.gz or .parquet"
    )
    plant_argument(parser)
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """Read a log file into the store."""
    plant = one_plant(arguments.plant)
    channels = {c.id: c for c in plant.channels}
    report, began, stored = Report(), time.monotonic(), 0
    with closing(open_store(settings_of(arguments), [plant])) as store:
        bar = tqdm(unit=" rows", unit_scale=True, disable=None, file=sys.stderr, desc="import")
        with bar:
            for block in read_log(arguments.log, channels, report):
                for name, readings in block.items():
                    store.load(address_of(plant, channels[name]), readings)
                    stored += len(readings)
                    bar.update(len(readings))
        store.tend(clock_ms())
    seconds = time.monotonic() - began
    for line in report.words(arguments.log):
        warn(line)
    unknown = sum(report.unknown_channels.values())
    if arguments.json:
        answer(
            {
                "rows": report.rows,
                "stored": stored,
                "bad": report.bad,
                "unknown_channels": report.unknown_channels,
                "seconds": round(seconds, 3),
            }
        )
    else:
        say(
            f"{report.rows} rows read, {stored} stored, {report.bad} bad, {unknown} of unknown "
            f"channels; {stored / max(seconds, 1e-9):,.0f} rows a second"
        )
    return TOLD if report.has_skipped else DONE
