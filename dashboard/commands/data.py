"""Readings in and out, plant files checked and drafted: check, survey, import, export, replay."""

import argparse
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from tqdm import tqdm

from analysis.plant import Plant
from analysis.timebase import Span
from collector.errors import FormError
from collector.logfile import Report, load_log, read_log, write_log
from collector.open_store import open_store
from collector.plantfile import load_plants
from collector.replay import Message, Publisher, messages, replay
from collector.routes import routes_for
from collector.store import ALL_TIME, addresses, clock_ms
from collector.store import address as address_of
from collector.survey import draft, guess, listen
from dashboard.command import (
    DONE,
    TOLD,
    UNUSABLE,
    Command,
    answer,
    broker_arguments,
    json_argument,
    moment,
    plant_argument,
    say,
    settings_of,
    warn,
)


def _one_plant(path: Path) -> Plant:
    plants = load_plants(path)
    if len(plants) > 1:
        raise FormError(["--plant: give one file here, not a folder of several"])
    return plants[0]


# check


def check_arguments(parser: argparse.ArgumentParser) -> None:
    """Plant, and how long to listen for silent channels."""
    plant_argument(parser)
    json_argument(parser)
    broker_arguments(parser)
    parser.add_argument("--live", action="store_true", help="also tell which channels are silent")
    parser.add_argument(
        "--seconds", type=float, default=60.0, help="how long to listen with --live (60)"
    )


def run_check(arguments: argparse.Namespace) -> int:
    """Validate plant files, and with --live see which channels are silent."""
    try:
        plants = load_plants(arguments.plant)
    except FormError as error:
        return _tell_problems(error.problems, as_json=arguments.json)
    silent = _silent(plants, arguments) if arguments.live else []
    if arguments.json:
        answer({"ok": True, "problems": [], "plants": [p.name for p in plants], "silent": silent})
    else:
        for plant in plants:
            say(
                f"{plant.name}: {len(plant.pumps)} pumps, {len(plant.boilers)} boilers, "
                f"{len(plant.channels)} channels; the file is fine"
            )
        for name in silent:
            say(f"  silent: {name}")
    return TOLD if silent else DONE


def _tell_problems(problems: list[str], *, as_json: bool) -> int:
    if as_json:
        answer({"ok": False, "problems": problems})
    else:
        for problem in problems:
            say(problem)
    warn(f"stokehold: {len(problems)} mistakes in the plant file; mend the lines named")
    return UNUSABLE


def _silent(plants: list[Plant], arguments: argparse.Namespace) -> list[str]:
    """Channels that nothing was heard of, retained messages apart."""
    seen: set[str] = set()
    survey = listen(settings_of(arguments), arguments.seconds, "#")
    topics = {f.topic for f in survey.found()}
    for name, channel in addresses(plants).items():
        if channel.topic in topics:
            seen.add(name)
    wanted = [n for n, c in addresses(plants).items() if c.topic in routes_for(plants).groups]
    return [name for name in wanted if name not in seen]


# survey


def survey_arguments(parser: argparse.ArgumentParser) -> None:
    """Broker, how long, where to write."""
    broker_arguments(parser)
    json_argument(parser)
    parser.add_argument("--settings", type=Path, metavar="FILE", help="settings of this box")
    parser.add_argument("--seconds", type=float, default=30.0, help="how long to listen (30)")
    parser.add_argument("--topics", default="#", metavar="FILTER", help="topic filter (#)")
    parser.add_argument("--timezone", default="UTC", help="the plant's zone, like Europe/Dublin")
    parser.add_argument("--out", type=Path, metavar="FILE", help="write the draft plant file here")


def run_survey(arguments: argparse.Namespace) -> int:
    """Listen, list what could be channels, and draft a plant file."""
    if arguments.broker is None and arguments.settings is None:
        raise FormError(["--broker: is missing; name the broker to listen to"])
    if not arguments.json:
        say(f"listening for {arguments.seconds:.0f} s ...")
    survey = listen(settings_of(arguments), arguments.seconds, arguments.topics)
    text = draft(survey, timezone=arguments.timezone)
    if arguments.out:
        _write_new(arguments.out, text)
    if arguments.json:
        answer(_survey_document(survey))
    else:
        _say_survey(survey, arguments.out, text)
    return DONE if survey.fields else TOLD


def _write_new(path: Path, text: str) -> None:
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as error:
        raise FormError([f"{path}: exists already; name another file with --out"]) from error
    except OSError as error:
        raise FormError([f"{path}: cannot be written ({error.strerror})"]) from error


