"""Which cause a slow rise is laid to, and what hides it: shut valves, lukewarm floors."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.faults.bearing_drag import judge_bearing
from analysis.faults.drift.daily_spells import history_of
from analysis.faults.sludge import judge_sludge
from analysis.plant.finding import Finding
from analysis.plant.plant import Pump
from analysis.pump.baseline import flow_trend, level_trend
from analysis.readings.situation import Situation
from pumping import Pumping, day_of


def ramp(pumping: Pumping, begin: float, grows: float) -> np.ndarray:
    return np.clip((pumping.minute / 1440 - begin) / grows, 0, 1)


def electronic(pumping: Pumping) -> Situation:
    whole = pumping.situation()
    plant = replace(whole.plant, pumps=(Pump(id="heating", drive="electronic"),))
    return replace(whole, plant=plant)


def told(situation: Situation) -> list[Finding]:
    return [f for judge in (judge_bearing, judge_sludge) for f in judge(situation).findings]


@pytest.mark.parametrize(("noise", "fault"), [(0.0, "sludge"), (0.012, "bearing_drag")])
@pytest.mark.parametrize("level_w", [50.0, 5.0])
def test_where_the_water_hides_it_quietness_tells_sludge_from_a_bearing(
    level_w: float, noise: float, fault: str
) -> None:
    """A quarter more power, of water that wanders too much: quiet, it is sludge, else drag.

    At 5 W a plug's steps hide how quiet the pump was, but not that it has grown restless.
    """
    pumping = Pumping(exponent=0.0, level_w=level_w)
    rng = np.random.default_rng(4)
    running = pumping.power > 0
    grown = ramp(pumping, 22, 12)
    daily = np.repeat(5.0 * rng.uniform(-1.0, 1.0, pumping.days), 1440)
    pumping.back = pumping.back - np.where(running, daily, 0.0)
    # Valves move the power by some watts within the day.
    swing = 1 + 0.12 * np.sin(pumping.minute / 1440 * 2 * np.pi)
    restless = noise * grown * rng.standard_normal(len(grown))
    pumping.power = pumping.power * swing * (1 + 0.25 * grown + restless)
    assert {f.fault for f in told(electronic(pumping))} == {fault}


def away(pumping: Pumping, share: float, cools_k: float) -> None:
    """From day 20 to 24 another power and another spread."""
    day = pumping.minute / 1440
    gone = (day > 20.4) & (day < 24.4) & (pumping.power > 0)
    pumping.power = np.where(gone, share * pumping.power, pumping.power)
    pumping.back = pumping.back - np.where(gone, cools_k, 0.0)


@pytest.mark.parametrize(("share", "cools_k", "epochs"), [(0.75, 13.0, 1), (0.4, 3.0, 3)])
def test_valves_shut_for_a_holiday_are_no_hand_on_the_knob(
    share: float, cools_k: float, epochs: int
) -> None:
    """Water falls with the cube root of the power on a knob; shut valves take more of the water."""
    pumping = Pumping(exponent=0.0)
    away(pumping, share, cools_k)
    history = history_of(electronic(pumping))
    assert history is not None
    assert len(history.epochs) == epochs


def test_less_power_at_less_water_than_was_met_says_nothing() -> None:
    """The holiday's days bound a rise from below; a bound below nothing is none."""
    pumping = Pumping(exponent=0.0)
    away(pumping, 0.75, 13.0)
    history = history_of(electronic(pumping))
    assert history is not None
    trend = level_trend(history, history.chains[0])
    assert trend is not None
    assert not set(range(21, 24)) & set(trend.rows.tolist())
    assert {20 - 1, 26} <= set(trend.rows.tolist())


def test_sludge_of_a_lukewarm_floor_is_told() -> None:
    """A floor is fed with 27 Cel, seven above the room: the loss of its water shows."""
    pumping = Pumping()
    running = pumping.power > 0
    pumping.flow = np.where(running, 27.0, 18.0)
    spread = 1.5 + 2.5 * ramp(pumping, 25, 20)
    pumping.back = np.where(running, 27.0 - spread, 18.0)
    (found,) = judge_sludge(pumping.situation()).findings
    assert 25 < day_of(found.raised_ms) < 45


def test_pipes_that_stay_as_they_were_tell_where_fires_are_seldom_seen() -> None:
    """Behind a mixing valve or a modulating burner a plug shows three minutes of fire a day."""
    pumping = Pumping(fires=None)
    pumping.fires = (pumping.minute % 1440 >= 600) & (pumping.minute % 1440 < 603)
    pumping.fires = pumping.fires.astype(float)
    pumping.back = pumping.back - np.where(pumping.power > 0, 9 * ramp(pumping, 25, 20), 0.0)
    assert [f.fault for f in judge_sludge(pumping.situation()).findings] == ["sludge"]


def test_water_first_seen_later_is_learned_from_then_on() -> None:
    """Pipes are warm from the tenth day on: four days of the fortnight and the next three."""
    pumping = Pumping()
    cold = pumping.minute < 10 * 1440
    pumping.flow = np.where(cold, 19.0, pumping.flow)
    pumping.back = np.where(cold, 19.0, pumping.back)
    history = history_of(pumping.situation())
    assert history is not None
    trend = flow_trend(history, history.chains[0])
    assert trend is not None
    assert trend.learned.tolist() == list(range(10, 17))
