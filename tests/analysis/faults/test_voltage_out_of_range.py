"""Judge of the mains voltage, against the share of ten-minute means that EN 50160 allows."""

import numpy as np
import pytest

from analysis.base.time import DAY_MS, MINUTE_MS, Span
from analysis.faults.voltage_out_of_range import judge_voltage
from analysis.plant.plant import Channel, Plant, Pump
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation

DAYS = 14
PUMP = Pump(id="heating", drive="induction", duty="heating")
VOLTS = Channel(id="heating.voltage", of="heating", quantity="voltage", unit="V", interval_s=60.0)
PLANT = Plant(name="p", timezone="UTC", pumps=(PUMP,), channels=(VOLTS,))


def judged(volts: np.ndarray, *, silent: slice | None = None):
    """What is told of a voltage each minute."""
    time_ms = np.arange(len(volts), dtype=np.int64) * MINUTE_MS
    keep = np.ones(len(volts), bool)
    if silent is not None:
        keep[silent] = False
    record = {VOLTS.id: Readings(time_ms[keep], volts[keep])}
    span = Span(0, len(volts) * MINUTE_MS)
    return judge_voltage(Situation(plant=PLANT, record=record, span=span))


def with_low_hours(hours_a_week: float, low_v: float = 200.0) -> np.ndarray:
    """Two weeks at 228 V, from the second on so many hours of it low, in one piece."""
    volts = np.full(DAYS * 1440, 228.0)
    begin = 7 * 1440
    volts[begin : begin + round(hours_a_week * 60)] = low_v
    return volts


@pytest.mark.parametrize(("hours", "told"), [(8.0, 0), (9.0, 1)])
def test_a_twentieth_of_a_week_may_lie_outside(hours: float, told: int) -> None:
    """5 % of 168 h are 8.4 h: eight are within EN 50160, nine are not."""
    assert len(judged(with_low_hours(hours)).findings) == told


@pytest.mark.parametrize(("volts", "told"), [(208.0, 0), (206.0, 1), (252.0, 0), (254.0, 1)])
def test_the_range_is_ten_per_cent_of_nominal(volts: float, told: int) -> None:
    """207 to 253 V."""
    assert len(judged(with_low_hours(100.0, volts)).findings) == told


def test_it_lasts_from_the_first_outside_to_the_last() -> None:
    """A day and a half low, then five days and more of rest: over."""
    (found,) = judged(with_low_hours(36.0)).findings
    assert (found.start_ms, found.end_ms) == (7 * DAY_MS, round(8.5 * DAY_MS))
    assert 8.0 < (found.raised_ms - found.start_ms) / 3.6e6 < 9.0
    assert found.evidence[0].value == 200.0


def test_a_gap_is_no_low_voltage() -> None:
    """Days unheard say nothing, and too few days heard cannot be judged."""
    assert judged(np.full(DAYS * 1440, 228.0), silent=slice(1440, 6 * 1440)).findings == ()
    assert judged(np.full(3 * 1440, 200.0)).needs


def test_another_nominal_supply_is_not_judged() -> None:
    """At 120 V nothing is low."""
    verdict = judged(np.full(DAYS * 1440, 120.0))
    assert (verdict.findings, bool(verdict.needs)) == ((), True)
