"""Sludge told by a motor's power at the same flow, hour by hour, where valves hide its water."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.faults.drift.daily_spells import history_of
from analysis.faults.drift.power_at_equal_flow import power_at_like_flow, steady_fall
from analysis.faults.sludge import judge_sludge
from pumping import Pumping, day_of


def behind_valves(hotter_k: float = 0.0) -> Pumping:
    """Valves that move the return by kelvins from day to day and hour to hour, and the power.

    A capacitor motor takes some per cent less at less flow (a model). Water `hotter_k` above usual
    on two days of five warms the windings, so that they take half a per cent less.
    """
    pumping = Pumping(days=90)
    rng = np.random.default_rng(3)
    hours = np.repeat(rng.uniform(0.0, 1.0, pumping.days * 24), 60)
    shut = 0.6 * np.repeat(rng.uniform(0.0, 1.0, pumping.days), 1440) + 0.4 * hours
    running = pumping.power > 0
    hot = hotter_k * (pumping.minute // 1440 % 5 < 2) * running
    pumping.flow = pumping.flow + hot
    spread = 10.0 + 12.0 * shut
    pumping.back = np.where(running, pumping.flow - spread * (pumping.flow - 20.0) / 35.0, 18.0)
    pumping.power = pumping.power * (1 - 0.02 * shut - 0.0005 * hot)
    return pumping


def grown(pumping: Pumping, grows: float = 25.0) -> np.ndarray:
    return np.clip((pumping.minute / 1440 - 30) / grows, 0, 1)


def test_a_slow_fall_at_like_flow_is_sludge_though_the_water_tells_nothing() -> None:
    """Six thousandths, a sixth of what the valves make of it within any day."""
    pumping = behind_valves()
    pumping.power = pumping.power * (1 - 0.006 * grown(pumping))
    (found,) = judge_sludge(pumping.situation()).findings
    assert 40 < day_of(found.raised_ms) < 62
    shown = next(e for e in found.evidence if "same flow" in e.what)
    assert shown.value == pytest.approx(0.994, abs=0.001)
    assert any("plug" in cause for cause in found.possible[:2])


def test_sound_pumps_behind_valves_are_left_alone() -> None:
    assert not judge_sludge(behind_valves().situation()).findings


def test_a_step_overnight_is_no_sludge() -> None:
    """It is a plug's, or a hand's."""
    pumping = behind_valves()
    pumping.power = pumping.power * (1 - 0.006 * (grown(pumping) > 0))
    assert not judge_sludge(pumping.situation()).findings


def test_a_fall_along_with_the_power_factor_is_the_capacitors() -> None:
    pumping = behind_valves()
    pumping.power = pumping.power * (1 - 0.006 * grown(pumping))
    pumping.factor = pumping.factor - 0.05 * grown(pumping) * (pumping.power > 0)
    assert not judge_sludge(pumping.situation()).findings


def test_a_restless_fall_is_airs() -> None:
    pumping = behind_valves()
    rng = np.random.default_rng(8)
    stir = 0.01 * grown(pumping) * rng.standard_normal(len(pumping.minute))
    pumping.power = pumping.power * (1 - 0.006 * grown(pumping) + stir)
    assert not judge_sludge(pumping.situation()).findings


def test_without_the_mains_voltage_nothing_is_said() -> None:
    """Power goes with the voltage to 1.65: three thousandths of power are four tenths of a volt."""
    pumping = behind_valves()
    pumping.power = pumping.power * (1 - 0.006 * grown(pumping))
    assert not judge_sludge(pumping.situation(without=("heating.voltage",))).findings


@pytest.mark.parametrize("hotter_k", [0.0, 10.0])
def test_hotter_water_is_no_fall(hotter_k: float) -> None:
    """Windings in hotter water take less; days as hot were learned, so it shows nowhere."""
    history = history_of(behind_valves(hotter_k).situation())
    assert history is not None
    trend = power_at_like_flow(history, history.chains[0])
    assert trend is not None
    assert np.abs(trend.above).max() < 0.0025


def test_an_electronic_pumps_fall_is_not_looked_at() -> None:
    """It chooses its own power."""
    history = history_of(behind_valves().situation())
    assert history is not None
    epoch = replace(history.chains[0], drive="electronic")
    assert not steady_fall(history, epoch).any()
