"""What looked like a stall, a shut valve or lost supply and was none, each in hand-made minutes."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, Span, from_ms
from analysis.faults.registry import FAULTS, examine
from analysis.plant.plant import Plant, Pump, PumpPlate, Swap
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation
from made_minutes import (
    AFTER_H,
    DAYS,
    HOUR,
    LATE,
    TIME_MS,
    charged,
    found,
    house,
    part,
    record,
    sound,
    stalled,
    told,
)


@pytest.mark.parametrize("plant", [house(), house(always_on=True)])
def test_sound_house_with_a_charge_a_day_raises_nothing(plant: Plant) -> None:
    """The heating pump rests while the store is charged."""
    assert told(sound(), plant) == []


def test_charge_behind_a_plug_that_fell_silent_is_no_stall() -> None:
    """The charging pump's plug is out of radio for the hour: the heat may be the store's."""
    values = sound()
    charged(values)
    silent = {"charging.power": (AFTER_H > -0.2) & (AFTER_H < 0.8)}
    assert found(values, house(), silent) == []


def test_rest_while_the_charging_pump_is_heard_at_rest_is_a_stall() -> None:
    """The same rest, and the charging pump is seen to rest: nobody fetches the heat."""
    values = sound()
    stalled(values, 0.0)
    (finding,) = found(values, house())
    assert (finding.fault, finding.urgency) == ("stall", "now")
    assert finding.raised_ms is not None
    assert finding.raised_ms - TIME_MS[LATE][0] <= 15 * MINUTE_MS


def test_smaller_setting_with_moving_water_is_no_stall() -> None:
    """A third of the power than ever, and the pipe follows the boiler as before: a setting."""
    values = sound()
    values["heating.power"] = np.where(LATE, 2.5, values["heating.power"])
    assert told(values, house()) == []


def test_same_little_power_with_a_cooling_pipe_is_a_stall() -> None:
    """2.5 W of electronics at rest, the pipe parts from the boiler."""
    values = sound()
    stalled(values, 2.5)
    assert told(values, house()) == [("stall", "now")]


def test_induction_pump_turned_down_is_no_stall_that_never_ends() -> None:
    """From the highest to the lowest of three settings, 70 to 33 W, and water moves on."""
    values = sound(70.0)
    values["heating.power"] = np.where(LATE, 33.0, values["heating.power"])
    assert told(values, house("induction")) == []


def test_plug_of_whole_watts_one_step_lower_is_no_stall() -> None:
    """4 W that read 3 W now and then, for an hour."""
    values = sound(4.0)
    values["heating.power"] = np.round(values["heating.power"])
    lower = (AFTER_H >= 0) & (AFTER_H < 1.0)
    values["heating.power"] = np.where(lower, 3.0, values["heating.power"])
    wander = 3.6 + (np.arange(len(TIME_MS)) % 7 == 0)
    values["heating.power"] = np.where(LATE, values["heating.power"], np.round(wander))
    assert told(values, house(least_w=5.0)) == []


def test_held_value_of_a_silent_pipe_sensor_is_no_shut_valve() -> None:
    """The clip reports on change and falls silent before the morning's start."""
    plant = house()
    clip = part("heating", "temperature", "Cel", "flow", reports="change", interval_s=1800.0)
    channels = tuple(clip if c.id == clip.id else c for c in plant.channels)
    plant = Plant(
        name="Quay", timezone="UTC", boilers=plant.boilers, stores=plant.stores,
        pumps=plant.pumps, channels=channels,
    )  # fmt: skip
    values = sound()
    off = (AFTER_H > -1.0) & (AFTER_H < 0.0)
    values["heating.power"] = np.where(off, 0.0, values["heating.power"])
    values["boiler.power"] = np.where(off, 5.0, values["boiler.power"])
    values["boiler.flow"] = np.where(off, 40.0, values["boiler.flow"])
    values["heating.flow"] = np.where(off, 54.0 - 30.0 * (AFTER_H + 1.0), values["heating.flow"])
    silent = {"heating.flow": (AFTER_H > -0.1) & (AFTER_H < 3.0)}
    assert [f for f in found(values, plant, silent) if f.fault == "dead_head"] == []


