"""Two levels in a series of readings, found from the readings themselves, and runs above them."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.readings.readings import FloatArray, Holds, IntArray

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


_BINS = 4096
_MOST_POINTS = 500_000
"""A longer series shows its levels in every n-th reading as well."""
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
    thin = slice(None, None, 1 + len(known.value) // _MOST_POINTS)
    scaled = np.sqrt(np.maximum(known.value[thin], 0.0))
    top = float(scaled.max(initial=0.0))
    if len(scaled) < 2 or top <= 0:
        return None
    length = (known.end_ms[thin] - known.start_ms[thin]).astype(np.float64)
    histogram = _Histogram.of(scaled, length, top=top)
    split = histogram.otsu()
    below, above = histogram.part(upto=split), histogram.part(above=split)
    share = above.total / max(histogram.total, 1e-300)
    if not _LEAST_SHARE <= share <= 1 - _LEAST_SHARE:
        return None
    low, high = below.quantile(0.5), above.quantile(0.5)
    # robust standard deviation from the quartiles: IQR = 1.349 sigma
    spread = (below.quantile(0.75) - below.quantile(0.25)) / 1.349
    if high - low < max(least_step, _SEPARATION * spread):
        return None
    return TwoLevels(low, high, low + 0.6 * (split**2 - low), low + 0.4 * (split**2 - low))


class _Histogram(NamedTuple):
    """Time spent at each value, on the square-root scale; quantiles come back unscaled."""

    centre: FloatArray
    spent: FloatArray

    @classmethod
    def of(cls, scaled: FloatArray, weight: FloatArray, *, top: float) -> "_Histogram":
        at = (scaled * ((_BINS - 1) / top)).astype(np.int32)
        centre = (np.arange(_BINS, dtype=np.float64) + 0.5) * (top / (_BINS - 1))
        return cls(centre, np.bincount(at, weight, _BINS).astype(np.float64))

    @property
    def total(self) -> float:
        return float(self.spent.sum())

    def part(self, *, upto: float = np.inf, above: float = -np.inf) -> "_Histogram":
        chosen = (self.centre <= upto) & (self.centre > above)
        return _Histogram(self.centre[chosen], self.spent[chosen])

    def quantile(self, q: float) -> float:
        reached = np.cumsum(self.spent)
        at = int(np.searchsorted(reached, q * reached[-1]))
        return float(self.centre[min(at, len(self.centre) - 1)] ** 2)

    def otsu(self) -> float:
        """Threshold of greatest variance between classes; the middle of a plateau."""
        below = np.cumsum(self.spent)
        total, mean_sum = below[-1], np.cumsum(self.spent * self.centre)
        above = total - below
        with np.errstate(invalid="ignore", divide="ignore"):
            apart = mean_sum / below - (mean_sum[-1] - mean_sum) / above
            between = np.nan_to_num(below * above * apart**2)
        best = np.flatnonzero(between >= between.max() * (1 - 1e-9))
        last = min(int(best[-1]) + 1, len(self.centre) - 1)
        return float((self.centre[best[0]] + self.centre[last]) / 2)


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


def rejoined(runs: Runs, parted: BoolArray) -> Runs:
    """Runs joined with the next, but where they are `parted`; one flag between each two of them."""
    first, last = np.append([True], parted), np.append(parted, [True])
    return Runs(
        runs.start_ms[first],
        runs.end_ms[last],
        runs.opens[first],
        runs.closes[last],
        runs.rest_until_ms[last],
    )


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
    state: BoolArray = value >= on
    between = np.flatnonzero(~state & (value > off))
    if not len(between):
        return state
    is_first = np.append([True], np.diff(between) > 1) | after_gap[between]
    first = between[is_first]
    before = np.where(
        after_gap[first], value[first] >= (on + off) / 2, state[np.maximum(first - 1, 0)]
    )
    state[between] = before[np.cumsum(is_first) - 1]
    return state


def _rest(known: Holds, state: BoolArray, after_gap: BoolArray, last: IntArray) -> IntArray:
    """End of the rest after each run, as far as it was seen."""
    ends = np.append(after_gap[1:] | state[1:], [True]) & ~state
    stop = np.flatnonzero(ends)
    at = np.searchsorted(stop, last, side="right")
    found = np.append(stop, [-1])[np.minimum(at, len(stop))]
    nearby = np.append(~state[1:] & ~after_gap[1:], [False])[last]
    return np.where(nearby & (found >= 0), known.end_ms[found], known.end_ms[last])
