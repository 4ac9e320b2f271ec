"""Silences: a channel's habit is no news, what goes beyond it is told once."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, Span
from analysis.faults.registry import FAULTS, examine
from analysis.plant.finding import Finding
from analysis.plant.plant import Boiler, Channel, Plant, Pump
from analysis.readings.learned import PlantLearned
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation
from analysis.readings.usual_silence import switched_pumps, usual_silence_ms, usual_silences

PLANT = Plant(
    name="Quay", timezone="UTC", pumps=(Pump(id="heating", drive="induction"),),
    channels=(
        Channel(id="heating.power", of="heating", quantity="power", unit="W", interval_s=60),
    ),
)  # fmt: skip
DAYS = 12
SPAN = Span(0, DAYS * DAY_MS)
TIME_MS = np.arange(0, SPAN.end_ms, MINUTE_MS)
HOUR = TIME_MS / HOUR_MS % 24


def found(keep: np.ndarray, span: Span = SPAN, **more: object) -> tuple[Finding, ...]:
    readings = Readings.of(TIME_MS[keep], np.full(int(keep.sum()), 50.0))
    situation = Situation(plant=PLANT, record={"heating.power": readings}, span=span, **more)  # type: ignore[arg-type]  # words of the call
    return examine(situation, [FAULTS["channel_silent"]]).findings


def test_plug_that_loses_power_with_its_pump_each_night_is_no_news() -> None:
    """Ten hours of silence every night from the first on: the habit of a switched socket."""
    assert found((HOUR >= 8) & (HOUR < 22)) == ()


def test_silence_beyond_the_habit_is_told() -> None:
    """The same plug, silent for two days."""
    keep = (HOUR >= 8) & (HOUR < 22) & ((TIME_MS < 8 * DAY_MS) | (TIME_MS > 10 * DAY_MS))
    (finding,) = found(keep)
    assert finding.start_ms > 7 * DAY_MS


def test_first_long_silence_of_a_channel_is_told_and_the_next_is_not() -> None:
    """Nine hours of lost radio once are told; again a week later they are known."""
    hour = TIME_MS / HOUR_MS
    keep = ~(((hour > 100) & (hour < 109)) | ((hour > 200) & (hour < 209)))
    (finding,) = found(keep)
    assert abs(finding.start_ms - 100 * HOUR_MS) <= 2 * MINUTE_MS


def test_one_failure_of_days_makes_no_failure_of_days_a_habit() -> None:
    """Three days of silence once: the next silence of two days is told as well."""
    hour = TIME_MS / HOUR_MS
    keep = ~(((hour > 80) & (hour < 152)) | ((hour > 200) & (hour < 248)))
    assert len(found(keep)) == 2


def test_plug_that_is_switched_many_times_a_day_may_rest_a_weekend() -> None:
    """A charging pump's plug, heard for ten minutes every four hours, then for two days not."""
    hour = TIME_MS / HOUR_MS
    heard = (hour % 4.0 < 0.2) & ~((hour > 150) & (hour < 192))
    readings = Readings.of(TIME_MS[heard], np.ones(int(heard.sum())))
    assert usual_silence_ms(readings, 150 * HOUR_MS) >= 42 * HOUR_MS
    assert found(heard) == ()


def test_live_watch_knows_the_habit_that_the_night_learned() -> None:
    """Nothing heard for nine hours: told, but not where nine hours are what was learned."""
    now = Span(SPAN.end_ms - 4 * HOUR_MS, SPAN.end_ms)
    last = {"heating.power": SPAN.end_ms - 9 * HOUR_MS}
    keep = TIME_MS < 0
    assert len(found(keep, now, learned=PlantLearned(), last_ms=last)) == 1
    by_day = TIME_MS[(HOUR >= 8) & (HOUR < 22)]
    nightly = Readings.of(by_day, np.ones(len(by_day)))
    learned = PlantLearned(silent_ms=usual_silences({"heating.power": nightly}, SPAN))
    assert found(keep, now, last_ms=last, learned=learned) == ()


def switched(values: np.ndarray, keep: np.ndarray, plant: Plant, **more: object) -> list[Finding]:
    """Findings of a pump whose plug is heard in some of the minutes only."""
    readings = {"heating.power": Readings.of(TIME_MS[keep], values[keep])}
    for channel in plant.channels[1:]:
        readings[channel.id] = Readings.of(TIME_MS, np.asarray(more.get(channel.id)))
    situation = Situation(plant=plant, record=readings, span=SPAN)
    return list(examine(situation, [FAULTS["channel_silent"]]).findings)


