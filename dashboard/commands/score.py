"""Rehearsals scored."""

import argparse
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from os import cpu_count
from pathlib import Path
from typing import Any, TypeVar

from tqdm import tqdm

from analysis.base.estimate import Estimate
from analysis.base.time import Span, parse_rfc3339
from analysis.energy.fuel_year import fuel_year
from analysis.energy.measured import energy_use
from analysis.faults.fault import Pace
from analysis.faults.registry import examine, paced
from analysis.firing.daily_firings import fired_in
from analysis.firing.heat_per_cycle import flame_of
from analysis.firing.yearly_starts import starts_of_year
from analysis.plant.finding import URGENCIES
from analysis.plant.plant import Plant
from analysis.readings.situation import Situation
from analysis.savings.saving import saving_of
from analysis.score.score import (
    score_boiler_year,
    score_cycles,
    score_energy,
    score_findings,
    score_saving,
)
from analysis.score.simple_ways import SIMPLE
from analysis.score.sources import heard, score_sources, step_of
from analysis.score.tally import Tally
from collector.errors import FormError
from collector.files.plant_file import load_plant
from collector.files.rehearsal_folder import (
    PLANT_FILE,
    TRUTH_FILE,
    Rehearsed,
    read_document,
    read_rehearsal,
)
from dashboard.command_line.command import DONE, answer, json_argument, say

OURS = "ours"
_PLUGS = ("10", "30", "60", "change")

Scored = TypeVar("Scored")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Folders, and whose findings to score."""
    parser.add_argument(
        "folders",
        nargs="+",
        type=Path,
        metavar="DIR",
        help="folders that rehearse wrote, or a folder of them",
    )
    parser.add_argument(
        "--by",
        choices=[OURS, *SIMPLE],
        default=OURS,
        help="score these findings: ours, or those of one simple way",
    )
    parser.add_argument(
        "--findings",
        metavar="FILE",
        help="score the document of this name in every folder, of any program",
    )
    parser.add_argument(
        "--beside", action="store_true", help="also score three simple ways on the same readings"
    )
    parser.add_argument(
        "--pace",
        choices=["minute", "day"],
        help="only faults that are judged at this pace; no cycles, energy or savings (much faster)",
    )
    parser.add_argument(
        "--mistakes", action="store_true", help="also list every miss and every false finding"
    )
    parser.add_argument(
        "--sources",
        action="store_true",
        help="only the firings, of every source a boiler has, by its kind; the flow temperature "
        "also as a sensor of 60 s and 0.5 K would tell it",
    )
    parser.add_argument(
        "--plugs",
        choices=_PLUGS,
        help="only houses whose plugs report every N seconds, or on change",
    )
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """Score findings, cycles and figures against the truth of rehearsals."""
    folders = _rehearsal_folders(arguments.folders)
    if arguments.plugs:
        folders = _with_plugs(folders, arguments.plugs)
    if arguments.sources:
        return _sources(folders, is_json=arguments.json)
    ways = [OURS, *SIMPLE] if arguments.beside and not arguments.findings else [arguments.by]
    tallies = _tallies(folders, ways, arguments)
    documents = {way: tally.document() for way, tally in tallies.items()}
    if arguments.json:
        answer(documents if len(ways) > 1 else documents[ways[0]])
        return DONE
    _say_score(documents[ways[0]])
    if len(ways) > 1:
        _say_beside(documents)
    if arguments.mistakes:
        _say_mistakes(documents[ways[0]])
    return DONE


def _tallies(
    folders: list[Path], ways: list[str], arguments: argparse.Namespace
) -> dict[str, Tally]:
    """Score of each way, houses shared out over all cores."""
    tallies = {way: Tally() for way in ways}
    work = partial(_score, ways=ways, findings=arguments.findings, pace=arguments.pace)
    for of_house in _shared_out(work, folders, is_quiet=arguments.json):
        for way, one in of_house.items():
            tallies[way].add(one)
    return tallies


def _shared_out(
    work: Callable[[Path], Scored], folders: list[Path], *, is_quiet: bool
) -> Iterator[Scored]:
    """What is made of each folder, the folders shared out over all cores."""
    with ProcessPoolExecutor(max_workers=min(len(folders), cpu_count() or 1)) as pool:
        made = pool.map(work, folders)
        yield from tqdm(made, total=len(folders), unit="house", disable=is_quiet)


def _sources(folders: list[Path], *, is_json: bool) -> int:
    """Firings by the kind of their source."""
    tally = Tally()
    for one in _shared_out(_score_sources, folders, is_quiet=is_json):
        tally.add(one)
    document = tally.sources_document()
    if is_json:
        answer(document)
        return DONE
    columns = ("houses", "told", "true", "F1", "prec.", "recall", "edge s", "brief", "longer")
    say("brief: share shorter than two readings; longer: F1 of the others")
    say(f"{'firings by':44s}" + "".join(f"{name:>8s}" for name in columns))
    for kind, row in document.items():
        edge_s = row["edge_error_s"]["median"]
        figures = (row[name] for name in ("sources", "told", "true"))
        told = (row["f1"], row["precision"], row["recall"], edge_s, row["brief"])
        shares = (_figure(v) for v in (*told, row["f1_of_longer"]))
        say(f"{kind:44s}" + "".join(f"{one!s:>8s}" for one in (*figures, *shares)))
    return DONE


def _with_plugs(folders: list[Path], plugs: str) -> list[Path]:
    """Houses whose pumps' plugs report so."""
    kept = [one for one in folders if _plugs_of(load_plant(one / PLANT_FILE)) == {plugs}]
    if not kept:
        raise FormError([f"score --plugs {plugs}: none of {len(folders)} houses has such plugs"])
    return kept


