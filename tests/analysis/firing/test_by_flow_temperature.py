"""Firings from flow temperature alone: a lagging pipe sensor with steps, noise and set points."""

import numpy as np
import pytest

from analysis.base.time import MINUTE_MS, SECOND_MS, Span
from analysis.firing.by_flow_temperature import (
    firings_from_temperature,
    least_swing_k,
    turning_points,
)
from analysis.plant.plant import Channel
from analysis.readings.readings import Readings

FLOW = Channel(
    id="boiler.flow", of="boiler", quantity="temperature", place="flow", unit="Cel", interval_s=60
)


def boiler_water(firing: np.ndarray, *, kw: float, capacity_kj_k: float, loss_kw_k: float):
    """Water of one lump, 10 s steps, and a strapped sensor that lags by 40 s [Cel]."""
    water, sensor, seen = 50.0, 50.0, []
    for on in firing:
        water += 10 * (kw * on - loss_kw_k * (water - 30.0)) / capacity_kj_k
        sensor += (water - sensor) * 10 / 40
        seen.append(sensor)
    return np.array(seen)


def on_off(times: int, on_s: int, off_s: int) -> tuple[np.ndarray, list[tuple[int, int]]]:
    one = np.r_[np.zeros(off_s // 10), np.ones(on_s // 10)]
    period = (on_s + off_s) * SECOND_MS
    return np.tile(one, times), [
        (k * period + off_s * SECOND_MS, (k + 1) * period) for k in range(times)
    ]


def measured(water: np.ndarray, *, every_s: int, step_k: float, noise_k: float = 0.05) -> Readings:
    rng = np.random.default_rng(4)
    rows = np.arange(0, len(water), every_s // 10)
    value = water[rows] + noise_k * rng.standard_normal(len(rows))
    return Readings.of(rows * 10 * SECOND_MS, np.round(value / step_k) * step_k)


@pytest.mark.parametrize(("every_s", "step_k"), [(10, 0.0625), (60, 0.0625), (60, 0.5)])
def test_saw_tooth_is_counted_with_edges_within_a_sample(every_s: int, step_k: float) -> None:
    """Old boiler of 200 kJ/K and 18 kW, 4 min on and 16 off: each firing once, edges to 60 s."""
    firing, truth = on_off(60, 240, 960)
    water = boiler_water(firing, kw=18, capacity_kj_k=200, loss_kw_k=0.18)
    readings = measured(water, every_s=every_s, step_k=step_k)
    span = Span(0, len(firing) * 10 * SECOND_MS)
    found = firings_from_temperature(readings, FLOW, span)
    assert found is not None
    starts = np.array([start for start, _ in truth])
    ends = np.array([end for _, end in truth])
    assert len(found.runs.start_ms) == pytest.approx(60, abs=1)
    nearest = [starts[np.argmin(abs(starts - s))] - s for s in found.runs.start_ms]
    assert np.median(np.abs(nearest)) <= 60 * SECOND_MS
    last = [ends[np.argmin(abs(ends - e))] - e for e in found.runs.end_ms]
    assert np.median(np.abs(last)) <= 60 * SECOND_MS


def test_modulation_at_the_set_point_is_one_firing() -> None:
    """Three hours at 55 Cel, wandering by 0.2 K, are one firing, not many."""
    minutes = np.arange(600)
    held = 55 + 0.2 * np.sin(minutes / 7)
    rise = np.clip(30 + 2.0 * (minutes - 60), 30, None)
    fall = 55 - 1.5 * (minutes - 260)
    water = np.where(minutes < 60, 30, np.minimum(np.minimum(rise, held), np.maximum(fall, 30)))
    water = np.tile(water, 4)
    readings = Readings.of(np.arange(len(water)) * MINUTE_MS, np.round(water, 1))
    found = firings_from_temperature(readings, FLOW, Span(0, len(water) * MINUTE_MS))
    assert found is not None
    on_min = (found.runs.end_ms - found.runs.start_ms) / MINUTE_MS
    assert len(on_min) == 4
    assert on_min == pytest.approx(200, abs=5)


def sinking(minutes: int, *, deep_k: float) -> np.ndarray:
    """Water by the minute: 30 cycles of 10 K, two hours of sinking in their midst, 30 cycles."""
    cycle = np.r_[np.linspace(45, 55, 6)[:-1], 45 + 10 * np.exp(-np.arange(15) / 5.0)]
    sink = 55 - deep_k * np.linspace(0, 1, minutes)
    up = np.linspace(55 - deep_k, 55, 3)
    return np.r_[np.tile(cycle, 30), np.linspace(45, 55, 6), sink, up, 55 - np.arange(5) * 2.0,
                 np.tile(cycle, 30)]  # fmt: skip


@pytest.mark.parametrize(
    ("modulates", "deep_k", "count"), [(True, 4.0, 61), (False, 4.0, 62), (True, 20.0, 62)]
)
def test_water_that_sinks_slowly_and_little_is_held_by_a_smaller_flame(
    modulates: bool, deep_k: float, count: int
) -> None:
    """Without flame it falls by Newton's law; still water cools as slowly, but deep."""
    water = sinking(120, deep_k=deep_k)
    readings = Readings.of(np.arange(len(water)) * MINUTE_MS, np.round(water, 1))
    span = Span(0, len(water) * MINUTE_MS)
    found = firings_from_temperature(readings, FLOW, span, modulates=modulates)
    assert found is not None
    assert len(found.runs.start_ms) == count


def test_swings_that_pile_up_at_what_a_sensor_shows_are_no_count() -> None:
    """A fifth of the swings are of one step and a half: others go unseen, and that is told."""
    rng = np.random.default_rng(8)
    depth = np.where(rng.random(200) < 0.2, 0.7, 5.0)
    shape = np.r_[np.arange(2) / 2, 1 - np.arange(9) / 9]
    water = 40 + np.concatenate([d * shape for d in depth])
    readings = Readings.of(np.arange(len(water)) * MINUTE_MS, water)
    found = firings_from_temperature(readings, FLOW, Span(0, len(water) * MINUTE_MS))
    assert found is not None
    assert found.tells == "running"
    assert "hardly more" in found.note


def test_flat_water_has_no_firing() -> None:
    """Noise and sensor steps alone make no firing."""
    rng = np.random.default_rng(5)
    value = np.round((40 + 0.06 * rng.standard_normal(3000)) / 0.5) * 0.5
    readings = Readings.of(np.arange(3000) * MINUTE_MS, value)
    assert firings_from_temperature(readings, FLOW, Span(0, 3000 * MINUTE_MS)) is None


def test_power_on_value_of_a_probe_makes_no_firing() -> None:
    """Lone 85.0 Cel, as probes show at power-on, are left out."""
    firing, _ = on_off(20, 240, 960)
    water = boiler_water(firing, kw=18, capacity_kj_k=200, loss_kw_k=0.18)
    readings = measured(water, every_s=60, step_k=0.0625)
    value = readings.value.copy()
    value[15::97] = 85.0
    span = Span(0, len(firing) * 10 * SECOND_MS)
    clean = firings_from_temperature(readings, FLOW, span)
    dirty = firings_from_temperature(Readings(readings.time_ms, value), FLOW, span)
    assert clean is not None
    assert dirty is not None
    assert len(dirty.runs.start_ms) == pytest.approx(len(clean.runs.start_ms), abs=1)


def test_a_gap_makes_its_firing_incomplete() -> None:
    """Silence amid a rise hides the edge."""
    firing, truth = on_off(20, 240, 960)
    water = boiler_water(firing, kw=18, capacity_kj_k=200, loss_kw_k=0.18)
    readings = measured(water, every_s=10, step_k=0.0625)
    start, end = truth[8]
    quiet = (readings.time_ms > start - 200_000) & (readings.time_ms < end + 60_000)
    heard = Readings(readings.time_ms[~quiet], readings.value[~quiet])
    found = firings_from_temperature(heard, FLOW, Span(0, len(firing) * 10 * SECOND_MS))
    assert found is not None
    touching = (found.runs.start_ms < end) & (found.runs.end_ms > start)
    assert not (found.runs.opens & found.runs.closes)[touching].any()


def test_turning_points_need_the_swing_and_alternate() -> None:
    """By hand: highs and lows that part by at least 2."""
    value = np.array([0, 3, 2, 5, 1, 1, 1.5, 1, 6, 6, 5.5, 2], float)
    assert turning_points(value, 2.0) == [(0, -1), (3, 1), (7, -1), (8, 1)]


def test_swing_is_learned_from_step_and_noise() -> None:
    """Half-kelvin steps want 1 K; a fine sensor with 0.05 K unrest the least of 0.5 K."""
    minutes = np.arange(4000)
    slow = 50 + 5 * np.sin(minutes / 50)
    assert least_swing_k(np.round(slow / 0.5) * 0.5) == pytest.approx(1.0)
    noisy = slow + 0.05 * np.random.default_rng(6).standard_normal(4000)
    assert least_swing_k(np.round(noisy / 0.0625) * 0.0625) == pytest.approx(0.5, abs=0.1)


def test_swings_of_a_sensor_step_are_no_count() -> None:
    """Water that swings by 2 K under steps of 0.5 K tells hours of work, and says why no more."""
    minutes = np.arange(3 * 1440)
    water = 40.0 + np.sin(2 * np.pi * minutes / 24)
    readings = Readings.of(minutes * MINUTE_MS, np.round(water / 0.5) * 0.5)
    found = firings_from_temperature(readings, FLOW, Span(0, 3 * 1440 * MINUTE_MS))
    assert found is not None
    assert found.tells == "running"
    assert "cannot tell single firings" in found.note
    hours = float((found.runs.end_ms - found.runs.start_ms).sum()) / 3.6e6
    assert hours > 60
    assert len(found.runs.start_ms) <= 3
