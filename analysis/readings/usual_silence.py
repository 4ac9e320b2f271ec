"""How long a channel is silent as a rule.

A plug behind its controller's switch loses its own supply whenever its pump rests, and cellar radio
fails for hours here and there: such a silence is this channel's habit. One that is longer than
its habit is told, once: afterwards it is part of the habit.
"""

import numpy as np

from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, Span
from analysis.plant.plant import Plant
from analysis.readings.readings import Readings, Record

_PAST_MS = 30 * DAY_MS
_FIRST_MS = 3 * DAY_MS
"""A channel that is new shows its habit in its first days; they are judged by themselves."""
_NOTED_MS = 30 * MINUTE_MS
_MORE = 1.5
_ONCE_MOST_MS = 36 * HOUR_MS
"""One long failure alone makes no failure of days a habit; common practice, no source."""
_SWITCHED_A_DAY = 3.0
_SWITCHED_MS = 48 * HOUR_MS
"""A plug that falls silent several times a day is switched with its load, and rests for a weekend
as well."""

_LEAST_HEARD = 10
_WORKS_SHARE, _RESTS_SHARE, _PARTS_SHARE = 0.5, 0.02, 0.8
"""A plug's first values after it came back may be nothing."""
RESTS_MS = 8 * DAY_MS
"""Controllers run a pump that rests through the summer for a minute once a week at least (common
practice, no source)."""


def usual_silence_ms(readings: Readings, until_ms: int) -> int:
    """Longest silence that is no news, from what was heard of a channel before a moment [ms].

    Parameters
    ----------
    readings : Readings
        Of the channel.
    until_ms : int
        Beginning of the silence that is judged [ms].
    """
    time_ms = readings.time_ms
    if not len(time_ms):
        return 0
    last_ms = max(until_ms, int(time_ms[0]) + _FIRST_MS)
    a, b = np.searchsorted(time_ms, (last_ms - _PAST_MS, last_ms + 1))
    past = time_ms[a:b]
    silent = np.diff(past)
    others = (silent > _NOTED_MS) & (past[:-1] != until_ms)
    silent = np.sort(silent[others])[::-1]
    if not len(silent):
        return 0
    days = max((int(past[-1]) - int(past[0])) / DAY_MS, 1.0)
    usual = min(_MORE * float(silent[0]), _ONCE_MOST_MS)
    if len(silent) > 1:
        usual = max(usual, _MORE * float(silent[1]))
    if len(silent) / days >= _SWITCHED_A_DAY:
        usual = max(usual, _SWITCHED_MS)
    return round(usual)


def is_switched(power: Readings, until_ms: int) -> bool:
    """Whether a pump's plug is switched with its pump: heard running, and hardly ever at rest.

    Where the controller takes the supply away the plug falls silent while it still shows the
    power of work, and the next value is one of work again. What such a plug does not say is that
    the pump rests, for days in summer.

    Parameters
    ----------
    power : Readings
        Power of a pump that is not always on.
    until_ms : int
        Beginning of the silence that is judged [ms].
    """
    last_ms = max(until_ms, int(power.time_ms[0]) + _FIRST_MS) if len(power) else 0
    a, b = np.searchsorted(power.time_ms, (last_ms - _PAST_MS, last_ms + 1))
    past = Readings(power.time_ms[a:b], power.value[a:b]).known()
    if len(past) < _LEAST_HEARD:
        return False
    works = past.value > _WORKS_SHARE * float(np.median(past.value))
    gaps = np.flatnonzero(np.diff(past.time_ms) > _NOTED_MS)
    begun_ms = past.time_ms[np.append(0, gaps + 1)]
    since_ms = past.time_ms - begun_ms[np.searchsorted(begun_ms, past.time_ms, side="right") - 1]
    rests = ~works & (since_ms > MINUTE_MS)
    gaps = gaps[past.time_ms[gaps] != until_ms]
    at_work = len(gaps) > 0 and float(np.mean(works[gaps])) > _PARTS_SHARE
    return at_work and float(np.mean(rests)) < _RESTS_SHARE


def usual_silences(record: Record, span: Span) -> dict[str, int]:
    """Longest silence that is no news, by channel, of those that fall silent at all [ms]."""
    found = {name: usual_silence_ms(readings, span.end_ms) for name, readings in record.items()}
    return {name: silent_ms for name, silent_ms in found.items() if silent_ms}


def switched_pumps(plant: Plant, record: Record, span: Span) -> tuple[str, ...]:
    """Pumps, none of them always on, whose plug loses its supply whenever they rest."""
    return tuple(
        pump.id
        for pump in plant.pumps
        if (channel := plant.first(pump.id, "power")) is not None
        and not pump.always_on
        and is_switched(record.get(channel.id, Readings.empty()), span.end_ms)
    )
