"""Firings that a resting pump's pipe should not feel, and those of them that warmed it."""

import numpy as np

from analysis.pump.minutes import Minutes
from analysis.readings.readings import FloatArray, IntArray

_LATE_MIN = 4
"""The plug may tell of a start a little after the pipe does."""
_STILL_MIN, _FIRED_MIN, _SHORT_MIN = 5, 10, 60
_SURGE_K = 5.0
"""Rise in a short rest that no conduction along a pipe makes within half an hour; common practice,
no source."""


def ghost_occasions(minutes: Minutes) -> tuple[IntArray, IntArray]:
    """Minutes at which a resting pump's pipe could tell of water that moves, and where it did.

    After an hour of rest a firing begins; or, as in a charge of the store, it fires on through a
    rest of minutes, in which the pipe of a sound circuit cools.

    Returns
    -------
    tuple of ndarray of int64
        Occasions, and those at which the pipe warmed.
    """
    long = _rest_firings(minutes)
    warmed = [k for k in long.tolist() if _warmed_idle(minutes, k)]
    short = _short_rests(minutes)
    surged = [begin for begin, end in short if _surged(minutes, begin, end)]
    occasions = sorted([*long.tolist(), *(begin for begin, _ in short)])
    return np.array(occasions, np.int64), np.array(sorted([*warmed, *surged]), np.int64)


def _short_rests(minutes: Minutes) -> list[tuple[int, int]]:
    """Parts of rests, from the fifth minute on, in which the boiler fires for ten and more."""
    on = minutes.on
    stops = np.flatnonzero(on[:-1] & ~on[1:]) + 1
    starts = np.append(np.flatnonzero(~on[:-1] & on[1:]) + 1, len(on) + _LATE_MIN)
    ends = starts[np.searchsorted(starts, stops)]
    found = []
    for stop, end in zip(stops.tolist(), ends.tolist(), strict=True):
        begin, last = stop + _STILL_MIN, min(end - _LATE_MIN, stop + _SHORT_MIN)
        if last - begin < _FIRED_MIN or not np.isfinite(minutes.power_w[stop:last]).all():
            continue
        if np.nansum(minutes.fires[begin:last]) >= _FIRED_MIN:
            found.append((begin, last))
    return found


def _surged(minutes: Minutes, begin: int, end: int) -> bool:
    """Whether a pipe grew warmer by far between two minutes of a rest."""
    pipes = (pipe[begin:end] for pipe in (minutes.flow_c, minutes.return_c))
    return any(_rise(pipe[np.isfinite(pipe)]) > _SURGE_K for pipe in pipes)


def _rise(pipe: FloatArray) -> float:
    return float(pipe.max() - pipe[0]) if len(pipe) >= _FIRED_MIN else 0.0


def _rest_firings(minutes: Minutes) -> IntArray:
    """Minutes in which a firing began while the pump had rested for an hour."""
    fires = minutes.fires
    with np.errstate(invalid="ignore"):
        begins = np.flatnonzero((fires[1:] > 0.5) & (fires[:-1] < 0.5)) + 1
    rests = ~minutes.on[begins] & (minutes.run_min[begins] >= 60)
    rests &= np.array([np.isfinite(minutes.power_w[k - 60 : k]).all() for k in begins], bool)
    found, last = [], -(10**9)
    for k in begins[rests].tolist():
        if k - last >= 120:
            found.append(k)
            last = k
    return np.array(found, np.int64)


def _warmed_idle(minutes: Minutes, start: int) -> bool:
    """Whether a resting pump's pipe warmed after a firing began."""
    part = slice(start, start + 120)
    rests = np.cumsum(minutes.on[part] | np.isnan(minutes.power_w[part])) == 0
    rests[max(int(rests.sum()) - _LATE_MIN, 0) :] = False
    for pipe in (minutes.flow_c, minutes.return_c):
        before = pipe[max(start - 10, 0) : start]
        after = pipe[part][rests]
        if not np.isfinite(before).any() or np.isfinite(after).sum() < 20:
            continue
        around = minutes.around_c[part][rests]
        beside = float(np.nanmedian(around)) if np.isfinite(around).any() else 18.0
        rise = np.nanmax(after) - np.nanmedian(before)
        if rise > 3.0 and np.nanmax(after) > beside + 5.0:
            return True
    return False
