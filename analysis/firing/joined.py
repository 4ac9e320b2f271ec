"""Firings joined across gaps too short to hide a rest."""

import numpy as np

from analysis.readings.readings import IntArray
from analysis.readings.two_levels import Runs, rejoined

_LEAST_RESTS = 30
_SHORTEST = 0.01


def bridged(runs: Runs, hold_ms: int) -> Runs:
    """Join what a gap shorter than any rest of this burner has parted.

    A burner's rest lasts as long as its lock, its purge and its thermostat ask for at least. Where
    readings miss for less than the shortest of its rests, and it fires before and after, it fired
    all the time; else lost messages part one long firing, and starts come out too many.

    Parameters
    ----------
    runs : Runs
        Firings as readings show them.
    hold_ms : int
        For how long a reading holds without the next: that long before a gap is doubted as well.
    """
    rest = _rests(runs)
    if len(rest) < _LEAST_RESTS or len(runs.start_ms) < 2:
        return runs
    hidden = runs.start_ms[1:] - runs.end_ms[:-1] + hold_ms
    both = ~runs.closes[:-1] & ~runs.opens[1:]
    joined = both & (hidden < np.quantile(rest, _SHORTEST))
    return rejoined(runs, ~joined)


def _rests(runs: Runs) -> IntArray:
    """Lengths of the rests of which both ends were seen [ms]."""
    until, next_ms = runs.rest_until_ms[:-1], runs.start_ms[1:]
    whole = runs.closes[:-1] & runs.opens[1:] & (until == next_ms)
    return np.asarray((next_ms - runs.end_ms[:-1])[whole], np.int64)