HEATED = replace(
    PLANT, boilers=(Boiler(id="boiler", fuel="gas"),),
    channels=(
        *PLANT.channels,
        Channel(id="boiler.power", of="boiler", quantity="power", unit="W", interval_s=60),
    ),
)  # fmt: skip
WEEKLY = (TIME_MS < 2 * DAY_MS) | ((HOUR >= 10) & (HOUR < 10.1) & (TIME_MS // DAY_MS % 7 == 2))
"""Two days with heat, then a minute or six each week: the pump's controller switches its plug."""


@pytest.mark.parametrize(("rest_w", "silences"), [(50.0, 1), (0.0, 3)])
def test_plug_that_is_switched_with_its_pump_rests_with_it_for_a_week(
    rest_w: float, silences: int
) -> None:
    """Seen at work whenever it falls silent: no news after the first time; seen at rest it is."""
    values = np.where((TIME_MS < 2 * DAY_MS) & (HOUR > 3), rest_w, 50.0)
    values[(TIME_MS > 1.9 * DAY_MS) | (HOUR < 1)] = rest_w or 0.0
    values[HOUR.astype(int) == 10] = 50.0
    rests = np.full(len(TIME_MS), 5.0)
    assert len(switched(values, WEEKLY, HEATED, **{"boiler.power": rests})) == silences
    assert len(switched(values, WEEKLY, PLANT)) == 3


def test_switched_plug_is_missed_where_its_pump_ran_with_every_fire() -> None:
    """The burner fires for the heating through the days of silence, as it did before."""
    fires = (HOUR % 2.0 < 1.0) & (HOUR > 5.0)
    heard = fires & ((TIME_MS < 8 * DAY_MS) | (TIME_MS > 11 * DAY_MS))
    burner = np.where(fires, 60.0, 5.0)
    found_then = switched(np.full(len(TIME_MS), 50.0), heard, HEATED, **{"boiler.power": burner})
    assert [f.start_ms // DAY_MS for f in found_then] == [7]
    calm = np.where(fires & ((TIME_MS < 8 * DAY_MS) | (TIME_MS > 11 * DAY_MS)), 60.0, 5.0)
    assert switched(np.full(len(TIME_MS), 50.0), heard, HEATED, **{"boiler.power": calm}) == []


def test_live_watch_knows_which_plugs_the_night_saw_switched() -> None:
    """Three days of silence of a plug known as switched, boiler at rest: no news; nine days are."""
    now = Span(SPAN.end_ms - 4 * HOUR_MS, SPAN.end_ms)
    late = now.start_ms <= TIME_MS
    boiler = Readings.of(TIME_MS[late], np.full(int(late.sum()), 5.0))
    for days, told in ((3, 0), (9, 1)):
        situation = Situation(
            plant=HEATED, record={"boiler.power": boiler}, span=now,
            last_ms={"heating.power": SPAN.end_ms - days * DAY_MS},
            learned=PlantLearned(switched=("heating",)),
        )  # fmt: skip
        assert len(examine(situation, [FAULTS["channel_silent"]]).findings) == told


def test_night_learns_which_plugs_are_switched() -> None:
    """Heard at work alone, with pauses of hours; one that is always on is none of them."""
    heard = (HOUR > 6) & (HOUR < 22)
    work = {"heating.power": Readings.of(TIME_MS[heard], np.full(int(heard.sum()), 50.0))}
    assert switched_pumps(PLANT, work, SPAN) == ("heating",)
    always = replace(PLANT, pumps=(replace(PLANT.pumps[0], always_on=True),))
    assert switched_pumps(always, work, SPAN) == ()


def test_counter_told_on_change_is_silent_while_nothing_is_used() -> None:
    """The plug's power is heard, its counter has had nothing to count for a day."""
    channels = (
        replace(PLANT.channels[0], topic="plug"),
        Channel(
            id="heating.energy", of="heating", quantity="energy", unit="kW.h", topic="plug",
            interval_s=60, reports="change",
        ),
    )  # fmt: skip
    counted = (TIME_MS < 6 * DAY_MS) | (TIME_MS > 7 * DAY_MS)
    record = {
        "heating.power": Readings.of(TIME_MS, np.where(counted, 50.0, 0.0)),
        "heating.energy": Readings.of(TIME_MS[counted], np.cumsum(counted)[counted] * 1e-3),
    }
    situation = Situation(plant=replace(PLANT, channels=channels), record=record, span=SPAN)
    assert examine(situation, [FAULTS["channel_silent"]]).findings == ()
