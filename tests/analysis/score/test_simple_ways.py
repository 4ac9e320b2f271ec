"""The simple ways: each finds what it is made for."""

import numpy as np
import pytest

from analysis.base.time import DAY_MS, MINUTE_MS, Span
from analysis.plant.plant import Channel, Plant, Pump
from analysis.readings.readings import Readings
from analysis.score.simple_ways import SIMPLE

START = 1_767_225_600_000
SPAN = Span(START, START + 30 * DAY_MS)
PLANT = Plant(
    name="Test",
    timezone="UTC",
    pumps=(Pump(id="heating", drive="induction", rated_power_w=(45.0, 65.0)),),
    channels=(
        Channel(id="heating.power", of="heating", quantity="power", unit="W", interval_s=60.0),
    ),
)


def _power(level_after):
    time_ms = np.arange(SPAN.start_ms, SPAN.end_ms, MINUTE_MS)
    rng = np.random.default_rng(1)
    value = 55.0 + 0.3 * rng.standard_normal(len(time_ms))
    value += 0.3 * np.repeat(rng.standard_normal(30), 1440)
    value[time_ms >= START + 20 * DAY_MS] += level_after - 55.0
    return {"heating.power": Readings.of(time_ms, value)}


@pytest.mark.parametrize("name", sorted(SIMPLE))
def test_large_step_is_reported_after_it(name):
    """A step of 20 W upward is told, and nothing before it."""
    found = SIMPLE[name](PLANT, _power(75.0), SPAN).findings
    assert found
    assert all(f.start_ms >= START + 20 * DAY_MS for f in found)


def test_cusum_sees_a_small_shift():
    """A lasting shift of 1 W in daily medians is told within five days (Page 1954)."""
    found = SIMPLE["cusum"](PLANT, _power(56.5), SPAN).findings
    assert found
    assert found[0].start_ms < START + 26 * DAY_MS


@pytest.mark.parametrize("name", sorted(SIMPLE))
def test_missing_channel_is_no_finding(name):
    """Without a plug there is nothing to judge."""
    assert SIMPLE[name](PLANT, {}, SPAN).findings == ()
