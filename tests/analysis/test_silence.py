"""Silences: a channel's habit is no news, what goes beyond it is told once."""

import numpy as np

from analysis.faults import FAULTS, examine
from analysis.finding import Finding
from analysis.plant import Channel, Plant, Pump
from analysis.pump_learned import PlantLearned
from analysis.readings import Readings
from analysis.silence import usual_silence_ms, usual_silences
from analysis.timebase import DAY_MS, HOUR_MS, MINUTE_MS, Span
from analysis.watch import Situation

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
    assert len(found(keep, now, is_live=True, last_ms=last)) == 1
    by_day = TIME_MS[(HOUR >= 8) & (HOUR < 22)]
    nightly = Readings.of(by_day, np.ones(len(by_day)))
    learned = PlantLearned(silent_ms=usual_silences({"heating.power": nightly}, SPAN))
    assert found(keep, now, is_live=True, last_ms=last, learned=learned) == ()