def _survey_document(survey: Any) -> dict[str, Any]:
    rows = []
    for one in survey.found():
        guessed = guess(one)
        rows.append(
            {
                "topic": one.topic,
                "payload": one.payload,
                "messages": len(one.values),
                "low": min(one.values),
                "high": max(one.values),
                "interval_s": one.interval_s,
                "quantity": guessed.quantity if guessed else None,
                "unit": guessed.unit if guessed else None,
                "place": guessed.place if guessed else None,
            }
        )
    return {"messages": survey.messages, "fields": rows}


def _say_survey(survey: Any, out: Path | None, text: str) -> None:
    say(f"{survey.messages} messages, {len(survey.fields)} numeric fields")
    for one in survey.found():
        guessed = guess(one)
        word = f"{guessed.quantity} in {guessed.unit}" if guessed else "no idea"
        say(f"  {one.topic} {one.payload or '(plain number)'}: {one.values[-1]:g}, {word}")
    if out:
        say(f"draft written to {out}; fill in name and drives, then: stokehold check --plant {out}")
    else:
        say()
        say(text)


# import, export


def import_arguments(parser: argparse.ArgumentParser) -> None:
    """A log and the plant it belongs to."""
    parser.add_argument("log", type=Path, metavar="LOG", help=".csv, .csv.gz or .parquet")
    plant_argument(parser)
    json_argument(parser)


def run_import(arguments: argparse.Namespace) -> int:
    """Read a log file into the store."""
    plant = _one_plant(arguments.plant)
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
    return TOLD if report.bad or unknown else DONE


def export_arguments(parser: argparse.ArgumentParser) -> None:
    """Where to, and what span."""
    parser.add_argument("log", type=Path, metavar="LOG", help=".csv, .csv.gz or .parquet")
    plant_argument(parser)
    json_argument(parser)
    parser.add_argument("--from", dest="start", metavar="TIME", help="RFC 3339 time with offset")
    parser.add_argument("--to", dest="end", metavar="TIME", help="RFC 3339 time with offset")
    parser.add_argument(
        "--channel", action="append", metavar="ID", help="only this channel; may be repeated"
    )


def run_export(arguments: argparse.Namespace) -> int:
    """Write readings of the store to a log file."""
    plant = _one_plant(arguments.plant)
    known = {c.id for c in plant.channels}
    chosen = set(arguments.channel or known)
    if strangers := chosen - known:
        raise FormError([f"--channel: {min(strangers)!r} is no channel of the plant file"])
    start = moment("--from", arguments.start) if arguments.start else ALL_TIME.start_ms
    end = moment("--to", arguments.end) if arguments.end else ALL_TIME.end_ms
    with closing(open_store(settings_of(arguments), [plant])) as store:
        parts = (
            (c, store.read(address_of(plant, c), Span(start, end)))
            for c in tqdm(plant.channels, unit=" channels", disable=None, desc="export")
            if c.id in chosen
        )
        rows = write_log(arguments.log, parts)
    if arguments.json:
        answer({"rows": rows, "log": str(arguments.log)})
    else:
        say(f"{rows} rows written to {arguments.log}")
    return DONE


# replay


def replay_arguments(parser: argparse.ArgumentParser) -> None:
    """A log, the plant that says how its messages look, the broker, the speed."""
    parser.add_argument("log", type=Path, metavar="LOG", help=".csv, .csv.gz or .parquet")
    parser.add_argument(
        "--plant", type=Path, metavar="FILE", help="plant file (plant.toml beside the log)"
    )
    parser.add_argument("--settings", type=Path, metavar="FILE", help="settings of this box")
    broker_arguments(parser)
    json_argument(parser)
    parser.add_argument(
        "--speed", type=float, default=1.0, help="1 is real time, 60 a minute a second, 0 flat out"
    )


def run_replay(arguments: argparse.Namespace) -> int:
    """Publish a log's readings as MQTT messages."""
    if arguments.speed < 0:
        raise FormError(["--speed: must not be negative; 0 is as fast as the broker takes it"])
    plant = _one_plant(arguments.plant or arguments.log.with_name("plant.toml"))
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
        say(f"{sent} messages published")
    return TOLD if report.bad else DONE


def _counted(stream: Iterator[Message], bar: Any) -> Iterator[Message]:
    for message in stream:
        yield message
        bar.update()


COMMANDS = (
    Command("survey", "listen to a broker and draft a plant file", survey_arguments, run_survey),
    Command("check", "validate a plant file", check_arguments, run_check),
    Command("import", "read a log file into the store", import_arguments, run_import),
    Command("export", "write readings of the store to a log file", export_arguments, run_export),
    Command("replay", "publish a log's readings as MQTT messages", replay_arguments, run_replay),
)
