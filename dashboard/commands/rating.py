"""Energy efficiency index of a pump from a table of power, flow and head."""

import argparse
import csv
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from analysis.base.errors import StokeholdError
from analysis.base.time import from_ms
from analysis.energy.pump_days import running_w
from analysis.exchange.efficiency_index import (
    C20,
    PumpTable,
    Rating,
    hydraulic_power_w,
    is_possible,
    rate,
    reference_power_w,
)
from collector.errors import FormError
from collector.store.protocol import clock_ms
from dashboard.command_line.argument_types import POSITIVE, SHARE
from dashboard.command_line.command import (
    DONE,
    Asked,
    answer,
    answer_each,
    asked_records,
    head,
    record_arguments,
    say,
    status,
)

COLUMNS = ("flow_m3h", "head_m", "power_w")


def arguments(parser: argparse.ArgumentParser) -> None:
    """A table, or a record with the pump's rated point."""
    record_arguments(parser)
    for action in parser._actions:  # noqa: SLF001  # the plant is needed only without a table
        if "--plant" in action.option_strings:
            action.required = False
    parser.add_argument(
        "--table",
        type=Path,
        metavar="FILE",
        help="CSV with flow_m3h,head_m,power_w and, for the fastest curve, curve=max",
    )
    parser.add_argument(
        "--within",
        type=SHARE,
        nargs=3,
        default=(0.0, 0.0, 0.0),
        metavar=("FLOW", "HEAD", "POWER"),
        help="standard uncertainty of each column, as a share (0 0 0)",
    )
    parser.add_argument(
        "--on", metavar="DATE", help="hold it against the limits of this day (today)"
    )
    parser.add_argument("--pump", metavar="ID", help="only this pump of the plant")
    parser.add_argument(
        "--rated-flow", type=POSITIVE, metavar="M3H", help="flow at the best point [m3/h]"
    )
    parser.add_argument(
        "--rated-head", type=POSITIVE, metavar="M", help="head at the best point [m]"
    )


def run(arguments: argparse.Namespace) -> int:
    """Rate a table, or say what a record tells of a pump's index."""
    if arguments.table is not None:
        return _run_table(arguments)
    if arguments.plant is None:
        raise FormError(["--table: give a table of the pump, or --plant for one in use"])
    found = asked_records(arguments)
    documents = [head(a) | {"pumps": _in_use(a, arguments)} for a in found]
    if arguments.json:
        answer_each(documents)
        return status(found)
    for document in documents:
        say(document["plant"])
        for row in document["pumps"]:
            say(f"  {row['pump']}: {row['words']}")
    return status(found)


def _run_table(arguments: argparse.Namespace) -> int:
    rating = rate(read_table(arguments.table, tuple(arguments.within)))
    day = _day(arguments.on)
    if arguments.json:
        answer(rating.document(day))
    else:
        _say_rating(rating, day)
    return DONE


def _day(text: str | None) -> date:
    try:
        return from_ms(clock_ms()).astimezone(UTC).date() if text is None else _parsed(text)
    except ValueError as error:
        raise FormError([f"--on: {text!r} is no date; write it like 2026-03-14"]) from error


def _parsed(text: str) -> date:
    return datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=UTC).date()


def read_table(path: Path, shares: tuple[float, float, float]) -> PumpTable:
    """Read the points of a pump from a CSV file.

    Raises
    ------
    FormError
        The file cannot be read, or a line is no point.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise FormError([f"{path}: cannot be read ({error}); give a CSV file"]) from error
    rows = csv.DictReader(text.splitlines())
    if not set(COLUMNS) <= set(rows.fieldnames or ()):
        raise FormError([f"{path}: line 1 must name the columns {','.join(COLUMNS)}"])
    points: list[tuple[float, ...]] = []
    fastest: list[tuple[float, ...]] = []
    for row in rows:
        is_fastest = row.get("curve") == "max"
        try:
            point = tuple(float(row[name]) for name in COLUMNS[: 2 if is_fastest else 3])
        except (TypeError, ValueError) as error:
            raise FormError([f"{path}:{rows.line_num}: {error}; give numbers"]) from error
        if not is_possible(*point):
            words = "flow must not be negative, head and power must be above 0; mend the row"
            raise FormError([f"{path}:{rows.line_num}: {words}"])
        (fastest if is_fastest else points).append(point)
    try:
        return PumpTable.of(points, fastest, shares=shares)  # type: ignore[arg-type]
    except StokeholdError as error:
        raise FormError([f"{path}: {error}"]) from error


def _say_rating(rating: Rating, day: date) -> None:
    index = rating.index
    say(f"energy efficiency index {index.value:.4f} ({index.low:.4f} to {index.high:.4f})")
    say(
        f"  best point {rating.rated_flow_m3h:.2f} m3/h at {rating.rated_head_m:.2f} m, "
        f"{rating.hydraulic_w:.1f} W to the water; compared with {rating.reference_w:.1f} W"
    )
    say(f"  mean power over the load profile {rating.average_w:.2f} W")
    for row in rating.document(day)["limits"]:
        word = {True: "met", False: "not met", None: "undecided"}[row["meets"]]
        force = "" if row["in_force"] else ", not yet in force"
        say(f"  {row['limit']:.2f} since {row['since']}{force} ({row['scope']}): {word}")


def _in_use(asked: Asked, arguments: argparse.Namespace) -> list[dict[str, Any]]:
    chosen = [p for p in asked.plant.pumps if arguments.pump in (None, p.id)]
    if arguments.pump is not None and not chosen:
        names = ", ".join(p.id for p in asked.plant.pumps) or "none"
        raise FormError(
            [f"--pump: '{arguments.pump}' is no pump of {asked.plant.name}; known: {names}"]
        )
    rated = (arguments.rated_flow, arguments.rated_head)
    rows = []
    for pump in chosen:
        watts = running_w(asked.plant, pump, asked.record, asked.span)
        known = watts > 0
        index = None
        if known and None not in rated:
            reference = float(reference_power_w(hydraulic_power_w(*rated)))
            index = watts / reference * C20
        rows.append(
            {
                "pump": pump.id,
                "mean_running_power_w": watts if known else None,
                "index_in_use": index,
                "words": _words(watts if known else None, index),
            }
        )
    return rows


def _words(watts: float | None, index: float | None) -> str:
    if watts is None:
        return "not measured while running"
    if index is None:
        return (
            f"{watts:.1f} W on average while running; wall power alone gives no index: give "
            "--table, or --rated-flow and --rated-head for an index in use"
        )
    return (
        f"{watts:.1f} W on average while running, index in use {index:.3f}; this plant's own "
        "load, not the standard's load profile, so not to be held against its limits"
    )
