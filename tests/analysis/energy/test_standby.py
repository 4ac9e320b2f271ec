"""Standby that a plug does not show: who may have one, and where it is looked for."""

import numpy as np
import pytest

from analysis.base.time import DAY_MS, Span, parse_rfc3339
from analysis.energy.machine_year import metered_year
from analysis.energy.standby import unseen_standby_w
from analysis.plant.plant import Channel, Plant, Pump
from analysis.readings.readings import Readings

START = parse_rfc3339("2025-07-01T00:00:00Z")
MINUTES = np.arange(30 * 1440)
CHARGES = np.where(MINUTES % 1440 < 60, 12.0 + MINUTES % 3, 0.0)
STORE = Pump(id="charging", drive="electronic", duty="store")


def _readings(power_w: np.ndarray) -> Readings:
    return Readings.of(START + MINUTES * 60_000, power_w)


def test_only_a_coarse_plug_hides_an_electronic_pumps_standby() -> None:
    """An hour of charging a day: whole watts may hide one; tenths, no rest or a capacitor not."""
    old = Pump(id="charging", drive="induction", duty="store")
    assert unseen_standby_w(STORE, _readings(CHARGES), number=1000).max() > 2.0
    for pump, power in (
        (old, CHARGES),
        (STORE, np.where(CHARGES > 0, CHARGES + 0.3 * (MINUTES % 2), 0.0)),
        (STORE, 12.0 + MINUTES % 3),
    ):
        assert not unseen_standby_w(pump, _readings(power), number=1000).any()


@pytest.mark.parametrize("standby_w", [0.0, 1.5])
def test_the_year_of_a_store_pump_holds_what_its_plug_hides(standby_w: float) -> None:
    """13 W an hour a day are 4.7 kWh a year; 1.5 W at rest, shown as 0, would add 12.6."""
    power = Channel(
        id="charging.power", of="charging", quantity="power", unit="W", interval_s=60
    )  # fmt: skip
    plant = Plant(name="Quay", timezone="UTC", pumps=(STORE,), channels=(power,))
    span = Span(START, START + 30 * DAY_MS)
    found = metered_year(plant, STORE, {power.id: _readings(CHARGES)}, span)
    assert not isinstance(found, str)
    told = found.estimate()
    true = 365 * (13.0 + 23 * standby_w) / 1000
    assert told.low < true < told.high
