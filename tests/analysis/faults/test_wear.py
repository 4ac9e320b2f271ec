"""Judges of wear: each finds what was put in, names what it needs, and keeps quiet otherwise."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from analysis.base.time import DAY_MS, Span
from analysis.faults.bearing_drag import judge_bearing
from analysis.faults.capacitor_ageing import judge_capacitor
from analysis.faults.drift import power_and_flow as rises
from analysis.faults.drift.daily_spells import history_of
from analysis.faults.sludge import judge_sludge
from analysis.plant.plant import Channel, Pump
from analysis.pump.baseline import running_median
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation, Verdict
from analysis.statistics.control_charts import cusum
from pumping import START_MS, Pumping, day_of


def ramp(pumping: Pumping, begin: float, grows: float) -> np.ndarray:
    return np.clip((pumping.minute / 1440 - begin) / grows, 0, 1)


def test_a_sound_pump_is_left_alone() -> None:
    """Sixty quiet days give no finding of wear and nothing that is missing."""
    situation = Pumping().situation()
    for judge in (judge_bearing, judge_capacitor, judge_sludge):
        verdict = judge(situation)
        assert verdict.findings == ()
        assert verdict.needs == ""


def test_drag_is_told_with_its_signs() -> None:
    """Eight per cent more over twenty days at the same power factor: the bearing, and when."""
    pumping = Pumping()
    pumping.power = pumping.power * (1 + 0.08 * ramp(pumping, 25, 20))
    (found,) = judge_bearing(pumping.situation()).findings
    assert 27 < day_of(found.start_ms) < 36
    assert day_of(found.raised_ms) <= 37
    assert found.end_ms is None
    assert found.evidence[0].value == pytest.approx(54.0, rel=0.01)
    assert any("mains voltage" in words for words in found.ruled_out)


def test_restlessness_makes_it_surer() -> None:
    """A second electrical sign raises the confidence."""
    quiet, restless = Pumping(), Pumping()
    rng = np.random.default_rng(3)
    for pumping in (quiet, restless):
        pumping.power = pumping.power * (1 + 0.08 * ramp(pumping, 25, 20))
    noise = 0.006 * ramp(restless, 25, 20) * rng.standard_normal(len(restless.minute))
    restless.power = restless.power * (1 + noise)
    one = judge_bearing(quiet.situation()).findings[0]
    two = judge_bearing(restless.situation()).findings[0]
    assert two.confidence > one.confidence


@pytest.mark.parametrize("volts", [-12.0, 9.0])
def test_mains_that_drift_are_no_wear(volts: float) -> None:
    """Ten days of low or high mains move the power by 7 to 9 %, and are taken out."""
    pumping = Pumping()
    day = pumping.minute / 1440
    drift = np.where((day > 30) & (day < 40), volts * np.sin(np.pi * (day - 30) / 10), 0.0)
    pumping.power = pumping.power * ((pumping.voltage + drift) / pumping.voltage) ** 1.65
    pumping.voltage = pumping.voltage + drift
    assert judge_bearing(pumping.situation()).findings == ()


def test_knob_and_plug_are_no_wear() -> None:
    """A sudden step, large or small, begins a new baseline instead of a finding."""
    for factor in (1.35, 1.05):
        pumping = Pumping()
        pumping.power = np.where(pumping.day(30.4), factor, 1.0) * pumping.power
        assert judge_bearing(pumping.situation()).findings == ()


def test_drag_is_told_across_another_plug() -> None:
    """A plug that reads 5 % less comes while the bearing wears: what was learned goes on."""
    pumping = Pumping()
    gain = np.where(pumping.day(32.4), 0.95, 1.0)
    pumping.power = pumping.power * gain * (1 + 0.08 * ramp(pumping, 25, 20))
    situation = pumping.situation()
    assert [e.why for e in history_of(situation).epochs][1:] == ["another plug"]
    (found,) = judge_bearing(situation).findings
    assert day_of(found.raised_ms) <= 40


def test_valves_within_the_hour_are_no_other_plug() -> None:
    """Three per cent less power with the return 12 K colder: the water changed, not the plug."""
    pumping = Pumping()
    late = pumping.day(30.4) & (pumping.power > 0)
    pumping.power = np.where(late, 0.96, 1.0) * pumping.power
    pumping.back = pumping.back - np.where(late, 12.0, 0.0)
    assert [e.why for e in history_of(pumping.situation()).epochs] == ["first readings"]


def test_another_plug_on_the_day_of_a_cold_spell_is_a_plug() -> None:
    """Four per cent less power with more water, the return 8 K warmer: a motor would take more."""
    pumping = Pumping()
    late = pumping.day(30.4) & (pumping.power > 0)
    pumping.power = np.where(late, 0.96, 1.0) * pumping.power
    pumping.back = pumping.back + np.where(late, 8.0, 0.0)
    assert [e.why for e in history_of(pumping.situation()).epochs][1:] == ["another plug"]


def test_a_falling_power_factor_is_the_capacitor() -> None:
    """Power factor 0.95 to 0.88 over three weeks, power hardly changed: capacitor, no bearing."""
    pumping = Pumping()
    grown = ramp(pumping, 25, 20)
    pumping.factor = pumping.factor - np.where(pumping.factor > 0, 0.07 * grown, 0.0)
    pumping.power = pumping.power * (1 - 0.03 * grown)
    situation = pumping.situation()
    (found,) = judge_capacitor(situation).findings
    assert 30 < day_of(found.raised_ms) < 38
    assert judge_bearing(situation).findings == ()


def test_a_sudden_fall_of_the_power_factor_is_told_next_day() -> None:
    """A capacitor that fails at once lowers the power by a tenth: no turned knob."""
    pumping = Pumping()
    late = pumping.day(30.4)
    pumping.factor = np.where(late & (pumping.factor > 0), 0.86, pumping.factor)
    pumping.power = np.where(late, 0.9, 1.0) * pumping.power
    (found,) = judge_capacitor(pumping.situation()).findings
    assert day_of(found.raised_ms) <= 32.0


def test_capacitor_needs_the_power_factor() -> None:
    """Without power factor or current it says what would settle it."""
    verdict = judge_capacitor(Pumping().situation(without=("heating.power_factor",)))
    assert verdict.findings == ()
    assert "power factor" in verdict.needs


def test_sludge_is_told_from_the_pipes() -> None:
    """The return cools slowly from 45 to 36 at the same flow: less water."""
    pumping = Pumping()
    pumping.back = pumping.back - np.where(pumping.power > 0, 9 * ramp(pumping, 25, 20), 0.0)
    (found,) = judge_sludge(pumping.situation()).findings
    assert 30 < day_of(found.raised_ms) < 46
    assert found.end_ms is None


def electronic(pumping: Pumping) -> Situation:
    """The same readings from an electronic pump, whose power knows no voltage."""
    whole = pumping.situation()
    plant = replace(whole.plant, pumps=(Pump(id="heating", drive="electronic"),))
    return replace(whole, plant=plant)


def test_half_the_sign_of_less_water_is_enough_beside_more_power() -> None:
    """Valves hide sludge: one kelvin of return says too little, with a fifth more power it does."""
    found = []
    for rise in (0.0, 0.2):
        pumping = Pumping(exponent=0.0)
        grown = ramp(pumping, 25, 20)
        pumping.back = pumping.back - np.where(pumping.power > 0, 1.0 * grown, 0.0)
        pumping.power = pumping.power * (1 + rise * grown)
        found.append(judge_sludge(electronic(pumping)).findings)
    assert found[0] == ()
    assert len(found[1]) == 1


def test_power_of_a_flow_never_met_is_no_drag() -> None:
    """In frost an electronic pump's valves open and it draws more: nothing can be said."""
    pumping = Pumping(exponent=0.0)
    cold = ramp(pumping, 25, 3)
    pumping.back = pumping.back + np.where(pumping.power > 0, 4.0 * cold, 0.0)
    pumping.power = pumping.power * (1 + 0.3 * cold)
    assert judge_bearing(electronic(pumping)).findings == ()


