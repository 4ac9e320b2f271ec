"""Firings from a counter read every minute: its step, the least flame, rests behind a lock."""

import numpy as np
import pytest

from analysis.base.time import HOUR_MS, Span
from analysis.firing.by_fuel_meter import firings_from_fuel
from analysis.plant.plant import Channel
from analysis.readings.readings import Readings

GAS = Channel(
    id="boiler.gas", of="boiler", quantity="fuel_volume", unit="m3", interval_s=60,
    reports="periodic",
)  # fmt: skip
HOURS = 48
STEP_M3 = 0.01


def counted(on_s: int, off_s: int, step_s: float) -> Readings:
    """A counter of 10 l of a burner that fires and rests, burning 10 l in so many seconds."""
    second = np.arange(HOURS * 3600)
    burns = second % (on_s + off_s) >= off_s
    burnt = np.cumsum(burns) * STEP_M3 / step_s
    at = np.arange(0, len(second), 60)
    return Readings.of(at * 1000, np.round(np.floor(burnt[at] / STEP_M3 + 1e-9) * STEP_M3, 6))


@pytest.mark.parametrize(
    ("on_s", "off_s", "step_s"), [(3000, 300, 130.0), (3000, 300, 100.0), (45, 355, 15.0)]
)
def test_a_firing_at_the_least_flame_is_one_and_brief_firings_are_many(
    on_s: int, off_s: int, step_s: float
) -> None:
    """At 130 s a step readings without one lie within the firing; brief firings are not merged."""
    found = firings_from_fuel(counted(on_s, off_s, step_s), GAS, Span(0, HOURS * HOUR_MS))
    assert found is not None
    true = HOURS * 3600 / (on_s + off_s)
    assert len(found.runs.start_ms) == pytest.approx(true, rel=0.03)


def test_a_lost_reading_is_no_rest() -> None:
    """One reading in fifty lost: a firing of fifty minutes stays one."""
    whole = counted(3000, 300, 100.0)
    kept = np.random.default_rng(2).random(len(whole)) > 0.02
    readings = Readings(whole.time_ms[kept], whole.value[kept])
    found = firings_from_fuel(readings, GAS, Span(0, HOURS * HOUR_MS))
    assert found is not None
    assert len(found.runs.start_ms) == pytest.approx(HOURS * 3600 / 3300, rel=0.03)