def _plugs_of(plant: Plant) -> set[str]:
    channels = (c for pump in plant.pumps for c in plant.select(pump.id, "power"))
    return {"change" if c.reports == "change" else f"{c.interval_s:.0f}" for c in channels}


def _rehearsal_folders(given: list[Path]) -> list[Path]:
    found = [
        folder
        for one in given
        for folder in (
            [one]
            if (one / TRUTH_FILE).exists()
            else sorted(p.parent for p in one.glob(f"*/{TRUTH_FILE}"))
        )
    ]
    if not found:
        raise FormError([f"{given[0]}: no truth.json there; 'stokehold rehearse' writes them"])
    return found


def _score(
    folder: Path, *, ways: list[str], findings: str | None, pace: Pace | None
) -> dict[str, Tally]:
    """Tally of one house in each way."""
    if findings is not None:
        tally = Tally()
        truth = read_document(folder / TRUTH_FILE)
        score_findings(tally, truth, read_document(folder / findings))
        return dict.fromkeys(ways, tally)
    read = read_rehearsal(folder)
    span = Span(parse_rfc3339(read.truth["from"]), parse_rfc3339(read.truth["to"]))
    if pace:
        names = {f.name for f in paced(pace)}
        kept = [row for row in read.truth["faults"] if row["fault"] in names]
        others = [row | {"detectable_from": None} for row in read.truth["faults"]]
        # Faults of the other pace explain what they bring about, and are not looked for.
        kept += [row for row in others if row["fault"] not in names]
        read = read._replace(truth=read.truth | {"faults": kept})
    return {way: _by(way, read, span, pace=pace) for way in ways}


def _by(way: str, read: Rehearsed, span: Span, *, pace: Pace | None) -> Tally:
    tally = Tally()
    if way == OURS:
        _score_ours(tally, read, span, pace=pace)
    else:
        told = SIMPLE[way](read.plant, read.record, span)
        score_findings(tally, read.truth, told.document())
    return tally


def _score_ours(tally: Tally, read: Rehearsed, span: Span, *, pace: Pace | None) -> None:
    plant, record = read.plant, read.record
    faults = paced(pace) if pace else None
    health = examine(Situation(plant=plant, record=record, span=span), faults).document()
    score_findings(tally, read.truth, health)
    if pace:
        return
    for boiler in plant.boilers:
        seen = fired_in(plant, boiler, record, span)
        known = heard(plant, record, span, seen.found.channel)
        told = {"boilers": [seen.found.document()]}
        step_s = step_of(plant, seen.found.channel, seen.found.step_s)
        score_cycles(tally.cycles, read.truth, told, known, step_s=step_s)
        if read.truth.get("year"):
            fuel = fuel_year(plant, boiler, record, span)
            burnt = Estimate.unknown("kW.h", fuel) if isinstance(fuel, str) else fuel.per_year
            starts = starts_of_year(seen.days, plant.timezone, flame_of(seen))
            score_boiler_year(tally, read.truth, starts.document(), burnt.document())
    use = [energy_use(plant, pump, record, span).document("pump") for pump in plant.pumps]
    score_energy(tally, read.truth, {"pumps": use})
    for swap in plant.swaps:
        score_saving(tally, read.truth, saving_of(plant, swap, record, span=span).document())


