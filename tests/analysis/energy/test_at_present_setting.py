"""A year goes on with the setting that was chosen last."""

import numpy as np
import pytest

from analysis.base.time import DAY_MS, MINUTE_MS, Span, parse_rfc3339
from analysis.energy.at_present_setting import as_set
from analysis.energy.machine_year import metered_year
from analysis.plant.plant import Channel, Plant, Pump
from analysis.readings.readings import Readings
from analysis.weather.degree_days import Days

START = parse_rfc3339("2025-11-01T00:00:00Z")
SPAN = Span(START, START + 60 * DAY_MS)
PUMP = Pump(id="heating", drive="electronic", always_on=True)
POWER = Channel(id="heating.power", of="heating", quantity="power", unit="W", interval_s=300)
PLANT = Plant(name="Quay", timezone="UTC", pumps=(PUMP,), channels=(POWER,))


def _record(first_w: float, then_w: float) -> dict[str, Readings]:
    """Thirty days at one setting, thirty at another, at noon; valves move both by a tenth."""
    at = np.arange(0, 60 * DAY_MS, 5 * MINUTE_MS)
    level = np.where(at < 30.5 * DAY_MS, first_w, then_w)
    valves = 1.0 + 0.1 * np.sin(2 * np.pi * at / DAY_MS)
    return {POWER.id: Readings.of(START + at, level * valves)}


@pytest.mark.parametrize(("first_w", "then_w"), [(4.0, 20.0), (30.0, 12.0), (42.7, 35.6)])
def test_the_year_goes_on_as_the_pump_is_set_now(first_w: float, then_w: float) -> None:
    """A month at one power, the other eleven at another: their sum, not their mean."""
    found = metered_year(PLANT, PUMP, _record(first_w, then_w), SPAN)
    assert not isinstance(found, str)
    told = found.estimate()
    true = 0.024 * (30.5 * first_w + 334.5 * then_w)
    assert told.low < true < told.high
    assert told.value == pytest.approx(true, rel=0.1)


def test_days_before_a_change_are_brought_to_the_present_power() -> None:
    """4 W then 20 W: each day 0.48 kWh but that of the change; the surplus is what was added."""
    days = Days(START + np.arange(60) * DAY_MS, np.where(np.arange(60) <= 30, 0.096, 0.48))
    changed = as_set(PLANT, PUMP, _record(4.0, 20.0), SPAN, days)
    assert changed is not None
    known = changed.days.known
    assert np.flatnonzero(~known).tolist() == [30]
    assert changed.days.value[known] == pytest.approx(0.48, rel=0.02)
    assert changed.surplus_kwh == pytest.approx(59 * 0.48 - days.value.sum(), rel=0.02)
    assert as_set(PLANT, PUMP, _record(20.0, 20.0), SPAN, days) is None
