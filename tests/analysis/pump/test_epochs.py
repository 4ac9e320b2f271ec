"""Daily rows, the learned voltage exponent and epochs, on readings whose making is known."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.base.time import DAY_MS, MINUTE_MS, Span
from analysis.pump.daily_rows import quantiles
from analysis.pump.epochs import PumpHistory, level_steps, pump_history, refills
from analysis.pump.hours import hours_of, voltage_exponent
from analysis.pump.minutes import pump_minutes
from analysis.readings.readings import Readings
from pumping import START_MS, Pumping, day_of


def history(pumping: Pumping) -> PumpHistory:
    situation = pumping.situation()
    found = pump_history(
        situation.plant, situation.plant.pumps[0], situation.record, situation.span
    )
    assert found is not None
    return found


def test_days_tell_hours_level_and_flow() -> None:
    """Run hours, starts, level at 230 V and the pipes' difference are those put in."""
    days = history(Pumping(days=10)).days
    assert len(days) == 10
    assert days.run_h[3] == pytest.approx(18.0, abs=0.02)
    assert days.starts[3] == 1
    assert days.level_w[3] == pytest.approx(50.0, rel=0.003)
    assert days.spread_k[3] == pytest.approx(10.0, abs=0.5)
    assert days.forward.sum() == 10
    assert days.backward.sum() == 0


@pytest.mark.parametrize("exponent", [1.45, 1.65, 1.8])
def test_voltage_exponent_is_learned(exponent: float) -> None:
    """Regression finds the exponent of the pump's own power over voltage (domain 1.43 to 1.80)."""
    situation = Pumping(days=14, exponent=exponent).situation()
    pump = situation.plant.pumps[0]
    minutes = pump_minutes(situation.plant, pump, situation.record, situation.span)
    assert minutes is not None
    assert voltage_exponent(minutes, "induction") == pytest.approx(exponent, abs=0.06)


@pytest.mark.parametrize("step_s", [1, 10, 60])
def test_rows_agree_at_every_rate(step_s: int) -> None:
    """The same pump read each second, ten seconds or minute gives the same level."""
    rng = np.random.default_rng(5)
    seconds = np.arange(0, 86_400, step_s)
    watts = np.round(40.0 * (1 + 0.004 * rng.standard_normal(len(seconds))), 1)
    plant = Pumping(days=1).plant
    record = {"heating.power": Readings(START_MS + seconds * 1000, watts)}
    span = Span(START_MS, START_MS + DAY_MS)
    found = pump_history(plant, plant.pumps[0], record, span)
    assert found is not None
    assert found.days.level_w[0] == pytest.approx(40.0, rel=0.002)
    assert found.days.restless[0] == pytest.approx(0.0036, rel=0.25)  # trimmed mean of |N(0, 2)|


def test_a_turned_knob_closes_the_epoch() -> None:
    """A step of a third within an hour is another setting; the ratio is told."""
    pumping = Pumping()
    pumping.power = np.where(pumping.day(30.4), 0.67, 1.0) * pumping.power
    epochs = history(pumping).epochs
    assert [e.why for e in epochs] == ["first readings", "setting changed"]
    assert day_of(epochs[1].start_ms) == pytest.approx(30.4, abs=0.2)
    assert epochs[1].ratio == pytest.approx(0.67, abs=0.01)


def test_a_small_step_is_another_plug() -> None:
    """All readings lower by one small factor: a plug that reads otherwise."""
    pumping = Pumping()
    pumping.power = np.where(pumping.day(30.4), 0.95, 1.0) * pumping.power
    assert [e.why for e in history(pumping).epochs] == ["first readings", "another plug"]


def test_a_refill_closes_the_epoch() -> None:
    """Pressure that leaks from 1.5 to 1.1 bar and is topped up: the epoch ends with the leak."""
    bar = np.concatenate((np.linspace(1.5, 1.1, 20), np.full(20, 1.5)))
    days = history(Pumping(days=40)).days
    (at,) = refills(replace(days, pressure_bar=bar))
    assert day_of(at) == 20.0


