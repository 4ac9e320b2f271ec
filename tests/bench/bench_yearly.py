"""How often yearly intervals hold the truth: a real pump's windows, or rehearsal folders.

Without arguments: every week a window of 28 days of the measured pump. With folders written by
``stokehold rehearse`` (with their years): yearly fuel and electricity against the truth.
"""

import sys
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "tests/analysis")]

from test_season import measured_counter, windows

from analysis.base.estimate import Estimate
from analysis.energy.costs import plant_costs
from analysis.readings.readings import record_span
from collector.files.rehearsal_folder import read_rehearsal
from conftest import SHARED_DATA


def real_pump() -> None:
    found = windows(measured_counter(SHARED_DATA), 7)
    off = (found["plain"] / found["year"] - 1).abs()
    print(f"{len(found)} windows of 28 days, year {found['year'].iloc[0]:.0f} kWh")
    print(f"held by the interval: {found['inside'].mean():.1%}")
    print(f"median width over the year: {found['width'].median():.2f}")
    print(f"plain scaling errs by {off.median():.0%} in the median, {off.max():.0%} at worst")


def yearly(folder: Path) -> Iterator[tuple[str, Estimate, float]]:
    """Kind, estimate and truth of everything a rehearsal tells of its year."""
    read = read_rehearsal(folder)
    plant, record, truth = read.plant, read.record, read.truth
    if not truth["year"]:
        return
    span = record_span(record)
    if span is None:
        return
    costs = plant_costs(plant, record, span)
    for use, pump in zip(costs.pumps, plant.pumps, strict=True):
        if pump.id in truth["energy"]:
            yield pump.duty, use.per_year, truth["energy"][pump.id]["kwh_per_year"]
    for use, fuel in zip(costs.boilers, costs.fuel, strict=True):
        yield "boiler's electricity", use.per_year, truth["year"]["boiler_electric_kwh"]
        if not isinstance(fuel.year, str):
            kind = f"fuel by {fuel.year.source}"
            yield kind, fuel.year.per_year, truth["year"]["fuel_kwh"]


def rehearsals(folders: list[Path]) -> None:
    held: dict[str, list[tuple[bool, float]]] = defaultdict(list)
    for folder in folders:
        for kind, estimate, truth in yearly(folder):
            if estimate.low is not None and estimate.high is not None:
                inside = estimate.low <= truth <= estimate.high
                held[kind].append((inside, (estimate.high - estimate.low) / truth))
    for kind, rows in sorted(held.items()):
        inside, width = np.array(rows, float).T
        print(f"{kind:32s} {inside.sum():.0f} of {len(rows)}, width {np.median(width):.2f}")


if __name__ == "__main__":
    if sys.argv[1:]:
        rehearsals([Path(name) for name in sys.argv[1:]])
    else:
        real_pump()
