"""What looked like a fault by habit, plate or neighbour and was none, in hand-made minutes."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.base.time import HOUR_MS, MINUTE_MS, Span, from_ms
from analysis.faults.registry import FAULTS, examine
from analysis.plant.plant import Plant, Pump, PumpPlate, Swap
from analysis.pump.recurring_rests import own_rests
from analysis.readings.learned import PlantLearned, PumpLearned
from analysis.readings.power_levels import Levels
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation
from made_minutes import AFTER_H, HOUR, LATE, TIME_MS, found, house, part, sound, told


def resting(starts_h: tuple[float, ...], length_h: float = 3.0) -> np.ndarray:
    """Power of a pump of 12 W that rests for some hours from each of these hours on."""
    rests = np.zeros(len(TIME_MS), bool)
    for start in starts_h:
        rests |= (start <= HOUR) & (start + length_h > HOUR)
    return np.where(rests, 0.0, 12.0)


def plug_alone(power: np.ndarray) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    values = sound()
    values["heating.power"] = power
    return values, {name: np.ones(len(TIME_MS), bool) for name in values if name != "heating.power"}


RESTS = (51.0, 80.0, 99.0, 130.0)
"""On the third, fourth, fifth and sixth day, at three, eight, three and ten o'clock."""


def test_pump_said_to_be_always_on_that_rests_of_its_own_is_told_ever_less() -> None:
    """Two days with a rest wake, the third asks to correct the plant file, the next is known."""
    values, silent = plug_alone(resting(RESTS))
    findings = found(values, house(always_on=True), silent)
    findings.sort(key=lambda f: f.start_ms)
    assert [(f.fault, f.urgency) for f in findings] == [
        ("stall", "now"),
        ("stall", "now"),
        ("stall", "soon"),
    ]
    assert "always_on = false" in findings[-1].first_check
    assert "plant file" in findings[-1].possible[0]


def test_rests_of_one_day_wake_twice_at_most() -> None:
    """Four rests of half an hour on the sixth day, which nothing was learned of beforehand."""
    values, silent = plug_alone(resting((124.0, 127.0, 131.0, 136.0), 0.5))
    assert told(values, house(always_on=True), silent) == [("stall", "now"), ("stall", "now")]


def test_third_rest_of_a_day_that_does_not_end_is_told_late() -> None:
    """Half as long again as the two before it and ten minutes: an hour, running again included."""
    values, silent = plug_alone(np.where(HOUR >= 131.0, 0.0, resting((124.0, 127.0), 0.5)))
    last = found(values, house(always_on=True), silent)[-1]
    assert (last.urgency, last.end_ms) == ("now", None)
    assert last.raised_ms is not None
    assert 0.8 * HOUR_MS <= last.raised_ms - 131 * HOUR_MS <= 1.1 * HOUR_MS


def test_pump_that_rests_of_its_own_is_told_when_it_stays_away() -> None:
    """Half as long again as its longest rest, and ten minutes: it wakes."""
    values, silent = plug_alone(np.where(HOUR >= 130.0, 0.0, resting(RESTS)))
    last = max(found(values, house(always_on=True), silent), key=lambda f: f.start_ms)
    assert (last.fault, last.urgency, last.end_ms) == ("stall", "now", None)
    assert last.raised_ms is not None
    assert 4.5 * HOUR_MS <= last.raised_ms - 130 * HOUR_MS <= 5 * HOUR_MS


@pytest.mark.parametrize(("since_h", "faults"), [(None, []), (5.0, [("stall", "now")])])
def test_live_watch_knows_how_long_a_rest_had_lasted_before_its_window(
    since_h: float | None, faults: list[tuple[str, str]]
) -> None:
    """Its longest rest took three hours; it rests through the last four, or since long before."""
    end_ms = 144 * HOUR_MS
    begin_ms = end_ms - 4 * HOUR_MS
    usual = PumpLearned(
        levels=Levels(idle_w=0.0, low_w=11.8, usual_w=12.0, high_w=12.2), run_minutes=6000,
        rest_days=4, rest_most_min=180,
        rests_since_ms=None if since_h is None else round(begin_ms - since_h * HOUR_MS),
    )  # fmt: skip
    time_ms = np.arange(begin_ms, end_ms, MINUTE_MS)
    situation = Situation(
        plant=house(always_on=True), span=Span(begin_ms, end_ms),
        record={"heating.power": Readings.of(time_ms, np.zeros(len(time_ms)))},
        learned=PlantLearned(pumps={"heating": usual}, days=14.0, until_ms=begin_ms + HOUR_MS),
    )  # fmt: skip
    told_then = examine(situation, [FAULTS["stall"]]).findings
    assert [(f.fault, f.urgency) for f in told_then] == faults


