"""The present state of a part in words, from its last reading and what is usual for it."""

from dataclasses import dataclass
from typing import Literal

from analysis.plant.plant import Channel
from analysis.readings.power_levels import MOST_REST_W
from analysis.readings.readings import Readings, hold_limit_ms

PartState = Literal["running", "weak", "strong", "idle", "unknown"]

_WEAK_SHARE, _STRONG_SHARE = 0.6, 1.4
"""Shares of the usual running power (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """Last reading of a channel as it stands now.

    `value` is the newest known one, whatever its age; `is_fresh` tells whether
    it may still be taken to hold.
    """

    channel: Channel
    value: float
    age_ms: int
    is_fresh: bool


def reading_now(channel: Channel, last: tuple[int, float] | None, now_ms: int) -> Reading | None:
    """Last reading with its age, or None where there never was one or its value is unknown.

    Parameters
    ----------
    channel : Channel
        Says how long its values hold.
    last : tuple of int and float or None
        Time [ms] and value.
    now_ms : int
        The moment [ms].
    """
    if last is None or last[1] != last[1]:
        return None
    age_ms = max(0, now_ms - last[0])
    return Reading(channel, last[1], age_ms, age_ms <= hold_limit_ms(Readings.empty(), channel))


@dataclass(frozen=True, slots=True)
class Present:
    """State of a part and the sentence that tells it."""

    state: PartState
    words: str


def pump_now(power: Reading | None, usual_w: float | None, above_w: float = MOST_REST_W) -> Present:
    """What a pump does, from its power and what was learned of it.

    Parameters
    ----------
    power : Reading or None
        Last reading of its power.
    usual_w : float or None
        Usual power while it runs [W].
    above_w : float
        It runs above this [W].
    """
    if power is None:
        return Present("unknown", "Not measured, or no reading yet: its state is unknown")
    if not power.is_fresh:
        return Present("unknown", "Its plug is silent: its state is unknown")
    if power.value <= above_w:
        return Present("idle", "Stands still")
    if usual_w is None:
        return Present("running", "Runs; what is usual for it is still being learned")
    return _running(power.value / usual_w, usual_w)


def _running(share: float, usual_w: float) -> Present:
    if share < _WEAK_SHARE:
        return Present("weak", f"Runs, with less than its usual {usual_w:.0f} W")
    if share > _STRONG_SHARE:
        return Present("strong", f"Runs, with more than its usual {usual_w:.0f} W")
    return Present("running", f"Runs as usual (about {usual_w:.0f} W)")


def boiler_now(power: Reading | None, firing_w: float | None) -> Present:
    """What a boiler does, from its electric power and the power above which it fires [W]."""
    if power is None:
        return Present("unknown", "Its power is not measured: firing is not seen from here")
    if not power.is_fresh:
        return Present("unknown", "Its plug is silent: its state is unknown")
    if firing_w is None:
        return Present("unknown", "Its firing power is still being learned")
    if power.value >= firing_w:
        return Present("running", "Fires")
    return Present("idle", "Does not fire")