def test_shut_valve_lasts_beyond_midnight() -> None:
    """Shut on the fourth noon: one finding to the end, though each night teaches anew."""
    values = sound()
    shut = HOUR >= 3 * 24 + 12.0
    since = HOUR - (3 * 24 + 12.0)
    values["heating.flow"] = np.where(
        shut, 20.0 + 34.0 * np.exp(-since / 1.5), values["heating.flow"]
    )
    heads = [f for f in found(values, house()) if f.fault == "dead_head"]
    assert len(heads) == 1
    assert heads[0].end_ms is None


def test_pump_that_takes_nothing_without_water_is_a_dry_run() -> None:
    """Pressure gone, and the pump that should run stops itself: dry, not merely a stall."""
    values = sound()
    stalled(values, 0.0)
    values["plant.pressure"] = np.where(AFTER_H > -2.0, 0.2, 1.3)
    first = found(values, house())[0]
    assert (first.fault, first.urgency) == ("dry_run", "now")


def test_a_small_pump_whose_night_looks_like_rest_has_not_stalled() -> None:
    """By day it takes little more than by night: only a fall far below tells that it stopped."""
    noise = 0.03 * np.random.default_rng(8).standard_normal(len(TIME_MS))
    sun = np.clip(np.sin((HOUR - 6.0) * np.pi / 12), 0.0, None)
    power = 2.4 + 1.6 * sun * (1.0 + 0.15 * np.sin(HOUR * 3.0)) + noise
    whole = house(always_on=True)
    plant = replace(whole, stores=(), pumps=whole.pumps[:1], channels=whole.channels[:1])
    assert found({"heating.power": power}, plant) == []
    stopped = {"heating.power": np.where(AFTER_H > 0, 1.0, power)}
    assert [(f.fault, f.urgency) for f in found(stopped, plant)] == [("stall", "now")]


def test_water_lost_about_a_pump_whose_power_tells_nothing() -> None:
    """A pump at its least takes hardly more than at rest: the pressure tells, if nobody drains."""
    values, noise = sound(), 0.03 * np.random.default_rng(8).standard_normal(len(TIME_MS))
    by_day = 2.6 + 1.2 * np.clip(np.sin(HOUR * np.pi / 12) - 0.2, 0.0, None)
    rests = (values["heating.power"] == 0.0) | (AFTER_H > 0)
    values["heating.power"] = np.where(rests, 2.4, by_day) + noise
    del values["boiler.flow"]
    plant = house(least_w=3.3)
    situation = Situation(plant=plant, record=record(values, {}), span=Span(0, DAYS * DAY_MS))
    health = examine(situation, [FAULTS["stall"]])
    assert health.findings == ()
    (unknown,) = [one for one in health.cannot_judge if one.subject == "heating"]
    assert "by its power the pump at work cannot be told from one at rest" in unknown.needs
    values["plant.pressure"] = np.where(AFTER_H > 0, 0.3, 1.5)
    told = found(values, plant)
    assert [(f.subject, f.fault, f.urgency) for f in told] == [("heating", "dry_run", "now")]
    assert told[0].raised_ms - TIME_MS[LATE][0] <= 10 * MINUTE_MS
    values["plant.pressure"] = np.where(AFTER_H > 3.0, 1.4, values["plant.pressure"])
    (until,) = (f.end_ms for f in found(values, plant))
    assert until == pytest.approx(TIME_MS[AFTER_H > 3.0][0], abs=30 * MINUTE_MS)  # topped up
    values["boiler.power"] = np.where(AFTER_H > -0.3, 0.0, values["boiler.power"])
    assert found(values, plant) == []


