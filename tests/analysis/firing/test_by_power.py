"""Firings from electric power: every level named by its dwell and order, edges to a sample."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.base.time import HOUR_MS, SECOND_MS, Span
from analysis.firing.by_power import firings_from_power
from analysis.plant.plant import Boiler, Channel
from analysis.readings.readings import Readings

POWER = Channel(id="boiler.power", of="boiler", quantity="power", unit="W", interval_s=10)
GAS = Boiler(id="boiler", fuel="gas", condensing=True)
OIL = Boiler(id="boiler", fuel="oil")


def played(sequence: list[tuple[float, float]], times: int, *, seed: int = 1) -> Readings:
    """A sequence of (seconds, watts) again and again, read every 10 s, rests of uneven length."""
    rng = np.random.default_rng(seed)
    watts: list[float] = []
    for _ in range(times):
        for seconds, level in sequence:
            watts += [level] * round(seconds / 10)
        watts += [sequence[-1][1]] * int(rng.integers(30, 120))
    power = np.array(watts) * rng.normal(1, 0.004, len(watts))
    return Readings.of(np.arange(len(power)) * 10 * SECOND_MS, np.round(power, 1))


def found_in(boiler: Boiler, readings: Readings):
    span = Span(0, int(readings.time_ms[-1]) + 1)
    found = firings_from_power(boiler, readings, channel=POWER, span=span)
    assert found is not None
    names = [level.name for level in found.levels]
    return found, names, (found.runs.end_ms - found.runs.start_ms) / SECOND_MS


def test_pump_that_shares_the_plug_is_no_firing() -> None:
    """Standby 4 W, pump 45 W for 2 min before and 4 min after 8 min of fan at 45 + 60 W."""
    readings = played([(600, 4), (120, 49), (480, 109), (240, 49), (10, 4)], 40)
    _, names, on_s = found_in(GAS, readings)
    assert names == ["standby", "pump", "firing"]
    assert len(on_s) == 40
    assert np.median(on_s) == pytest.approx(480, abs=10)


def test_constant_overrun_is_no_firing_but_a_varying_low_flame_is() -> None:
    """Four minutes after every firing are a pump's overrun; a level of uneven length is flame."""
    overrun = played([(600, 4), (480, 80), (240, 40), (10, 4)], 40)
    _, names, on_s = found_in(GAS, overrun)
    assert names == ["standby", "pump", "firing"]
    assert np.median(on_s) == pytest.approx(480, abs=10)
    rng = np.random.default_rng(3)
    pieces = [
        played([(600, 4), (120, 80), (s, 20), (10, 4)], 1) for s in rng.integers(60, 3000, 40)
    ]
    value = np.concatenate([piece.value for piece in pieces])
    low_flame = Readings.of(np.arange(len(value)) * 10 * SECOND_MS, value)
    _, names, on_s = found_in(GAS, low_flame)
    assert names == ["standby", "firing", "firing"]
    assert on_s.mean() > 900


def test_oil_burner_preheats_and_purges_before_its_motor_level() -> None:
    """Preheat 70 W for 80 s, motor and spark 220 W for 20 s, then motor 150 W (domain practice)."""
    readings = played([(900, 3), (80, 73), (20, 223), (600, 153), (10, 3)], 40)
    _, names, on_s = found_in(OIL, readings)
    assert names == ["standby", "preheat", "firing", "purge"]
    assert np.median(on_s) == pytest.approx(620, abs=10)


def test_fan_that_runs_on_after_the_flame_is_cut_off() -> None:
    """A flame of wandering power, then 30 s at the fan's one level: the firing ends before it."""
    rng = np.random.default_rng(2)
    watts: list[float] = []
    for _ in range(40):
        flame = np.interp(np.arange(48), [0, 47], rng.uniform(30, 90, 2)).tolist()
        watts += [4.0] * 60 + flame + [55.0] * 3 + [4.0] * 5
    readings = Readings.of(np.arange(len(watts)) * 10 * SECOND_MS, np.array(watts))
    _, _, on_s = found_in(GAS, readings)
    assert np.median(on_s) == pytest.approx(480, abs=10)


