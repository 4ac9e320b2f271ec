"""Days of a pump: what rests though it draws something."""

import numpy as np
import pytest

from analysis.base.time import DAY_MS, Span, parse_rfc3339
from analysis.energy.pump_days import pump_days
from analysis.plant.plant import Channel, Plant, Pump
from analysis.readings.readings import Readings

START = parse_rfc3339("2025-10-01T00:00:00Z")
PUMP = Pump(id="heating", drive="electronic")
POWER = Channel(id="heating.power", of="heating", quantity="power", unit="W", interval_s=60)
PLANT = Plant(name="Quay", timezone="UTC", pumps=(PUMP,), channels=(POWER,))
MINUTES = np.arange(0, 10 * 1440)


def _hours(power_w: np.ndarray) -> np.ndarray:
    record = {POWER.id: Readings.of(START + MINUTES * 60_000, power_w)}
    return pump_days(PLANT, PUMP, record, Span(START, START + 10 * DAY_MS)).run_h


def test_a_standby_of_half_the_running_power_is_rest() -> None:
    """2.2 W stopped, 4.9 to 7 W running six to eighteen: twelve hours a day."""
    hour = MINUTES / 60 % 24
    running = 4.9 + 2.1 * np.random.default_rng(1).uniform(0, 1, len(MINUTES))
    power = np.where((hour >= 6) & (hour < 18), running, 2.2)
    assert _hours(power) == pytest.approx(12.0, abs=0.1)


def test_a_power_that_follows_the_valves_is_no_standby() -> None:
    """2.4 to 5 W as valves shut and open through the day, never stopped: all hours."""
    hour = MINUTES / 60 % 24
    power = 3.7 + 1.3 * np.cos(2 * np.pi * hour / 24)
    assert _hours(power) == pytest.approx(24.0, abs=0.1)