def test_silent_flow_sensor_makes_no_body_too_hot() -> None:
    """With the flow pipe unheard the cool return is not the pump's water."""
    plant = house()
    more = (
        part("heating", "temperature", "Cel", "return"),
        part("heating", "temperature", "Cel", "body"),
    )
    plant = Plant(
        name="Quay", timezone="UTC", boilers=plant.boilers, stores=plant.stores,
        pumps=plant.pumps, channels=(*plant.channels, *more),
    )  # fmt: skip
    values = sound()
    values["heating.return"] = np.full(len(TIME_MS), 25.0)
    values["heating.body"] = values["heating.flow"] - 5.0
    silent = {"heating.flow": (AFTER_H > 0.0) & (AFTER_H < 2.0)}
    assert found(values, plant, silent) == []


def pausing(fails: bool) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """Only the plug is heard; the pump pauses 36 minutes every four hours, may stop for good."""
    values = sound()
    rests = (HOUR % 4.0 >= 2.0) & (HOUR % 4.0 < 2.6)
    values["heating.power"] = np.where(rests | (fails & LATE), 0.0, 12.0)
    return values, {name: np.ones(len(TIME_MS), bool) for name in values if name != "heating.power"}


def test_pauses_of_a_pump_said_to_be_always_on_are_its_habit() -> None:
    """A plug alone cannot see the store being charged, but that the pauses end by themselves."""
    values, silent = pausing(fails=False)
    assert found(values, house(always_on=True), silent) == []


def test_pump_that_pauses_by_habit_is_told_when_it_stays_away() -> None:
    """It stops for good: told within an hour and a half of what would have been its pause."""
    values, silent = pausing(fails=True)
    (stall,) = found(values, house(always_on=True), silent)
    assert (stall.fault, stall.urgency, stall.end_ms) == ("stall", "now", None)
    stopped_ms = int(TIME_MS[LATE][0])
    assert stall.raised_ms is not None
    assert 0 < stall.raised_ms - stopped_ms < 1.5 * HOUR_MS


def test_pump_brought_in_by_a_swap_rests_by_its_own_habit() -> None:
    """The old pump was always on, the new one is switched: its rest of a day is no stall."""
    values, silent = pausing(fails=False)
    values["heating.power"] = np.where(HOUR < 24.0, 50.0, np.where(LATE, 0.0, 12.0))
    swap = Swap(
        pump="heating", time=from_ms(24 * HOUR_MS),
        old=PumpPlate(drive="induction", always_on=True), new=PumpPlate(always_on=False),
    )  # fmt: skip
    plant = house(always_on=True)
    assert [f.fault for f in found(values, plant, silent)] == ["stall"]
    assert found(values, replace(plant, swaps=(swap,)), silent) == []


def switched_off(values: dict[str, np.ndarray]) -> None:
    """From the last noon on boiler and pump are off; the boiler's iron cools later than pipes."""
    values["heating.power"] = np.where(LATE, 1.0, values["heating.power"])
    values["boiler.power"] = np.where(LATE, 5.0, values["boiler.power"])
    for name, hours in (("boiler.flow", 4.0), ("heating.flow", 3.0)):
        cool = 18.0 + 36.0 * np.exp(-AFTER_H / hours)
        values[name] = np.where(LATE, cool, values[name])


def test_pump_switched_off_with_its_boiler_is_no_stall() -> None:
    """No fire follows: nobody makes heat that the pump ought to fetch."""
    values = sound()
    switched_off(values)
    assert told(values, house()) == []


