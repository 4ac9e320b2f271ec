"""Two levels in a series of readings, found from the readings themselves, and runs above them."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.readings import FloatArray, Holds, IntArray

BoolArray = NDArray[np.bool_]


class TwoLevels(NamedTuple):
    """A low and a high level with the thresholds between them, in the unit of the readings.

    A run begins at or above `on` and ends at or below `off`; between them the
    state stays as it was, so that a wavering value makes no runs.
    """

    low: float
    high: float
    on: float
    off: float


_BINS = 256
_LEAST_SHARE = 0.001
_SEPARATION = 4.0


def two_levels(known: Holds, least_step: float) -> TwoLevels | None:
    """Split readings into a low and a high level.

    The split maximises the variance between the two classes of the
    time-weighted histogram, on a square-root scale so that a wide high level
    does not swallow a narrow low one.

    Parameters
    ----------
    known : Holds
        Stretches with their values.
    least_step : float
        Levels closer than this are one level.

    Returns
    -------
    TwoLevels or None
        None where the readings show one level only.

    References
    ----------
    N. Otsu, "A threshold selection method from gray-level histograms", IEEE Trans. Systems,
    Man, and Cybernetics 9 (1979) 62-66.
    """
    weight = (known.end_ms - known.start_ms).astype(np.float64)
    if len(weight) < 2 or weight.sum() <= 0:
        return None
    scaled = np.sqrt(np.maximum(known.value, 0.0))
    count, edge = np.histogram(scaled, _BINS, weights=weight)
    if edge[-1] <= edge[0]:
        return None
    split = _otsu(count, (edge[:-1] + edge[1:]) / 2)
    above = scaled >= split
    if not _LEAST_SHARE <= weight[above].sum() / weight.sum() <= 1 - _LEAST_SHARE:
        return None
    low = weighted_quantile(known.value[~above], weight[~above], 0.5)
    high = weighted_quantile(known.value[above], weight[above], 0.5)
    if high - low < max(least_step, _SEPARATION * _spread(known.value[~above], weight[~above])):
        return None
    return TwoLevels(low, high, low + 0.6 * (split**2 - low), low + 0.4 * (split**2 - low))


def _otsu(count: FloatArray, centre: FloatArray) -> float:
    """Threshold of greatest variance between classes; the middle of a plateau."""
    below = np.cumsum(count)
    total, mean_sum = below[-1], np.cumsum(count * centre)
    above = total - below
    with np.errstate(invalid="ignore", divide="ignore"):
        apart = mean_sum / below - (mean_sum[-1] - mean_sum) / above
        between = np.nan_to_num(below * above * apart**2)
    best = np.flatnonzero(between >= between.max() * (1 - 1e-9))
    return float((centre[best[0]] + centre[min(best[-1] + 1, len(centre) - 1)]) / 2)


def _spread(value: FloatArray, weight: FloatArray) -> float:
    """Robust standard deviation, from the weighted quartiles (IQR = 1.349 sigma)."""
    quarter, three = (weighted_quantile(value, weight, q) for q in (0.25, 0.75))
    return (three - quarter) / 1.349


def weighted_quantile(value: FloatArray, weight: FloatArray, q: float) -> float:
    """Quantile of values that count by their weight; NaN of nothing."""
    if not len(value):
        return float("nan")
    order = np.argsort(value)
    reached = np.cumsum(weight[order])
    at = int(np.searchsorted(reached, q * reached[-1]))
    return float(value[order[min(at, len(order) - 1)]])


class Runs(NamedTuple):
    """Runs above the thresholds.

    `opens` and `closes` tell whether start and end were seen, or are hidden by
    a gap or the end of the readings; `rest_until_ms` is the end of the rest
    that was seen to follow.
    """

    start_ms: IntArray
    end_ms: IntArray
    opens: BoolArray
    closes: BoolArray
    rest_until_ms: IntArray


def runs_above(known: Holds, on: float, off: float) -> Runs:
    """Runs of a held series that begins at `on` and ends at `off`.

    Parameters
    ----------
    known : Holds
        Stretches in order; where one does not begin at the end of the one
        before there is a gap.
    on, off : float
        Thresholds, `off` not above `on`.
    """
    if not len(known.value):
        none = np.empty(0, np.int64)
        return Runs(none, none, none.astype(bool), none.astype(bool), none)
    after_gap = np.append([True], known.start_ms[1:] > known.end_ms[:-1])
    state = _state(known.value, after_gap, on=on, off=off)
    begins = state & (after_gap | ~np.append([False], state[:-1]))
    stops = state & np.append(after_gap[1:] | ~state[1:], [True])
    first, last = np.flatnonzero(begins), np.flatnonzero(stops)
    opens = ~after_gap[first]
    closes = np.append(~after_gap[1:], [False])[last]
    return Runs(
        known.start_ms[first],
        known.end_ms[last],
        opens,
        closes,
        _rest(known, state, after_gap, last),
    )


def _state(value: FloatArray, after_gap: BoolArray, *, on: float, off: float) -> BoolArray:
    """Two-threshold state; right after a gap the middle of the thresholds decides."""
    decided = (value >= on) | (value <= off) | after_gap
    source = np.maximum.accumulate(np.where(decided, np.arange(len(value)), 0))
    middle = (on + off) / 2
    high = np.where(after_gap & (value < on) & (value > off), value >= middle, value >= on)
    return np.asarray(high[source], dtype=np.bool_)


def _rest(known: Holds, state: BoolArray, after_gap: BoolArray, last: IntArray) -> IntArray:
    """End of the rest after each run, as far as it was seen."""
    ends = np.append(after_gap[1:] | state[1:], [True]) & ~state
    stop = np.flatnonzero(ends)
    at = np.searchsorted(stop, last, side="right")
    found = np.append(stop, [-1])[np.minimum(at, len(stop))]
    nearby = np.append(~state[1:] & ~after_gap[1:], [False])[last]
    return np.where(nearby & (found >= 0), known.end_ms[found], known.end_ms[last])