@pytest.mark.parametrize(("after_w", "days"), [(12.0, 4), (20.0, 0)])
def test_rest_after_which_the_power_is_another_is_no_habit(after_w: float, days: int) -> None:
    """A rotor that frees itself with a drag takes more; a thermostat's pump takes what it did."""
    power = resting(RESTS)
    for start in RESTS:
        power[(start + 3.0 <= HOUR) & (start + 3.5 > HOUR)] = after_w
    assert len(own_rests(power, 6.0, (11.8, 12.2))) == days


def test_electronic_pump_at_its_plate_s_least_does_not_rest() -> None:
    """3.2 to 3.9 W on a plug alone, and no pause between: of a plate of 3 W nothing is rest."""
    wander = 3.5 + 0.35 * np.sin(HOUR * 2.0)
    values, silent = plug_alone(np.round(wander, 1))
    assert found(values, house(always_on=True, least_w=3.0), silent) == []


@pytest.mark.parametrize(("outdoor_c", "faults"), [(20.0, []), (4.0, [("stall", "now")])])
def test_first_stop_of_a_pump_in_mild_weather_is_its_controller_s(
    outdoor_c: float, faults: list[tuple[str, str]]
) -> None:
    """It never rested so far, and nobody said that it always runs: on a cold day it is missed."""
    values = sound()
    rested = np.where(values["heating.power"] < 6.0, 12.0, values["heating.power"])
    values["heating.power"] = np.where(LATE, 1.0, rested)
    values["plant.outdoor"] = np.full(len(TIME_MS), outdoor_c)
    plant = house()
    plant = replace(
        plant, channels=(*plant.channels, part("plant", "temperature", "Cel", "outdoor"))
    )
    silent = {name: np.ones(len(TIME_MS), bool) for name in ("heating.flow",)}
    assert [(f.fault, f.urgency) for f in found(values, plant, silent)] == faults


def test_pump_stopped_beside_a_boiler_of_cool_water_is_no_stall() -> None:
    """Switched off for the summer in the minutes after a short fire: water of 25 Cel heats none."""
    values = sound()
    values["heating.power"] = np.where(values["heating.power"] < 6.0, 12.0, values["heating.power"])
    values["heating.power"] = np.where(LATE, 1.0, values["heating.power"])
    lit = LATE & (AFTER_H < 0.1)
    values["boiler.power"] = np.where(LATE, np.where(lit, 40.0, 5.0), values["boiler.power"])
    warm_c = 25.0 + 28.0 * np.exp(-np.maximum(AFTER_H + 6.0, 0.0))
    for name in ("boiler.flow", "heating.flow"):
        values[name] = np.where(AFTER_H > -6.0, warm_c - np.maximum(AFTER_H, 0.0), values[name])
    assert told(values, house(always_on=True)) == []


def two_pumps() -> Plant:
    """The second heating pump is electronic as well."""
    plant = house()
    floor = Pump(id="floor", drive="electronic", rated_power_w=(4.0, 40.0))
    return replace(
        plant, pumps=(*plant.pumps, floor), channels=(*plant.channels, part("floor", "power", "W"))
    )


def test_one_loss_of_water_is_one_message() -> None:
    """One pump runs dry with half its power; the other is stopped in the same minutes."""
    values = sound()
    values["floor.power"] = np.where(AFTER_H > 0.1, 0.0, values["heating.power"])
    values["heating.power"] = np.where(LATE, 5.0, values["heating.power"])
    values["plant.pressure"] = np.where(LATE, np.maximum(1.3 - 15.0 * AFTER_H, 0.2), 1.3)
    findings = [f for f in found(values, two_pumps()) if f.fault == "dry_run"]
    assert [f.subject for f in findings] == ["heating"]


def test_charge_that_ended_before_the_pressure_fell_ran_never_dry() -> None:
    """The store's pump stopped at ten, as each day; at six minutes past a valve was opened."""
    values = sound()
    stop = HOUR - (5 * 24 + 6.6)
    values["plant.pressure"] = np.where(stop > 0.1, np.clip(1.9 - 8.0 * stop, 0.3, 1.3), 1.3)
    assert "charging" not in {f.subject for f in found(values, house()) if f.fault == "dry_run"}


def test_pipe_that_a_boiling_boiler_s_water_reaches_later_is_one_alarm() -> None:
    """The boiler is at 110 Cel for an hour; a pump that starts then carries it on."""
    values = sound()
    hot = (AFTER_H > 0.0) & (AFTER_H < 1.0)
    values["boiler.flow"] = np.where(hot, 110.0, values["boiler.flow"])
    later = (AFTER_H > 1.5) & (AFTER_H < 1.7)
    values["heating.flow"] = np.where(later, 100.0, values["heating.flow"])
    findings = [f for f in found(values, house()) if f.fault == "overheating"]
    assert [f.subject for f in findings] == ["boiler"]
    values["boiler.flow"] = sound()["boiler.flow"]
    findings = [f for f in found(values, house()) if f.fault == "overheating"]
    assert [f.subject for f in findings] == ["heating"]