def test_pump_at_rest_under_a_boiler_that_fails_to_light_is_no_stall() -> None:
    """The burner's motor starts every hour without a flame, and all the water is cold."""
    values = sound()
    switched_off(values)
    tries = LATE & (AFTER_H % 1.0 < 0.05)
    values["boiler.power"] = np.where(tries, 40.0, values["boiler.power"])
    rests = AFTER_H > 2.0
    # Without valves in the way the pump keeps pipe and boiler together until it rests.
    values["heating.power"] = np.where(LATE, np.where(rests, 0.0, 12.0), values["heating.power"])
    values["boiler.flow"] = np.where(LATE & ~rests, values["heating.flow"], values["boiler.flow"])
    beside = 28.0 * np.exp(-(AFTER_H - 2.0) / 1.0)
    values["heating.flow"] = np.where(
        LATE & rests, np.minimum(beside, 28.0), values["heating.flow"]
    )
    assert told(values, house(always_on=True)) == []


def set_back(values: dict[str, np.ndarray], longest_h: float) -> None:
    """At a quarter past ten of cold nights the clock sets the heating back, and the pump rests.

    It runs on for the store's charges. The boiler keeps itself hot meanwhile; the last rest, from
    the last night on, is `longest_h`.
    """
    values["heating.power"] = np.where(values["heating.power"] < 6.0, 12.0, values["heating.power"])
    for night, length_h in ((0, 0.5), (1, 0.7), (5, longest_h)):
        late_h = HOUR - (night * 24.0 + 22.25)
        rests = (late_h >= 0) & (late_h < length_h)
        values["heating.power"] = np.where(rests, 0.0, values["heating.power"])
        values["boiler.flow"] = np.where(rests, 60.0, values["boiler.flow"])
        values["boiler.power"] = np.where(rests & (HOUR % 0.5 < 0.04), 40.0, values["boiler.power"])
        values["heating.flow"] = np.where(rests, 54.0 - 15.0 * late_h, values["heating.flow"])


def test_rest_that_begins_at_the_hour_of_a_clock_is_its_habit() -> None:
    """A little longer than on the nights before, from the same quarter hour on."""
    values = sound()
    set_back(values, 0.8)
    assert told(values, house(always_on=True)) == []


def test_pump_that_does_not_come_back_from_its_nightly_rest_is_told() -> None:
    """It stays away for an hour longer than ever."""
    values = sound()
    set_back(values, 1.75)
    assert told(values, house(always_on=True)) == [("stall", "now")]


@pytest.mark.parametrize("rest_w", [0.0, 1.0])
def test_first_charge_after_a_holiday_is_no_stall(rest_w: float) -> None:
    """No charge was met while learning, and the heating pump never rested."""
    values = sound()
    values["heating.power"] = np.where(values["heating.power"] < 6.0, 12.0, values["heating.power"])
    values["charging.power"] = np.zeros(len(TIME_MS))
    rests = charged(values)
    values["heating.power"] = np.where(rests, rest_w, values["heating.power"])
    assert told(values, house(always_on=True)) == []


def test_stall_in_the_first_charge_after_a_holiday_is_told_after_it() -> None:
    """The charging pump stops, the heating pump does not come back."""
    values = sound()
    values["heating.power"] = np.where(values["heating.power"] < 6.0, 12.0, values["heating.power"])
    values["charging.power"] = np.where((AFTER_H >= 0) & (AFTER_H < 0.6), 45.0, 0.0)
    stalled(values, 1.0)
    assert told(values, house(always_on=True)) == [("stall", "now")]


@pytest.mark.parametrize(("most_c", "told_too"), [(42.0, []), (90.0, [("overheating", "now")])])
def test_cold_body_that_warms_after_shut_valves_is_not_too_hot(
    most_c: float, told_too: list[tuple[str, str]]
) -> None:
    """Valves open after a holiday: twice the power, and warm water reaches a pump of 19 Cel."""
    values = sound(6.0)
    values["heating.power"] = np.where(LATE, 12.0, values["heating.power"])
    warmed = np.maximum(1.0 - np.exp(-np.maximum(AFTER_H, 0.0) / 0.5), 0.0)
    values["heating.body"] = 19.0 + (most_c - 19.0) * warmed
    plant = house(always_on=True)
    body = part("heating", "temperature", "Cel", "body")
    plant = replace(plant, channels=(*plant.channels, body))
    assert told(values, plant) == told_too


