"""Gaps too short to hide a rest part no firing."""

import numpy as np

from analysis.base.time import HOUR_MS, MINUTE_MS, Span
from analysis.firing.burner_cycles import boiler_cycles
from analysis.plant.plant import Boiler, Channel, Plant
from analysis.readings.readings import Readings

BOILER = Boiler(id="boiler", fuel="gas", condensing=True)
POWER = Channel(
    id="boiler.power", of="boiler", quantity="power", unit="W", interval_s=10, reports="periodic"
)
PLANT = Plant(name="Quay", timezone="UTC", boilers=(BOILER,), channels=(POWER,))
HOURS, COUNT = 96, 64
SPAN = Span(0, HOURS * HOUR_MS)


def fired(gap_s: int) -> Readings:
    """Firings of 84 min with rests of 6 min, and amid every second firing a gap."""
    time_ms = np.arange(0, SPAN.end_ms, 10_000)
    phase_s = time_ms // 1000 % 5400
    rng = np.random.default_rng(1)
    power = np.where(phase_s >= 360, 40 + rng.normal(0, 2, len(time_ms)), 4.0)
    is_lost = (time_ms // 1000 % 10_800 >= 3000) & (time_ms // 1000 % 10_800 < 3000 + gap_s)
    return Readings.of(time_ms[~is_lost], np.round(power[~is_lost], 1))


def test_a_gap_shorter_than_any_rest_is_bridged() -> None:
    """A minute without readings amid a firing of a burner that never rests under six minutes."""
    found = boiler_cycles(PLANT, BOILER, {"boiler.power": fired(60)}, SPAN)
    assert abs(len(found.cycles) - COUNT) <= 1
    assert sum(not c.is_complete for c in found.cycles) <= 1


def test_what_touches_a_longer_gap_is_left_out_and_counted_beside() -> None:
    """Ten minutes may hide a rest: such firings are no statistics, and rates stay as they were.

    Sixteen firings a day, each 84 min of 90: of the parts of every second one nothing is told.
    """
    found = boiler_cycles(PLANT, BOILER, {"boiler.power": fired(600)}, SPAN)
    told = found.summary
    assert told.incomplete >= COUNT - 2
    assert told.starts == len(found.cycles) - told.incomplete
    assert abs(told.starts - COUNT / 2) <= 1
    assert abs(told.starts_per_day - 16.0) <= 0.8
    assert abs(told.duty - 84 / 90) <= 0.02
    assert told.document()["incomplete"] == told.incomplete
    assert sum(c.begins for c in found.cycles) <= COUNT + 1
    assert found.covered_h < HOURS - 0.5 * COUNT * 10 * MINUTE_MS / HOUR_MS * 0.9
