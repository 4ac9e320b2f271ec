"""Hours of running from a coarse flow temperature, against real plants and made-up ones."""

import numpy as np
import pandas as pd
import pytest

from analysis.base.time import DAY_MS, HOUR_MS, Span
from analysis.firing.burner_cycles import boiler_cycles
from analysis.firing.by_coarse_temperature import hours_from_temperature
from analysis.plant.plant import Boiler, Channel, Plant
from analysis.readings.readings import Readings

CHANNEL = Channel(
    id="f", of="boiler", quantity="temperature", place="flow", unit="Cel", interval_s=3600
)
PLANT = Plant(
    name="Invented", timezone="UTC", boilers=(Boiler(id="boiler", fuel="gas"),), channels=(CHANNEL,)
)


def _scores(shared_data, number):
    """F1 of running hours and of hours at rest, against the authors' own estimate of the state."""
    frame = pd.read_csv(
        shared_data / f"hydronic_building_{number}_hourly.csv.gz", parse_dates=["datetime_UTC"]
    ).set_index("datetime_UTC")
    readings = Readings.from_series(frame["sup"])
    span = Span(int(readings.time_ms[0]), int(readings.time_ms[-1]) + HOUR_MS)
    found = hours_from_temperature(readings, CHANNEL, span)
    assert found is not None
    begun = np.searchsorted(found.runs.start_ms, readings.time_ms, side="right")
    ended = np.searchsorted(found.runs.end_ms, readings.time_ms, side="right")
    known = (frame["sup"].notna() & frame["oper"].notna()).to_numpy()
    ours, theirs = (begun > ended)[known], (frame["oper"] > 0.5).to_numpy()[known]
    return [2 * (a & b).sum() / (a.sum() + b.sum()) for a, b in ((ours, theirs), (~ours, ~theirs))]


@pytest.mark.shared_data
def test_running_hours_of_a_plant_that_rests_in_summer(shared_data):
    """Building 29 (Raftery et al. 2024, CC0): a fifth of 25,000 hours at rest."""
    running, resting = _scores(shared_data, 29)
    assert running > 0.96
    assert resting > 0.85


@pytest.mark.shared_data
def test_running_hours_of_a_plant_that_hardly_rests(shared_data):
    """Building 127: one hour in a hundred at rest, most of them single hours, half of them seen."""
    running, resting = _scores(shared_data, 127)
    assert running > 0.99
    assert resting > 0.4


def test_hourly_readings_give_hours_and_no_firings():
    """Ten warm days and ten at rest: half the time runs, and nothing is said of starts."""
    time = np.arange(0, 20 * DAY_MS, HOUR_MS)
    value = np.where(time < 10 * DAY_MS, 55.0 + 3.0 * np.sin(time / HOUR_MS), 21.0)
    found = boiler_cycles(
        PLANT, PLANT.boilers[0], {"f": Readings.of(time, value)}, Span(0, 20 * DAY_MS)
    )
    assert found.tells == "running"
    assert found.cycles == ()
    assert found.summary.starts is None
    assert found.summary.duty == pytest.approx(0.5, abs=0.01)
    assert "single firings" in found.document()["note"]


def test_water_never_at_rest_tells_nothing():
    time = np.arange(0, 20 * DAY_MS, HOUR_MS)
    readings = Readings.of(time, 52.0 + 12.0 * np.sin(time / (4 * HOUR_MS)))
    assert hours_from_temperature(readings, CHANNEL, Span(0, 20 * DAY_MS)) is None
