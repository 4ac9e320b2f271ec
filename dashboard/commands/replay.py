"""A log's readings published as messages."""

import argparse
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from tqdm import tqdm

from collector.errors import FormError, LogFileError
from collector.files.log_file import Report, load_log
from collector.mqtt.client import Message
from collector.mqtt.publisher import Publisher, messages, replay
from dashboard.command_line.argument_types import NOT_NEGATIVE
from dashboard.command_line.command import (
    DONE,
    TOLD,
    answer,
    broker_arguments,
    json_argument,
    one_plant,
    say,
    settings_of,
    warn,
)
from dashboard.parts.words import count


def arguments(parser: argparse.ArgumentParser) -> None:
    """A log, the plant that says how its messages look, the broker, the speed."""
    parser.add_argument(
        "log", type=Path, metavar="LOG", help="log file to publish: .csv, .csv.gz or .parquet"
    )
    parser.add_argument(
        "--plant",
        type=Path,
        metavar="FILE",
        help="plant file (by default plant.toml beside the log)",
    )
    parser.add_argument(
        "--settings", type=Path, metavar="FILE", help="settings of this installation"
    )
    broker_arguments(parser)
    json_argument(parser)
    parser.add_argument(
        "--speed",
        type=NOT_NEGATIVE,
        default=1.0,
        help="1 plays in real time, 60 a minute in a second, 0 as fast as it can",
    )


def run(arguments: argparse.Namespace) -> int:
    """Publish a log's readings as MQTT messages."""
    plant = one_plant(_plant_file(arguments.log, arguments.plant))
    channels = {c.id: c for c in plant.channels}
    report = Report()
    record = load_log(arguments.log, channels, report)
    for line in report.words(arguments.log):
        warn(line)
    bar = tqdm(unit=" messages", disable=None, file=sys.stderr, desc="replay")
    with closing(Publisher(settings_of(arguments))) as publisher, bar:
        stream = _counted(messages(channels, record), bar)
        sent = replay(stream, publisher, speed=arguments.speed)
    if arguments.json:
        answer({"messages": sent, "bad": report.bad})
    else:
        say(f"{count(sent, 'message')} published")
    return TOLD if report.has_skipped else DONE


def _plant_file(log: Path, given: Path | None) -> Path:
    """The plant file named, else the one beside the log."""
    if not log.is_file():
        raise LogFileError(f"{log}: there is no such file; give a log to replay")
    beside = log.with_name("plant.toml")
    if given is None and not beside.is_file():
        raise FormError(
            [f"--plant: is missing, and there is no {beside} beside the log; name the plant file"]
        )
    return given or beside


def _counted(stream: Iterator[Message], bar: Any) -> Iterator[Message]:
    for message in stream:
        yield message
        bar.update()