def test_drag_shows_at_less_water_than_was_ever_met() -> None:
    """Valves close in spring, which saves power; a restless pump that takes more is worn."""
    found = []
    for rise in (0.0, 0.2):
        pumping = Pumping(exponent=0.0)
        grown = ramp(pumping, 28, 20)
        noise = 0.006 * grown * np.random.default_rng(3).standard_normal(len(grown))
        pumping.back = pumping.back - np.where(pumping.power > 0, 9 * ramp(pumping, 20, 3), 0.0)
        pumping.power = pumping.power * (1 + rise * grown + noise)
        found.append(judge_bearing(electronic(pumping)).findings)
    assert found[0] == ()
    assert len(found[1]) == 1


def test_drag_that_grew_while_nothing_could_be_compared_is_told_afterwards() -> None:
    """Frost opens the valves for a fortnight; back at the usual flow the pump takes more."""
    pumping = Pumping(exponent=0.0)
    day = pumping.minute / 1440
    cold = (day > 22) & (day < 36) & (pumping.power > 0)
    pumping.back = pumping.back + np.where(cold, 4.0, 0.0)
    pumping.power = pumping.power * (1 + 0.2 * ramp(pumping, 22, 12) + 0.05 * cold)
    (found,) = judge_bearing(electronic(pumping)).findings
    assert 36 <= day_of(found.raised_ms) < 43