def _score_sources(folder: Path) -> Tally:
    """Firings of one house from each source of its boilers."""
    tally, read = Tally(), read_rehearsal(folder)
    score_sources(tally, read.plant, read.record, read.truth)
    return tally


def _say_score(document: Mapping[str, Any]) -> None:
    say(f"{document['plants']} plants, {document['plant_years']} plant-years (a model, no field)")
    say("unj.: missed, but told as not to be judged; sep.: grown so far that it can be told apart")
    say(
        f"{'fault':24s} {'there':>5s} {'recall':>6s} {'unj.':>4s} {'first':>6s} {'two':>6s} "
        f"{'delay h':>8s} {'p90':>7s} {'sep.':>5s} {'recall':>6s} {'days':>6s}   "
        "false a plant-year: now soon note"
    )
    wrongly = document["false_alarms_per_plant_year"]
    false = wrongly["by_fault"] | {"all": wrongly["all"]}
    rows = document["faults"] | document["together"]
    for name in [*sorted({*document["faults"], *wrongly["by_fault"]}), *document["together"]]:
        row = rows.get(name)
        wrong = "  ".join(_figure(false.get(name, {}).get(u, 0.0)) for u in URGENCIES)
        if row is None:
            say(f"{name:24s} {0:5d} {'':63s}   {wrong}")
            continue
        say(
            f"{name:24s} {row['present']:5d} {_figure(row['recall']):>6s} {row['unjudged']:4d} "
            f"{_figure(row['cause_first']):>6s} {_figure(row['cause_in_first_two']):>6s} "
            f"{_figure(row['delay_h']['median']):>8s} {_figure(row['delay_h']['p90']):>7s} "
            f"{_separable(row['separable'])}   {wrong}"
        )
    for name in ("cycles", "energy", "starts", "fuel", "saving", "claims"):
        said = ", ".join(f"{key} {_words(value)}" for key, value in document[name].items())
        say(f"{name}: {said}")


def _say_beside(documents: Mapping[str, Any]) -> None:
    """Recall, and false findings a plant-year, of every way."""
    ways = list(documents)
    say(f"\n{'recall':24s}" + "".join(f"{way:>12s}" for way in ways))
    for name in documents[ways[0]]["faults"]:
        row = (documents[way]["faults"].get(name, {}).get("recall") for way in ways)
        say(f"{name:24s}" + "".join(f"{_figure(one):>12s}" for one in row))
    for urgency in ("now", "soon"):
        row = (documents[w]["false_alarms_per_plant_year"]["all"][urgency] for w in ways)
        say(f"{'false ' + urgency:24s}" + "".join(f"{_figure(one):>12s}" for one in row))


def _say_mistakes(document: Mapping[str, Any]) -> None:
    for one in document["mistakes"]:
        urgency = one["urgency"] or ""
        say(
            f"{one['what']:7s} {one['case']}-{one['seed']:05d} {one['part']:12s} "
            f"{one['fault']:22s} {urgency:5s} {one['time']}"
        )


def _separable(row: Mapping[str, Any]) -> str:
    """How many grew to what sets them apart, how many of those were told, how long after."""
    days = None if row["delay_h"]["median"] is None else row["delay_h"]["median"] / 24.0
    return f"{row['present']:5d} {_figure(row['recall']):>6s} {_figure(days):>6s}"


def _figure(value: float | None) -> str:
    return "-" if value is None else f"{value:.3g}"


def _words(value: Any) -> str:
    if isinstance(value, tuple):
        return " to ".join(map(_figure, value))
    if isinstance(value, dict):
        return ", ".join(f"{key} {_words(one)}" for key, one in value.items())
    return _figure(value)
