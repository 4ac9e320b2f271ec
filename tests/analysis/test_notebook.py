"""Notebooks: frames and series in the place of readings."""

import numpy as np
import pandas as pd
import pytest

import analysis
from analysis import Boiler, Channel, Plant, Pump, boiler_cycles, energy_use, examine, gaps
from analysis.base.errors import StokeholdError
from analysis.base.time import DAY_MS, Span
from analysis.readings.readings import record_from_frame
from analysis.readings.situation import Situation

PLANT = Plant(
    name="Notebook",
    timezone="UTC",
    boilers=(Boiler(id="boiler", fuel="gas"),),
    pumps=(Pump(id="heating", drive="electronic"),),
    channels=(
        Channel(id="boiler.power", of="boiler", quantity="power", unit="W", interval_s=60),
        Channel(id="heating.power", of="heating", quantity="power", unit="W", interval_s=60),
    ),
)
START = pd.Timestamp("2026-01-05", tz="UTC")


def frame_of_a_day() -> pd.DataFrame:
    """A firing of ten minutes each hour; the pump draws 30 W without end."""
    index = pd.date_range(START, periods=1440, freq="min")
    firing = (np.arange(1440) % 60) < 10
    return pd.DataFrame(
        {"boiler.power": np.where(firing, 120.0, 5.0), "heating.power": 30.0}, index=index
    )


def test_frame_serves_where_a_record_does() -> None:
    """A frame gives what its readings give, and the span is taken from it."""
    frame = frame_of_a_day()
    span = Span(int(START.value // 1_000_000), int(START.value // 1_000_000) + 1439 * 60_000 + 1)
    found = boiler_cycles(PLANT, PLANT.boilers[0], frame)
    from analysis.firing.burner_cycles import boiler_cycles as plain

    assert found == plain(PLANT, PLANT.boilers[0], record_from_frame(frame), span)
    assert found.summary.starts in (23, 24)


def test_cycles_as_a_frame() -> None:
    """One row a firing, times in UTC, ten minutes each."""
    table = boiler_cycles(PLANT, PLANT.boilers[0], frame_of_a_day()).to_frame()
    whole = table[table["complete"]]
    assert str(table["start"].dt.tz) == "UTC"
    assert (whole["end"] - whole["start"]).dt.total_seconds().to_numpy() == pytest.approx(
        whole["on_s"]
    )
    assert whole["on_s"].to_numpy() == pytest.approx(600, abs=60)


def test_energy_of_a_frame() -> None:
    """30 W over a day are 0.72 kWh, short of the last minute."""
    use = energy_use(PLANT, PLANT.pumps[0], frame_of_a_day())
    assert use.measured_kwh == pytest.approx(0.030 * 24, rel=1e-3)


def test_series_serves_where_readings_do() -> None:
    """A hole of two hours in a series is a gap."""
    series = frame_of_a_day()["heating.power"]
    start = int(START.value // 1_000_000)
    holed = pd.concat([series.iloc[:600], series.iloc[720:]])
    (gap,) = gaps(holed, 150_000, Span(start, start + DAY_MS - 60_000))
    assert gap.end_ms - gap.start_ms == pytest.approx(2 * 3_600_000, abs=200_000)


def test_findings_as_a_frame() -> None:
    """An examination has its table, empty or not, with UTC times."""
    frame = frame_of_a_day()
    record = record_from_frame(frame)
    start = int(START.value // 1_000_000)
    table = examine(Situation(plant=PLANT, record=record, span=Span(start, start + DAY_MS)))
    assert list(table.to_frame().columns)[:2] == ["subject", "fault"]


def test_naive_times_are_refused_with_the_remedy() -> None:
    """A frame without time zone could mean any hour."""
    frame = frame_of_a_day().tz_localize(None)
    with pytest.raises(StokeholdError, match="tz_localize"):
        boiler_cycles(PLANT, PLANT.boilers[0], frame)


def test_empty_frame_needs_a_span() -> None:
    """Without readings nobody knows which time is meant."""
    empty = frame_of_a_day().iloc[:0]
    with pytest.raises(ValueError, match="give a span"):
        boiler_cycles(PLANT, PLANT.boilers[0], empty)


def test_everything_offered_is_there() -> None:
    """Each name of the table can be had; others cannot."""
    from analysis.notebook import OFFERED

    for name in OFFERED:
        assert callable(getattr(analysis, name))
    with pytest.raises(AttributeError, match="nothing_such"):
        _ = analysis.nothing_such