@pytest.mark.parametrize(("cools_k", "judge"), [(0.0, judge_bearing), (0.6, judge_sludge)])
def test_days_of_a_small_rise_add_up(cools_k: float, judge: Callable[[Situation], Verdict]) -> None:
    """A fifth more, in a power that wanders by a fifteenth from day to day, is no chance for weeks.

    Alone it is drag, sludge where the return cools a little as well.
    """
    told: dict[str, int] = {}
    for rise in (0.0, 0.2):
        pumping = Pumping(exponent=0.0)
        grown = ramp(pumping, 22, 12)
        daily = 1 + 0.06 * np.random.default_rng(5).standard_normal(pumping.days)
        pumping.back = pumping.back - np.where(pumping.power > 0, cools_k * grown, 0.0)
        pumping.power = pumping.power * np.repeat(daily, 1440) * (1 + rise * grown)
        situation = electronic(pumping)
        found = [f.fault for j in (judge_bearing, judge_sludge) for f in j(situation).findings]
        told[f"{rise}"] = len(found)
        if rise:
            assert found == [f.fault for f in judge(situation).findings]
    assert told == {"0.0": 0, "0.2": 1}


def test_a_holiday_is_no_sludge() -> None:
    """Valves shut for twelve days cool the return at once, and for no longer."""
    pumping = Pumping()
    day = pumping.minute / 1440
    away = (day > 30) & (day < 42) & (pumping.power > 0)
    pumping.back = pumping.back - np.where(away, 15.0, 0.0)
    assert judge_sludge(pumping.situation()).findings == ()


@pytest.mark.parametrize("leap_k", [0.0, 10.0])
def test_a_holiday_after_a_small_drift_is_no_sludge(leap_k: float) -> None:
    """Water that lingers a little more for a week, and then at once much more: valves were shut."""
    pumping = Pumping()
    day = pumping.minute / 1440
    away = (day > 32) & (day < 42) & (pumping.power > 0)
    grown = 1.2 * ramp(pumping, 18, 3) + leap_k * away + (9.0 - 0.9 * leap_k) * ramp(pumping, 32, 8)
    pumping.back = pumping.back - np.where(pumping.power > 0, grown, 0.0)
    assert len(judge_sludge(pumping.situation()).findings) == (0 if leap_k else 1)


def weathered(pumping: Pumping, outdoor_c: np.ndarray) -> Situation:
    """The same readings with those of an outdoor sensor."""
    whole = pumping.situation()
    outdoor = Channel(
        id="outdoor", of="plant", quantity="temperature", place="outdoor", unit="Cel", interval_s=60
    )
    time_ms = whole.record["heating.power"].time_ms
    record = {**whole.record, "outdoor": Readings(time_ms, outdoor_c)}
    plant = replace(whole.plant, channels=(*whole.plant.channels, outdoor))
    return replace(whole, plant=plant, record=record)