@pytest.mark.parametrize(("power_w", "faults"), [(55.0, [("overheating", "now")]), (45.0, [])])
def test_pump_that_takes_far_more_than_its_plate_overheats(
    power_w: float, faults: list[tuple[str, str]]
) -> None:
    """At most 40 W by its plate: no setting takes 55 W, and 45 W may be the plug."""
    values = sound()
    values["heating.power"] = np.where(LATE, power_w, values["heating.power"])
    assert told(values, house()) == faults


@pytest.mark.parametrize(("blip_w", "faults"), [(2.0, set()), (7.0, {"stall"})])
def test_two_whole_watts_at_rest_are_no_start_attempt(blip_w: float, faults: set[str]) -> None:
    """A plug of whole watts makes two of a standby of one; a locked rotor's try takes more."""
    values = sound()
    plant = house()
    electronic = Pump(id="charging", drive="electronic", duty="store", rated_power_w=(3.0, 25.0))
    plant = replace(plant, pumps=(plant.pumps[0], electronic))
    readings = record(values, {})
    fast_ms = np.arange(0, DAYS * DAY_MS, 10_000)
    charges = np.repeat(values["charging.power"] > 0, 6)
    blips = (fast_ms >= TIME_MS[LATE][0]) & (fast_ms < TIME_MS[LATE][0] + HOUR_MS)
    blips &= (fast_ms // 10_000) % 6 == 0
    power = np.where(charges, 9.0, np.where(blips, blip_w, 0.0))
    readings["charging.power"] = Readings.of(fast_ms, power)
    situation = Situation(plant=plant, record=readings, span=Span(0, DAYS * DAY_MS))
    assert {f.fault for f in examine(situation, [FAULTS["stall"]]).findings} == faults


@pytest.mark.parametrize(
    ("opened_w", "faults"), [(57.0, [("dead_head", "soon")]), (70.0, [("stall", "now")])]
)
def test_pump_learned_against_shut_valves_takes_more_when_they_open(
    opened_w: float, faults: list[tuple[str, str]]
) -> None:
    """50 W for days, below a plate of 55 to 75: 57 W beside a cold pipe wake nobody, 70 W do."""
    values = sound(50.0)
    stalled(values, opened_w)
    plant = house("induction")
    heating = replace(plant.pumps[0], rated_power_w=(55.0, 75.0))
    assert told(values, replace(plant, pumps=(heating, plant.pumps[1]))) == faults


@pytest.mark.parametrize(("warms", "faults"), [(True, []), (False, [("stall", "now")])])
def test_return_that_turns_cold_at_a_start_is_no_standing_water(
    warms: bool, faults: list[tuple[str, str]]
) -> None:
    """A seventh more power from a rest on, and the return, all that is sensed, falls by ten kelvin.

    Within twenty minutes it comes back warm; if it does not, nothing moves.
    """
    values = sound(50.0)
    rests = (AFTER_H >= -1.0) & (AFTER_H < 0.0)
    values["heating.power"] = np.where(rests, 0.0, np.where(LATE, 58.0, values["heating.power"]))
    values["heating.return"] = values.pop("heating.flow") - 8.0
    values["boiler.flow"] = np.where(LATE, 62.0, values["boiler.flow"])
    minutes = AFTER_H * 60.0
    course = 45.0 - 10.0 * np.clip(minutes / 8.0, 0, 1)
    course += (25.0 if warms else -8.0) * np.clip((minutes - 10.0) / 30.0, 0, 1)
    values["heating.return"] = np.where(LATE, course, values["heating.return"])
    plant = house("induction")
    back = part("heating", "temperature", "Cel", "return")
    others = tuple(c for c in plant.channels if c.id != "heating.flow")
    assert told(values, replace(plant, channels=(*others, back))) == faults
