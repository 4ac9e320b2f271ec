"""Rehearsals scored."""

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tqdm import tqdm

from analysis.cycles import boiler_cycles
from analysis.energy import energy_use
from analysis.faults import examine
from analysis.plant import Plant
from analysis.readings import Record, gaps, hold_limit_ms
from analysis.rehearsal.simple import SIMPLE
from analysis.saving import saving_of
from analysis.scoring import Tally, score_cycles, score_energy, score_findings, score_saving
from analysis.timebase import Span, parse_rfc3339
from analysis.watch import Situation
from collector.errors import FormError
from collector.rehearsal_files import (
    Rehearsed,
    read_document,
    read_rehearsal,
)
from dashboard.command import DONE, answer, json_argument, say

ALL = "all"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Folders, and whose findings to score."""
    parser.add_argument(
        "folders", nargs="+", type=Path, metavar="DIR", help="rehearsal folders, or folders of them"
    )
    parser.add_argument(
        "--by",
        choices=["ours", *SIMPLE],
        default="ours",
        help="whose findings: ours, or one of the simple ways",
    )
    parser.add_argument(
        "--findings",
        metavar="FILE",
        help="health document of any program, by this name in every folder",
    )
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """Score findings, cycles and figures against the truth of rehearsals."""
    folders = _rehearsal_folders(arguments.folders)
    tally = Tally()
    for folder in tqdm(folders, unit="house", disable=arguments.json):
        _score(tally, folder, arguments)
    document = tally.document()
    if arguments.json:
        answer(document)
    else:
        _say_score(document)
    return DONE


def _rehearsal_folders(given: list[Path]) -> list[Path]:
    found = [
        folder
        for one in given
        for folder in (
            [one]
            if (one / "truth.json").exists()
            else sorted(p.parent for p in one.glob("*/truth.json"))
        )
    ]
    if not found:
        raise FormError([f"{given[0]}: no truth.json there; 'stokehold rehearse' writes them"])
    return found


def _score(tally: Tally, folder: Path, arguments: argparse.Namespace) -> None:
    if arguments.findings is not None:
        truth = read_document(folder / "truth.json")
        score_findings(tally, truth, read_document(folder / arguments.findings))
        return
    read = read_rehearsal(folder)
    span = Span(parse_rfc3339(read.truth["from"]), parse_rfc3339(read.truth["to"]))
    judge = SIMPLE.get(arguments.by)
    if judge is not None:
        score_findings(tally, read.truth, judge(read.plant, read.record, span).document())
        return
    _score_ours(tally, read, span)


def _score_ours(tally: Tally, read: Rehearsed, span: Span) -> None:
    plant, record = read.plant, read.record
    health = examine(Situation(plant=plant, record=record, span=span)).document()
    score_findings(tally, read.truth, health)
    for boiler in plant.boilers:
        found = boiler_cycles(plant, boiler, record, span)
        known = _heard(plant, record, span, found.channel)
        score_cycles(tally, read.truth, {"boilers": [found.document()]}, known)
    use = [energy_use(plant, pump, record, span).document("pump") for pump in plant.pumps]
    score_energy(tally, read.truth, {"pumps": use})
    for swap in plant.swaps:
        score_saving(tally, read.truth, saving_of(plant, swap, record, span=span).document())


def _heard(plant: Plant, record: Record, span: Span, channel: str | None) -> list[Span] | None:
    """Stretches between gaps of the channel that cycles were taken from."""
    by_id = {c.id: c for c in plant.channels}
    if channel not in by_id or channel not in record:
        return None
    readings = record[channel]
    silent = gaps(readings, hold_limit_ms(readings, by_id[channel]), span)
    starts = [span.start_ms, *(one.end_ms for one in silent)]
    ends = [*(one.start_ms for one in silent), span.end_ms]
    return [Span(a, b) for a, b in zip(starts, ends, strict=True) if b > a]


def _say_score(document: Mapping[str, Any]) -> None:
    say(f"{document['plants']} plants, {document['plant_years']} plant-years (a model, no field)")
    say(
        f"{'fault':24s} {'there':>5s} {'recall':>6s} {'first':>6s} {'two':>6s} "
        f"{'delay h':>8s} {'p90':>7s} {'sep.':>5s} {'recall':>6s} {'days':>6s}   "
        "false a plant-year: now soon note"
    )
    false = document["false_alarms_per_plant_year"]["by_fault"]
    for name in sorted({*document["faults"], *false}):
        row = document["faults"].get(name)
        wrong = "  ".join(_figure(false.get(name, {}).get(u, 0.0)) for u in ("now", "soon", "note"))
        if row is None:
            say(f"{name:24s} {0:5d} {'':58s}   {wrong}")
            continue
        say(
            f"{name:24s} {row['present']:5d} {_figure(row['recall']):>6s} "
            f"{_figure(row['cause_first']):>6s} {_figure(row['cause_in_first_two']):>6s} "
            f"{_figure(row['delay_h']['median']):>8s} {_figure(row['delay_h']['p90']):>7s} "
            f"{_separable(row['separable'])}   {wrong}"
        )
    for name in ("cycles", "energy", "saving", "claims"):
        said = ", ".join(f"{key} {_words(value)}" for key, value in document[name].items())
        say(f"{name}: {said}")


def _separable(row: Mapping[str, Any]) -> str:
    """How many grew to what sets them apart, how many of those were told, how long after."""
    days = None if row["delay_h"]["median"] is None else row["delay_h"]["median"] / 24.0
    return f"{row['present']:5d} {_figure(row['recall']):>6s} {_figure(days):>6s}"


def _figure(value: float | None) -> str:
    return "-" if value is None else f"{value:.3g}"


def _words(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{key} {_words(one)}" for key, one in value.items())
    return _figure(value)
