"""How long a channel is silent as a rule.

A plug behind its controller's switch loses its own supply whenever its pump rests, and cellar radio
fails for hours here and there: such a silence is this channel's habit. One that is longer than
its habit is told, once: afterwards it is part of the habit.
"""

import numpy as np

from analysis.readings import Readings, Record
from analysis.timebase import DAY_MS, HOUR_MS, MINUTE_MS, Span

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


def usual_silences(record: Record, span: Span) -> dict[str, int]:
    """Longest silence that is no news, by channel, of those that fall silent at all [ms]."""
    found = {name: usual_silence_ms(readings, span.end_ms) for name, readings in record.items()}
    return {name: silent_ms for name, silent_ms in found.items() if silent_ms}