@pytest.mark.parametrize(("rise_c", "faults"), [(0.5, []), (30.0, [("overheating", "now")])])
def test_body_beside_water_that_cools_faster_is_not_too_hot(
    rise_c: float, faults: list[tuple[str, str]]
) -> None:
    """More power brings cool water: the pipe falls by 8 K, the iron follows later."""
    values = sound(6.0)
    values["heating.power"] = np.where(LATE, 17.0, values["heating.power"])
    fallen = 8.0 * np.clip(AFTER_H / 0.1, 0.0, 1.0)
    values["heating.body"] = np.full(len(TIME_MS), 49.0) + rise_c * np.clip(AFTER_H / 0.4, 0.0, 1.0)
    values["heating.flow"] = np.where(AFTER_H > -3.0, 58.0, values["heating.flow"]) - fallen
    values["boiler.flow"] = np.where(AFTER_H > -3.0, 58.0, values["boiler.flow"]) - fallen
    plant = replace(
        house(), channels=(*house().channels, part("heating", "temperature", "Cel", "body"))
    )
    assert [t for t in told(values, plant) if t[0] == "overheating"] == faults


@pytest.mark.parametrize(("falls_k_h", "faults"), [(0.0, []), (5.0, [("dead_head", "soon")])])
def test_mixing_valve_set_lower_is_no_shut_valve(
    falls_k_h: float, faults: list[tuple[str, str]]
) -> None:
    """A floor's pipe of 31 Cel below a boiler of 55 is held at 27 from noon on, or it cools."""
    values = sound()
    held = np.where(LATE, 27.0 - falls_k_h * AFTER_H, 31.0)
    values["heating.flow"] = held + 0.02 * np.sin(HOUR * 50.0)
    assert told(values, house()) == faults


def test_pump_of_higher_mains_beside_a_pipe_that_warms_again_is_no_locked_rotor() -> None:
    """Its power is above any so far; a boiler's flow rises a minute before the pump's pipe."""
    values = sound(45.0)
    values["heating.power"] *= np.where(LATE, 1.15, 1.0)
    minute = np.rint(AFTER_H * 60.0)
    # Down for eleven minutes and up within three, the pipe a minute behind the boiler.
    fall, rise = np.clip((minute - 60.0) / 11.0, 0.0, 1.0), np.clip((minute - 71.0) / 3.0, 0.0, 1.0)
    values["boiler.flow"] = np.where(LATE, 52.0 - 5.0 * (fall - rise), values["boiler.flow"])
    fall, rise = np.clip((minute - 61.0) / 11.0, 0.0, 1.0), np.clip((minute - 72.0) / 3.0, 0.0, 1.0)
    values["heating.flow"] = np.where(LATE, 51.0 - 5.0 * (fall - rise), values["heating.flow"])
    assert told(values, house("induction")) == []


def test_store_that_warms_while_its_pump_s_plug_is_unheard_is_being_charged() -> None:
    """The plug is switched with the pump, and misses one charge: the store's top rises."""
    values = sound()
    rests = (AFTER_H >= 0) & (AFTER_H < 0.6)
    values["heating.power"] = np.where(rests, 0.0, values["heating.power"])
    hot = 55.0 + 12.0 * np.minimum(AFTER_H / 0.2, 1.0)
    values["boiler.flow"] = np.where(rests, hot, values["boiler.flow"])
    values["boiler.power"] = np.where(rests, 40.0, values["boiler.power"])
    values["heating.flow"] = np.where(rests, 54.0 - 10.0 * AFTER_H, values["heating.flow"])
    charged = (HOUR % 24 >= 6.0) & (HOUR % 24 < 6.6) | rests
    since = np.where(rests, AFTER_H, HOUR % 24 - 6.0)
    values["store.top"] = np.where(charged, 48.0 + 12.0 * since, 48.0)
    unheard = (values["charging.power"] == 0.0) & (HOUR > 24.0)
    plant = replace(
        house(), channels=(*house().channels, part("store", "temperature", "Cel", "top"))
    )
    assert found(values, plant, {"charging.power": unheard}) == []
    values["store.top"] = np.where(rests, 48.0, values["store.top"])
    (stall,) = found(values, plant, {"charging.power": unheard})
    assert stall.fault == "stall"


def test_overload_is_told_by_the_plate_of_the_pump_in_place() -> None:
    """The old pump of 20 W at most took 30; the plant file has the new one's plate."""
    values = sound()
    over = (HOUR >= 60.0) & (HOUR < 63.0)
    values["heating.power"] = np.where(over, 30.0, values["heating.power"])
    swap = Swap(
        pump="heating", time=from_ms(84 * HOUR_MS),
        old=PumpPlate(drive="electronic", rated_power_w=(4.0, 20.0)), new=PumpPlate(),
    )  # fmt: skip
    (hot,) = (f for f in found(values, replace(house(), swaps=(swap,))) if f.fault == "overheating")
    assert hot.evidence[0].expected == "at most 20 by its plate"
    assert hot.end_ms is not None
    assert hot.end_ms - hot.start_ms < 4 * HOUR_MS + MINUTE_MS
