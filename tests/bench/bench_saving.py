"""Savings of rehearsed swaps against the truth, many cut from two whole years of each house.

A house of the model is played through the same 365 days twice, once with the old pump and once
with the new; the difference is the true saving. Records of 28 to 120 days are cut so that the old
pump's readings end and the new one's begin at a drawn moment, and judged. Houses are those of
seeds from 10000 on, on which nothing was tuned.

    python tests/bench/bench_saving.py --houses 20 --swaps 12
"""

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from analysis.plant import Plant, PumpPlate, Swap
from analysis.readings import Readings
from analysis.rehearsal.cases import CASES
from analysis.rehearsal.draw import stream
from analysis.rehearsal.instruments import _clip_readings, _plug_record
from analysis.rehearsal.layout import plant_of
from analysis.rehearsal.plans import only_pump
from analysis.rehearsal.play import play
from analysis.rehearsal.rehearse import stage
from analysis.rehearsal.scene import make_scene
from analysis.rehearsal.year import YEAR_DAYS, pump_kwh
from analysis.saving import saving_of
from analysis.saving_result import Saving
from analysis.timebase import DAY_MS, HOUR_MS, Span, from_ms
from analysis.verdict import judge_claim

SWAP = "swap"
DAYS = (28, 42, 60, 90, 120)
LEAST_INTERVAL_S = 10.0


@dataclass(frozen=True, slots=True, eq=False)
class House:
    """A plant, its readings with the old and with the new pump all year, and both energies."""

    seed: int
    plant: Plant
    swap: Swap
    start_ms: int
    records: tuple[dict[str, Readings], dict[str, Readings]]
    kwh: tuple[float, float]

    @property
    def saving_kwh(self) -> float:
        """True saving of the year."""
        return self.kwh[0] - self.kwh[1]


def make_house(seed: int) -> House | None:
    """Play a house's two years; None where its plug speaks so often that it would take too long."""
    staged = stage(CASES[SWAP], 60, seed)
    loop, plan = staged.spec.loop("heating"), staged.swap
    plug = next(p for p in staged.layout.plugs if p.load == "heating")
    if plan is None or plug.device.interval_s < LEAST_INTERVAL_S:
        return None
    switched = loop.always_on and not plan.released
    pumps = ((loop.pumps[0], loop.always_on), (plan.new, switched))
    records, kwh = [], []
    for pump, always in pumps:
        spec = only_pump(staged.spec, pump, always_on=always)
        scene = make_scene(spec, start_ms=staged.start_ms, days=YEAR_DAYS, hourly_c=None)
        run = play(scene, step_s=60.0)
        kwh.append(pump_kwh(scene, run)["heating"])
        record = dict(_plug_record(scene, run, plug))
        for clip in staged.layout.clips:
            if clip.place == "outdoor":
                record[clip.channel] = _clip_readings(scene, run, clip)
        records.append(record)
    plates = [
        PumpPlate(drive=p.drive, rated_power_w=p.rated_power_w, always_on=on) for p, on in pumps
    ]
    swap = Swap(pump="heating", time=from_ms(staged.start_ms), old=plates[0], new=plates[1])
    plant = plant_of(staged.spec, staged.layout)
    both = (records[0], records[1])
    return House(seed, plant, swap, staged.start_ms, both, (kwh[0], kwh[1]))


def cut(house: House, number: int) -> Iterator[Saving]:
    """Savings judged from records cut at drawn moments."""
    rng = stream(house.seed, 90)
    for _ in range(number):
        days = int(rng.choice(DAYS))
        start = house.start_ms + int(rng.uniform(0, YEAR_DAYS - days)) * DAY_MS
        at = start + round(days * rng.uniform(0.4, 0.6)) * DAY_MS + 10 * HOUR_MS
        span = Span(start, start + days * DAY_MS)
        old, new = house.records
        record = {
            name: old.get(name, Readings.empty())
            .within(Span(span.start_ms, at))
            .joined(new.get(name, Readings.empty()).within(Span(at + 2 * HOUR_MS, span.end_ms)))
            for name in {*old, *new}
        }
        swap = replace(house.swap, time=from_ms(at))
        plant = replace(house.plant, swaps=(swap,))
        yield saving_of(plant, swap, record, span=span)


@dataclass(slots=True)
class Count:
    """What came of it."""

    swaps: int = 0
    inside: int = 0
    true_refuted: int = 0
    true_confirmed: int = 0
    false_confirmed: int = 0
    false_refuted: int = 0

    def add(self, saving: Saving, true: float) -> None:
        """Count one."""
        told = saving.per_year
        self.swaps += 1
        self.inside += told.low <= true <= told.high
        right, wrong = (judge_claim(told, f * true, saving.ceiling).word for f in (1.0, 1.5))
        self.true_refuted += right == "refuted"
        self.true_confirmed += right == "confirmed"
        self.false_confirmed += wrong == "confirmed"
        self.false_refuted += wrong == "refuted"


def main() -> None:
    """Play, cut, judge and print shares."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--houses", type=int, default=20)
    parser.add_argument("--swaps", type=int, default=12, help="records a house")
    parser.add_argument("--seed", type=int, default=10_000)
    arguments = parser.parse_args()
    count, widths, errors, houses, seed = Count(), [], [], 0, arguments.seed
    while houses < arguments.houses:
        house = make_house(seed)
        seed += 1
        if house is None:
            continue
        houses += 1
        for saving in cut(house, arguments.swaps):
            count.add(saving, house.saving_kwh)
            told = saving.per_year
            widths.append((told.high - told.low) / 2 / house.saving_kwh)
            errors.append(abs(told.value - house.saving_kwh) / house.saving_kwh)
        print(f"{houses} houses: {count}", flush=True)
    share = {k: getattr(count, k) / count.swaps for k in count.__slots__ if k != "swaps"}
    print({k: round(v, 3) for k, v in share.items()})
    print(f"median half-width {np.median(widths):.2f}, median error {np.median(errors):.2f}")


if __name__ == "__main__":
    main()
