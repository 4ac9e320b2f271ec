"""How soon a stall or a dry run is told where the plug is read often, in hand-made minutes."""

from dataclasses import replace

import numpy as np

from analysis.base.time import DAY_MS, MINUTE_MS, Span
from analysis.faults.registry import FAULTS, examine
from analysis.plant.finding import Finding
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation
from made_minutes import DAYS, LATE, TIME_MS, house, record, sound

LATE_MS = int(TIME_MS[LATE][0])
FINE_MS = np.arange(LATE_MS, DAYS * DAY_MS, 10_000)


def tries(at_ms: np.ndarray) -> np.ndarray:
    """An electronic pump that tries to start every 30 s, 8 W for ten seconds, and stops again."""
    return np.where((at_ms - LATE_MS) // 10_000 % 3 == 1, 8.0, 1.0)


def told_of(power: Readings, pressure_bar: np.ndarray | None = None) -> list[Finding]:
    values = sound()
    if pressure_bar is not None:
        values["plant.pressure"] = pressure_bar
    readings = record(values, {})
    usual = readings["heating.power"]
    early = usual.time_ms < LATE_MS
    readings["heating.power"] = Readings(
        np.append(usual.time_ms[early], power.time_ms), np.append(usual.value[early], power.value)
    )
    situation = Situation(plant=house(), record=readings, span=Span(0, DAYS * DAY_MS))
    return list(examine(situation, [FAULTS["stall"], FAULTS["dry_run"]]).findings)


def test_start_attempts_are_told_in_three_minutes_of_a_plug_read_often() -> None:
    """Eighteen readings of tries are as good as the six minutes of a slow plug."""
    (finding,) = told_of(Readings(FINE_MS, tries(FINE_MS)))
    assert (finding.fault, finding.urgency) == ("stall", "now")
    assert finding.raised_ms is not None
    assert finding.raised_ms - LATE_MS <= 3 * MINUTE_MS


def test_three_tries_before_a_pump_runs_are_no_stall() -> None:
    """Some sound pumps try three times within two minutes, and then run."""
    value = np.where(FINE_MS < LATE_MS + 2 * MINUTE_MS, tries(FINE_MS), 12.0)
    assert told_of(Readings(FINE_MS, value)) == []


def test_pump_kicked_for_a_minute_after_its_stop_is_no_stall() -> None:
    """It stops within one minute, runs for fifty seconds about the next, and rests."""
    since_s = (FINE_MS - LATE_MS) // 1000
    runs = (since_s < 10) | ((since_s >= 60) & (since_s < 120)) | (since_s == 130)
    assert told_of(Readings(FINE_MS, np.where(runs, 12.0, 0.0))) == []


def test_dry_run_is_told_in_three_minutes_of_a_plug_read_often() -> None:
    """Pressure away in two readings, power down in twelve, both at the same time."""
    found = told_of(Readings(FINE_MS, np.full(len(FINE_MS), 5.0)), np.where(LATE, 0.25, 1.3))
    assert [(f.fault, f.urgency) for f in found] == [("dry_run", "now")]
    assert found[0].raised_ms is not None
    assert found[0].raised_ms - LATE_MS <= 2 * MINUTE_MS


def little_work_w(at_ms: np.ndarray) -> np.ndarray:
    """Power of a small pump at work: 2.5 W half of the time, up to 4 W else [W]."""
    return np.round(2.5 + 1.5 * np.maximum(np.sin(at_ms / MINUTE_MS / 50.0), 0.0) ** 2, 1)


def test_tries_of_a_pump_whose_rest_and_work_look_alike_stand_out_above_all_its_work() -> None:
    """It takes 2.5 to 4 W at work and 2.4 at rest; a try takes 9, and between them it takes 2.3."""
    values = sound()
    rests = values["heating.power"] < 1.0
    values["heating.power"] = np.where(rests, 2.4, little_work_w(TIME_MS))
    readings = record(values, {})
    since_s = (FINE_MS - LATE_MS) // 1000
    stuck = np.where((since_s < 600) & (since_s % 50 == 40), 9.3, 2.3)
    power = np.where(since_s < 6 * 3600, stuck, little_work_w(FINE_MS))
    usual = readings["heating.power"]
    early = usual.time_ms < LATE_MS
    readings["heating.power"] = Readings(
        np.append(usual.time_ms[early], FINE_MS), np.append(usual.value[early], power)
    )
    plant = house(least_w=3.0)
    kept = tuple(c for c in plant.channels if c.quantity != "temperature")
    situation = Situation(
        plant=replace(plant, channels=kept), record=readings, span=Span(0, DAYS * DAY_MS)
    )
    (finding,) = [f for f in examine(situation, [FAULTS["stall"]]).findings if f.urgency == "now"]
    assert finding.raised_ms is not None
    assert finding.raised_ms - LATE_MS <= 5 * MINUTE_MS
    assert finding.end_ms is not None
    assert finding.end_ms - LATE_MS <= 7 * 3600_000


def seen_each_30_s(value: np.ndarray) -> Readings:
    """As a plug read twice a minute from noon on."""
    at_ms = FINE_MS[::3]
    return Readings(at_ms, value[::3])


def rare(rest_w: float, try_w: float) -> np.ndarray:
    """One try in twelve minutes is seen, the others fall between two readings."""
    return np.where((FINE_MS - LATE_MS) // 30_000 % 24 == 1, try_w, rest_w)


def of_pump(power: Readings, usual: np.ndarray, pump: str = "charging") -> list[Finding]:
    """Stalls told of an electronic pump that takes the usual until noon."""
    plant = house()
    pumps = tuple(replace(p, drive="electronic", rated_power_w=(4.0, 40.0)) for p in plant.pumps)
    values = sound() | {f"{pump}.power": usual}
    readings = record(values, {})
    early = TIME_MS < LATE_MS
    readings[f"{pump}.power"] = Readings(
        np.append(TIME_MS[early], power.time_ms), np.append(usual[early], power.value)
    )
    situation = Situation(
        plant=replace(plant, pumps=pumps), record=readings, span=Span(0, DAYS * DAY_MS)
    )
    found = examine(situation, [FAULTS["stall"]]).findings
    return [f for f in found if f.subject == pump]


def test_tries_of_which_few_are_seen_are_told_within_the_hour() -> None:
    """Nothing tells that the store's pump is wanted; that it tries and never runs does."""
    usual = sound()["charging.power"] * 0.4 + 1.0
    (finding,) = of_pump(seen_each_30_s(rare(1.0, 8.0)), usual)
    assert (finding.urgency, finding.end_ms) == ("now", None)
    assert finding.raised_ms is not None
    assert finding.raised_ms - LATE_MS <= 60 * MINUTE_MS


def test_starts_and_stops_of_a_pump_that_runs_are_no_tries() -> None:
    """Eight minutes of running, twelve of rest: each edge shares its minute with the rest."""
    usual = sound()["charging.power"] * 0.4 + 1.0
    runs = (FINE_MS - LATE_MS) // 1000 % 1200 < 490
    assert of_pump(seen_each_30_s(np.where(runs, 19.0, 1.0)), usual) == []


def test_tries_above_all_its_work_tell_of_a_pump_that_was_never_seen_at_rest() -> None:
    """On its night curve it takes as much as its rotor's electronics alone."""
    night = np.abs(TIME_MS / (24 * 60 * MINUTE_MS) % 1.0 - 0.5) > 0.3
    usual = np.where(night, 2.3, 4.2)
    (finding,) = of_pump(seen_each_30_s(rare(2.3, 9.2)), usual, "heating")
    assert (finding.urgency, finding.end_ms) == ("now", None)
    assert of_pump(seen_each_30_s(rare(2.3, 4.6)), usual, "heating") == []