def test_what_was_learned_goes_on_over_a_refill_and_a_plug() -> None:
    """The rows read as the first plug would have read them; another setting begins anew."""
    pumping = Pumping()
    gain = np.where(pumping.day(20.4), 0.95, 1.0) * np.where(pumping.day(40.4), 1.4, 1.0)
    pumping.power = gain * pumping.power
    found = history(pumping)
    assert [e.why for e in found.epochs][1:] == ["another plug", "setting changed"]
    assert [(c.first, c.last) for c in found.chains] == [(0, 39), (40, 59)]
    assert found.even.level_w[30] == pytest.approx(50.0, rel=0.005)
    assert found.days.level_w[30] == pytest.approx(47.5, rel=0.005)
    second = found.document()["epochs"][1]
    assert not second["is_learning"]
    assert second["baseline_w"] == pytest.approx(47.5, rel=0.005)


def test_slow_wear_and_mains_trend_close_no_epoch() -> None:
    """Neither a rise of a fifth over three weeks nor a week of low mains is a step."""
    pumping = Pumping()
    day = pumping.minute / 1440
    low = np.where((day > 20) & (day < 28), -12.0 * np.sin(np.pi * (day - 20) / 8), 0.0)
    ratio = ((pumping.voltage + low) / pumping.voltage) ** 1.65
    pumping.voltage = pumping.voltage + low
    pumping.power = pumping.power * ratio * (1 + 0.2 * np.clip((day - 30) / 21, 0, 1))
    found = history(pumping)
    assert [e.why for e in found.epochs] == ["first readings"]
    assert found.days.level_w[24] == pytest.approx(50.0, rel=0.01)


def test_gaps_are_unknown_not_rest() -> None:
    """A day without readings has no run hours, and counts as no day of rest."""
    pumping = Pumping(days=8)
    situation = pumping.situation()
    keep = (pumping.minute < 3 * 1440) | (pumping.minute >= 5 * 1440)
    record = {k: Readings(r.time_ms[keep], r.value[keep]) for k, r in situation.record.items()}
    found = pump_history(situation.plant, situation.plant.pumps[0], record, situation.span)
    assert found is not None
    assert found.days.covered_h[3:5].max() < 0.1
    assert np.isnan(found.days.level_w[3:5]).all()
    assert found.days.idle_days[4] < 0.1


def test_short_step_back_is_no_epoch() -> None:
    """Half a day of valves shut lowers the level and leaves it as it was."""
    pumping = Pumping()
    day = pumping.minute / 1440
    pumping.power = np.where((day > 30.25) & (day < 30.7), 0.93, 1.0) * pumping.power
    situation = pumping.situation()
    pump = situation.plant.pumps[0]
    minutes = pump_minutes(situation.plant, pump, situation.record, situation.span)
    assert minutes is not None
    assert level_steps(hours_of(minutes, 1.65), "induction", 0.1) == []


def test_a_pump_without_readings_has_no_history() -> None:
    """No power channel with readings: nothing to tell."""
    situation = Pumping(days=2).situation(without=("heating.power",))
    pump = situation.plant.pumps[0]
    assert pump_history(situation.plant, pump, situation.record, situation.span) is None
    one = {"heating.power": Readings.of([START_MS + MINUTE_MS], [50.0])}
    assert pump_history(situation.plant, pump, one, situation.span) is not None


def test_quantiles_are_those_of_numpy() -> None:
    """The fast quantile agrees with the reference library's linear one."""
    value = np.random.default_rng(2).normal(size=37)
    levels = (0.0, 0.02, 0.15, 0.5, 0.98, 1.0)
    assert quantiles(value, levels, 5) == pytest.approx(np.quantile(value, levels))
    assert np.isnan(quantiles(value, levels, 38)).all()