def test_old_gas_valve_of_six_watts_is_seen() -> None:
    """An atmospheric burner adds only its valve, 6 W over 2 W (from memory)."""
    readings = played([(600, 2), (480, 8), (10, 2)], 30)
    _, _, on_s = found_in(Boiler(id="boiler", fuel="gas"), readings)
    assert len(on_s) == 30


@pytest.mark.parametrize("caught_s", [20.0, 64.0])
def test_a_spark_caught_now_and_then_is_no_level_of_firing(caught_s: float) -> None:
    """A gas valve at 11 W over 2 W; a slow plug sees the spark's 18 W in one firing of twenty.

    A plug asked every minute holds it for a minute and a little more.
    """
    plain = [(600.0, 2.0), (240.0, 11.0)]
    caught = [(600.0, 2.0), (caught_s, 18.0), (240.0 - caught_s, 11.0)]
    readings = played([*plain * 19, *caught, (10, 2)], 10)
    _, names, on_s = found_in(Boiler(id="boiler", fuel="gas"), readings)
    assert names == ["standby", "firing", "purge"]
    assert len(on_s) == 200
    assert np.median(on_s) == pytest.approx(240, abs=10)


def test_one_level_is_no_firing() -> None:
    """A boiler at rest shows nothing that could be told as firing."""
    readings = played([(600, 4)], 30)
    span = Span(0, 100 * HOUR_MS)
    assert firings_from_power(GAS, readings, channel=POWER, span=span) is None


def test_firings_shorter_than_readings_are_told_as_a_lower_bound() -> None:
    """Half a minute of fire each three minutes, read each minute: the count is marked unsure."""
    time_ms = np.arange(0, 24 * HOUR_MS, 60 * SECOND_MS)
    sound = np.where(time_ms // SECOND_MS % 1800 < 600, 90.0, 4.0)
    brief = np.where((time_ms // SECOND_MS + 7) % 185 < 35, 90.0, 4.0)
    notes = []
    for value in (sound, brief):
        slow = replace(POWER, interval_s=60.0)
        readings = Readings.of(time_ms, value)
        found = firings_from_power(GAS, readings, channel=slow, span=Span(0, 24 * HOUR_MS))
        assert found is not None
        notes.append(found.note)
    assert notes[0] == ""
    assert "lower bound" in notes[1]


@pytest.mark.parametrize(
    ("readings", "span"),
    [
        (Readings.of(np.arange(500) * 10 * SECOND_MS, np.full(500, np.nan)), Span(0, HOUR_MS)),
        (played([(600, 4), (480, 80)], 5), Span(400 * HOUR_MS, 500 * HOUR_MS)),
        (played([(600, 4), (480, 80)], 5), Span(HOUR_MS, HOUR_MS)),
    ],
    ids=["all unknown", "another time", "no time at all"],
)
def test_where_nothing_is_known_there_is_nothing_to_tell(readings: Readings, span: Span) -> None:
    """A plug that fell silent shows no firing and is no error."""
    assert firings_from_power(GAS, readings, channel=POWER, span=span) is None


def test_a_plug_that_looks_every_half_minute_tells_changes_late() -> None:
    """Firings of 30 s and 200 s, changes told at looks 30 s apart: edges are right on average."""
    rng = np.random.default_rng(6)
    length_s = np.tile([30, 200], 150)
    start_s = 20 + np.cumsum(length_s + rng.integers(300, 500, 300))
    second = np.arange(start_s[-1] + 1000)
    power = np.full(len(second), 4.0)
    for a, b in zip(start_s, start_s + length_s, strict=True):
        power[a:b] = 60.0
    looks = np.arange(0, len(second), 30)
    told = looks[np.append([True], np.diff(power[looks]) != 0)]
    readings = Readings.of(told * SECOND_MS, power[told])
    channel = replace(POWER, interval_s=300, reports="change")
    span = Span(0, len(second) * SECOND_MS)
    found = firings_from_power(GAS, readings, channel=channel, span=span)
    assert found is not None
    at = np.searchsorted(start_s, found.runs.start_ms / SECOND_MS + 16) - 1
    late_s = found.runs.start_ms / SECOND_MS - start_s[at]
    assert abs(float(np.mean(late_s))) < 3.0
    assert len(late_s) == pytest.approx(300, abs=3)