@pytest.mark.parametrize(("warms_k", "told"), [(0.0, 1), (12.0, 0)])
def test_spring_is_no_sludge(warms_k: float, told: int) -> None:
    """Valves throttle in weather warmer than any met while learning: of that nothing is said."""
    pumping = Pumping()
    grown = ramp(pumping, 25, 20)
    pumping.back = pumping.back - np.where(pumping.power > 0, 9 * grown, 0.0)
    wave = 2.0 + 2.0 * np.sin(pumping.minute / 1440 * 2 * np.pi / 5)
    found = judge_sludge(weathered(pumping, wave + warms_k * grown)).findings
    assert len(found) == told


@pytest.mark.parametrize(
    ("falls", "cools_k", "told"), [(0.012, 1.8, 1), (0.001, 1.8, 0), (0.0, 1.8, 0), (0.2, 1.8, 0)]
)
def test_two_small_signs_that_agree_are_sludge(falls: float, cools_k: float, told: int) -> None:
    """A capacitor motor takes a per cent less and the water lingers a little: neither is enough."""
    pumping = Pumping(days=90)
    grown = ramp(pumping, 25, 20)
    running = pumping.power > 0
    # Water that wanders from day to day hides alone what sludge does to it.
    daily = 1.0 * np.random.default_rng(5).standard_normal(pumping.days)
    pumping.back = pumping.back - np.where(running, cools_k * grown + np.repeat(daily, 1440), 0.0)
    pumping.power = pumping.power * (1 - falls * grown)
    assert len(judge_sludge(pumping.situation()).findings) == told


@pytest.mark.parametrize(("wanders_k", "needs"), [(0.3, ""), (5.0, "flow meter")])
def test_where_the_water_wanders_sludge_cannot_be_judged(wanders_k: float, needs: str) -> None:
    """From day to day by a fifth and more: the loss of a third hides in it, and it says so."""
    pumping = Pumping()
    daily = wanders_k * np.random.default_rng(4).uniform(-1.0, 1.0, pumping.days)
    pumping.back = pumping.back - np.where(pumping.power > 0, np.repeat(daily, 1440), 0.0)
    verdict = judge_sludge(pumping.situation())
    assert verdict.findings == ()
    assert needs in verdict.needs
    assert bool(verdict.needs) == bool(needs)


def test_summer_shows_no_sludge_and_it_says_what_would() -> None:
    """The pump runs and is learned, but both pipes are as cold as the cellar."""
    pumping = Pumping()
    pumping.flow, pumping.back = (np.full(len(pumping.minute), 19.0) for _ in range(2))
    assert "days with heat" in judge_sludge(pumping.situation()).needs


def test_second_opinion_is_worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The judges of drag and of sludge read the same."""
    asked = []
    monkeypatch.setattr(rises, "cusum", lambda *a, **k: asked.append(1) or cusum(*a, **k))
    situation = electronic(Pumping(exponent=0.0))
    for judge in (judge_bearing, judge_sludge):
        judge(situation)
    assert len(asked) == 1


def test_sludge_needs_both_pipes() -> None:
    """Without the return's sensor it says which one is missing."""
    assert "return" in judge_sludge(Pumping().situation(without=("heating.return",))).needs


def test_a_new_pump_is_still_being_learned() -> None:
    """Five days are too few: no finding, and it says how many are there."""
    pumping = Pumping(days=5)
    whole = pumping.situation()
    situation = Situation(
        plant=whole.plant, record=whole.record, subject="heating",
        span=Span(START_MS, START_MS + 5 * DAY_MS),
    )  # fmt: skip
    verdict = judge_bearing(situation)
    assert verdict.findings == ()
    assert "5 so far" in verdict.needs


def test_running_median() -> None:
    """Medians of three, by hand."""
    found = running_median(np.array([1.0, 5.0, 3.0, 9.0]), 3)
    assert np.isnan(found[:2]).all()
    assert found[2:].tolist() == [3.0, 5.0]
