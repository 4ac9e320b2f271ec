"""Energy from power and from counters, over gaps, resets and leaps."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.base.time import HOUR_MS, Span
from analysis.energy.measured import energy_use
from analysis.energy.metered import energy_from_counter
from analysis.plant.plant import Channel, Plant, Pump, Tariff
from analysis.readings.readings import Readings

PUMP = Pump(id="heating", drive="induction", always_on=True, rated_power_w=(45, 65))
POWER = Channel(id="heating.power", of="heating", quantity="power", unit="W", interval_s=10)
COUNTER = Channel(id="heating.energy", of="heating", quantity="energy", unit="kW.h")
PLANT = Plant(
    name="Quay", timezone="UTC", pumps=(PUMP,), channels=(POWER, COUNTER),
    tariff=Tariff(currency="EUR", electricity_per_kwh=0.30),
)  # fmt: skip


def test_power_is_integrated_over_covered_time_only() -> None:
    """60 W for 10 h with 3 h missing is 0.42 kWh over 7 h, never 0.6 and never less per hour."""
    time_ms = np.arange(0, 10 * HOUR_MS, 10_000)
    there = (time_ms < 4 * HOUR_MS) | (time_ms >= 7 * HOUR_MS)
    readings = Readings.of(time_ms[there], np.full(there.sum(), 60.0))
    found = energy_use(PLANT, PUMP, {"heating.power": readings}, Span(0, 10 * HOUR_MS))
    assert found.measured_kwh == pytest.approx(0.42, rel=0.002)
    assert found.covered_hours == pytest.approx(7.0, rel=0.002)
    assert found.coverage == pytest.approx(0.7, rel=0.002)
    assert found.mean_power_w == pytest.approx(60.0)
    assert found.run_hours == pytest.approx(7.0, rel=0.002)


def test_counter_resets_are_stitched() -> None:
    """Two resets to zero and 0.01 of jitter: the sum of what was counted, no invented kWh."""
    values = [1.0, 1.1, 1.09, 1.2, 0.05, 0.15, 0.02, 0.12]
    readings = Readings.of(np.arange(8) * 2 * HOUR_MS, values)
    found = energy_from_counter(readings, most_w=150)
    assert found.kwh == pytest.approx(0.2 + 0.05 + 0.1 + 0.02 + 0.1)
    assert found.resets == 2
    assert found.covered_h == 10.0


def test_counter_that_falls_to_a_saved_value_adds_nothing() -> None:
    """After a power cut a counter shows last midnight's value; that is no consumption."""
    readings = Readings.of(np.arange(4) * HOUR_MS, [123.4, 123.5, 123.1, 123.2])
    found = energy_from_counter(readings, most_w=150)
    assert found.kwh == pytest.approx(0.2)
    assert (found.resets, found.covered_h) == (1, 2.0)


def test_counter_leap_is_no_consumption() -> None:
    """A leap beyond what the pump can draw is left out and counted."""
    readings = Readings.of(np.arange(4) * HOUR_MS, [1.0, 1.05, 51.05, 51.1])
    found = energy_from_counter(readings, most_w=150)
    assert found.kwh == pytest.approx(0.1)
    assert (found.jumps, found.covered_h) == (1, 2.0)


@given(st.lists(st.floats(0, 0.1), min_size=2, max_size=50), st.data())
def test_counter_without_reset_gives_its_difference(
    steps: list[float], data: st.DataObject
) -> None:
    """Whatever readings are lost, a counter that never falls gives last minus first."""
    values = np.cumsum(steps)
    times = np.arange(len(values)) * HOUR_MS
    kept = sorted(data.draw(st.sets(st.integers(0, len(values) - 1), min_size=2)))
    found = energy_from_counter(Readings.of(times[kept], values[kept]), most_w=150)
    assert found.kwh == pytest.approx(values[kept[-1]] - values[kept[0]], abs=1e-12)
    assert found.covered_h == kept[-1] - kept[0]


def test_yearly_figure_of_an_always_on_pump() -> None:
    """60 W always on is 525.6 kWh in 365 days (1 W is 8.76 kWh), and money follows."""
    readings = Readings.of(np.arange(0, 72 * HOUR_MS, 10_000), np.full(72 * 360, 60.0))
    found = energy_use(PLANT, PUMP, {"heating.power": readings}, Span(0, 72 * HOUR_MS))
    assert found.per_year.value == pytest.approx(525.6, rel=0.02)
    assert 470 < found.per_year.low < 525.6 < found.per_year.high < 580
    assert found.cost_per_year.value == pytest.approx(0.30 * found.per_year.value)


def test_no_readings_give_a_reason() -> None:
    """Nothing measured is nothing known, said in words."""
    found = energy_use(PLANT, PUMP, {}, Span(0, HOUR_MS))
    assert (found.measured_kwh, found.covered_hours, found.mean_power_w) == (0.0, 0.0, None)
    assert found.per_year.document()["reason"] == "less than a day of readings"


@pytest.mark.shared_data
def test_real_circulation_pump_counter(shared_data: Path) -> None:
    """A real pump's counter (Open Power System Data, CoSSMic, CC BY 4.0): last minus first."""
    frame = pd.read_csv(shared_data / "circulation_pump_house_a_hourly.csv.gz")
    stamp = pd.to_datetime(frame["utc_timestamp"], utc=True)
    readings = Readings.of(
        stamp.dt.as_unit("ms").astype(np.int64).to_numpy(), frame["cum_kwh"].to_numpy()
    )
    span = Span(int(readings.time_ms[0]), int(readings.time_ms[-1]) + 1)
    found = energy_use(PLANT, PUMP, {"heating.energy": readings}, span)
    assert found.measured_kwh == pytest.approx(868.885 - 0.045, abs=1e-6)
    assert found.coverage == pytest.approx(1.0, abs=1e-6)


def test_retained_value_after_a_silence_is_no_reading() -> None:
    """A broker repeats the last value before the new one; what was used in between still counts."""
    times = [0, 10_000, 40 * HOUR_MS - 1_500, 40 * HOUR_MS, 40 * HOUR_MS + 10_000]
    readings = Readings.of(times, [1.0, 1.0, 1.0, 1.24, 1.24])
    found = energy_from_counter(readings, most_w=66)
    assert found.kwh == pytest.approx(0.24)
    assert found.jumps == 0
