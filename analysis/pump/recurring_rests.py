"""Rests of a pump that come back: of every day, at one hour of the clock, or at any time."""

import numpy as np

from analysis.readings.minute_grid import lasting
from analysis.readings.readings import FloatArray, IntArray
from analysis.readings.two_levels import BoolArray

DAY_MIN, QUARTERS = 1440, 96
_PAUSE_MIN = (4, 180)
_LEAST_PAUSES = 4
_PAUSED_DAYS = 0.7
_REST_MIN = (4, 600)
_REST_DAYS = 2
_OWN_REST_MIN, _AFTER_MIN = (10, 1440), 10
_LIKE_BEFORE = (0.9, 1.1)
_MORE_SHARE, _MORE_MIN, _MORE_MOST_MIN = 0.25, 10.0, 45.0


def habitual_pause_min(power_w: FloatArray, split_w: float, days: float) -> int:
    """Longest pause of a pump that pauses day after day and goes on by itself [min], else 0.

    So rests one whose controller lets it wait while a store is charged, which nothing else tells
    where its plug is all there is. Pauses count whatever they were taken for: a stall does not
    end by itself every day.
    """
    ends, length = _ended_rests(power_w, split_w)
    ends, length = (
        a[(length >= _PAUSE_MIN[0]) & (length <= _PAUSE_MIN[1])] for a in (ends, length)
    )
    with_one = len(np.unique(ends // DAY_MIN))
    is_habit = len(length) >= _LEAST_PAUSES and with_one >= _PAUSED_DAYS * days
    return int(length.max()) if is_habit else 0


def rests_from(power_w: FloatArray, split_w: float, quarter: IntArray) -> tuple[int, ...]:
    """Longest rest that began in each quarter hour of the day, where several days had one [min].

    A clock sets the heating back at one hour of the night; the pump then rests until the house
    or the water has cooled to the lower curve, in mild weather not at all.

    Parameters
    ----------
    power_w : ndarray
        Power by the minute [W].
    split_w : float
        Power above which the pump runs.
    quarter : ndarray of int
        Quarter hour of the local day of each minute.

    Returns
    -------
    tuple of int
        One for each of 96 quarter hours, 0 where there is no such habit.
    """
    ends, length = _ended_rests(power_w, split_w)
    begins = ends - length + 1
    kept = (length >= _REST_MIN[0]) & (length <= _REST_MIN[1]) & (begins > 0)
    begins, length = begins[kept], length[kept]
    near = (quarter[begins][:, None] - np.arange(QUARTERS) + 1) % QUARTERS <= 2
    found = np.zeros(QUARTERS, np.int64)
    for slot in range(QUARTERS):
        at = near[:, slot]
        if len(np.unique(begins[at] // DAY_MIN)) >= _REST_DAYS:
            found[slot] = length[at].max()
    return tuple(int(one) for one in found)


def rests_by_clock(
    resting: BoolArray, quarter: IntArray, rests_from_min: tuple[int, ...]
) -> BoolArray:
    """Minutes of a rest that began when such rests do and is not yet much longer than they were."""
    if not any(rests_from_min):
        return np.zeros(len(resting), bool)
    age = lasting(resting)
    usual = np.asarray(rests_from_min, np.float64)
    begin = np.arange(len(age)) - np.maximum(age, 1) + 1
    # What rested from the first minute on may have begun at any hour before.
    longest = np.where(begin == 0, usual.max(), usual[quarter[begin]])
    more = np.minimum(_MORE_MIN + _MORE_SHARE * longest, _MORE_MOST_MIN)
    return np.asarray((age > 0) & (longest > 0) & (age <= longest + more))


def own_rests(power_w: FloatArray, split_w: float, running_w: tuple[float, float]) -> list[int]:
    """Longest rest of each day with one that began and ended by itself [min].

    A seized or burnt pump does not come back by itself to the power it had before; one that a
    room thermostat or a store's charge stops does, whatever its plant entry says.

    Parameters
    ----------
    power_w : ndarray
        Power by the minute [W].
    split_w : float
        Power above which the pump runs.
    running_w : tuple of float
        Least and greatest of its power when running [W].
    """
    ends, length = _ended_rests(power_w, split_w)
    kept = (length >= _OWN_REST_MIN[0]) & (length <= _OWN_REST_MIN[1]) & (ends - length >= 0)
    longest: dict[int, int] = {}
    for end, minutes in zip(ends[kept].tolist(), length[kept].tolist(), strict=True):
        after = power_w[end + 2 : end + 2 + _AFTER_MIN]
        least, most = (k * w for k, w in zip(_LIKE_BEFORE, running_w, strict=True))
        if len(after) == _AFTER_MIN and ((after >= least) & (after <= most)).all():
            longest[end // DAY_MIN] = max(longest.get(end // DAY_MIN, 0), minutes)
    return list(longest.values())


def _ended_rests(power_w: FloatArray, split_w: float) -> tuple[IntArray, IntArray]:
    """Last minutes of the rests that ended in running, and their lengths [min]."""
    rests = lasting(power_w <= split_w)
    ends = np.flatnonzero((rests[:-1] > 0) & (rests[1:] == 0) & ~np.isnan(power_w[1:]))
    return ends, rests[ends]
