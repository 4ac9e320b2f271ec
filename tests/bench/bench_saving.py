"""Writes swaps to be scored, many cut from two whole years of each house.

A house of the model is played through the same 365 days twice, once with the old pump and once
with the new; the difference is the true saving. Records of 28 to 120 days are cut so that the old
pump's readings end and the new one's begin at a drawn moment, at any season.

    python tests/bench/bench_saving.py --seed 600 --houses 20 --swaps 2 --out cut
    stokehold score cut
"""

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import orjson

from analysis.base.time import DAY_MS, HOUR_MS, Span, from_ms, to_ms
from analysis.plant.plant import Plant, PumpPlate, Swap
from analysis.readings.readings import Readings
from analysis.rehearsal.course.play import play
from analysis.rehearsal.course.scene import make_scene
from analysis.rehearsal.course.truth import TrueNegative, TrueSwap, Truth
from analysis.rehearsal.course.year import YEAR_DAYS, pump_kwh
from analysis.rehearsal.house.draw import stream
from analysis.rehearsal.house.layout import plant_of
from analysis.rehearsal.instruments.instruments import _clip_readings, _plug_record
from analysis.rehearsal.plan.cases import CASES
from analysis.rehearsal.plan.events import only_pump
from analysis.rehearsal.plan.telling import true_negatives
from analysis.rehearsal.rehearse import stage
from collector.files.log_writing import write_log
from collector.files.rehearsal_folder import FAST_LOG_FILE, TRUTH_FILE, plant_toml

SWAP = "swap"
DAYS = (28, 42, 60, 90, 120)
LEAST_INTERVAL_S = 10.0


@dataclass(frozen=True, slots=True, eq=False)
class House:
    """A plant, and with the old and the new pump all year: readings, hard negatives, energy."""

    seed: int
    plant: Plant
    swap: Swap
    start_ms: int
    records: tuple[dict[str, Readings], dict[str, Readings]]
    negatives: tuple[tuple[TrueNegative, ...], tuple[TrueNegative, ...]]
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
    records, negatives, kwh = [], [], []
    for pump, always in pumps:
        spec = only_pump(staged.spec, pump, always_on=always)
        scene = make_scene(spec, start_ms=staged.start_ms, days=YEAR_DAYS, hourly_c=None)
        run = play(scene, step_s=60.0)
        kwh.append(pump_kwh(scene, run)["heating"])
        negatives.append(true_negatives(scene))
        record = dict(_plug_record(scene, run, plug))
        for clip in staged.layout.clips:
            if clip.place == "outdoor":
                record[clip.channel] = _clip_readings(scene, run, clip)
        records.append(record)
    plates = [
        PumpPlate(drive=p.drive, rated_power_w=p.rated_power_w, always_on=on) for p, on in pumps
    ]
    swap = Swap(pump="heating", time=from_ms(staged.start_ms), old=plates[0], new=plates[1])
    whole = plant_of(staged.spec, staged.layout)
    recorded = {*records[0], *records[1]}
    return House(
        seed,
        replace(whole, channels=tuple(c for c in whole.channels if c.id in recorded)),
        swap,
        staged.start_ms,
        (records[0], records[1]),
        (negatives[0], negatives[1]),
        (kwh[0], kwh[1]),
    )


def cut(house: House, number: int) -> Iterator[tuple[Swap, dict[str, Readings], Span]]:
    """Swap, readings and span of records cut at drawn moments."""
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
        yield replace(house.swap, time=from_ms(at)), record, span


def _negatives(house: House, swap_ms: int, span: Span) -> tuple[TrueNegative, ...]:
    """What befell the house while each of its pumps ran within a record."""
    parts = zip(
        house.negatives, (Span(span.start_ms, swap_ms), Span(swap_ms, span.end_ms)), strict=True
    )
    clipped = [
        replace(one, start_ms=max(one.start_ms, part.start_ms), end_ms=min(one.end_ms, part.end_ms))
        for known, part in parts
        for one in known
    ]
    return tuple(one for one in clipped if one.start_ms < one.end_ms)


def write(house: House, number: int, out: Path) -> None:
    """Write a house's cut records as rehearsal folders."""
    for k, (swap, record, span) in enumerate(cut(house, number)):
        folder = out / f"{SWAP}-{house.seed:05d}-{k}"
        folder.mkdir(parents=True, exist_ok=True)
        plant = replace(house.plant, swaps=(swap,))
        true = TrueSwap(
            pump="heating", time_ms=to_ms(swap.time), before_kwh=house.kwh[0],
            after_kwh=house.kwh[1], claim_kwh=round(house.saving_kwh), mistake=None,
        )  # fmt: skip
        truth = Truth(
            case=SWAP, seed=house.seed, start_ms=span.start_ms, end_ms=span.end_ms, cycles=(),
            energy_kwh_per_year={"heating": house.kwh[1]}, faults=(),
            negatives=_negatives(house, true.time_ms, span), swap=true, year=None, settings={},
        )  # fmt: skip
        (folder / "plant.toml").write_text(plant_toml(plant))
        rows = ((c, record[c.id]) for c in plant.channels if c.id in record)
        write_log(folder / FAST_LOG_FILE, rows)
        (folder / TRUTH_FILE).write_bytes(orjson.dumps(truth.document()))


def main() -> None:
    """Play, cut, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--houses", type=int, default=20)
    parser.add_argument("--swaps", type=int, default=2, help="records a house")
    parser.add_argument("--seed", type=int, default=600)
    parser.add_argument("--out", type=Path, required=True)
    arguments = parser.parse_args()
    houses, seed = 0, arguments.seed
    while houses < arguments.houses:
        house = make_house(seed)
        seed += 1
        if house is not None:
            houses += 1
            write(house, arguments.swaps, arguments.out)
            print(f"seed {house.seed}: {house.saving_kwh:.0f} kWh a year", flush=True)


if __name__ == "__main__":
    main()
