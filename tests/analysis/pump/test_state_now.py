"""The state of a part in words: silence is unknown, and less than usual is told."""

import math

import pytest

from analysis.plant.plant import Channel
from analysis.pump.state_now import boiler_now, pump_now, reading_now

CHANNEL = Channel(id="p", of="heating", quantity="power", unit="W", interval_s=10)
NOW = 1_800_000_000_000


def power(watts: float, age_s: float = 5.0):
    return reading_now(CHANNEL, (NOW - round(age_s * 1000), watts), NOW)


@pytest.mark.parametrize(
    ("watts", "usual_w", "above_w", "state"),
    [
        (0.0, 45.0, 4.2, "idle"), (4.0, 45.0, 4.2, "idle"), (1.5, None, 3.0, "idle"),
        (20.0, 45.0, 4.2, "weak"), (44.0, 45.0, 4.2, "running"), (44.0, None, 3.0, "running"),
        (70.0, 45.0, 4.2, "strong"), (2.4, 4.5, 3.3, "idle"), (4.5, 4.5, 3.3, "running"),
    ],
)  # fmt: skip
def test_pump_now_tells_what_power_says(
    watts: float, usual_w: float | None, above_w: float, state: str
) -> None:
    """Against the pump's own levels; standby of the electronics is standing still."""
    assert pump_now(power(watts), usual_w, above_w).state == state


def test_silence_is_unknown_and_no_standstill() -> None:
    """2.5 intervals after the last reading nothing is known any more."""
    assert pump_now(power(45.0, age_s=24), 45.0).state == "running"
    silent = pump_now(power(45.0, age_s=26), 45.0)
    assert silent.state == "unknown"
    assert "silent" in silent.words
    assert pump_now(None, 45.0).state == "unknown"


def test_reading_now_refuses_unknown_values() -> None:
    """A value that is not known is no reading; a clock ahead gives no negative age."""
    assert reading_now(CHANNEL, (NOW, math.nan), NOW) is None
    assert reading_now(CHANNEL, None, NOW) is None
    ahead = reading_now(CHANNEL, (NOW + 500, 1.0), NOW)
    assert ahead is not None
    assert ahead.age_ms == 0


def test_boiler_now_fires_above_its_learned_power() -> None:
    """Without a learned power nothing is claimed."""
    assert boiler_now(power(85.0), 40.0).state == "running"
    assert boiler_now(power(6.0), 40.0).state == "idle"
    assert boiler_now(power(85.0), None).state == "unknown"
    assert boiler_now(power(85.0, age_s=600), 40.0).state == "unknown"
