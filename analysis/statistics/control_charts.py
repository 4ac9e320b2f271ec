"""Control charts: sums, averages and run rules that tell a lasting shift from chance.

All take values already brought to mean 0 and scale 1 (see `standardised`), run along the
last axis, so that many series go at once, and let an unknown value (NaN) change nothing.
Their false-alarm rates hold for independent values: a series of 10 s readings is none, a
series of daily medians nearly is.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.signal import lfilter
from scipy.stats import median_abs_deviation

from analysis.readings.readings import FloatArray, IntArray
from analysis.readings.two_levels import BoolArray

MAD_TO_SIGMA = 1.482602
"""Scale of a normal law per median absolute deviation, 1 / quantile(3/4)."""
QN_TO_SIGMA = 2.21914
"""Scale of a normal law per first quartile of the pairwise distances (Rousseeuw, Croux 1993)."""


class Sums(NamedTuple):
    """Cumulative sums: upward, downward, and where either is above its decision limit."""

    up: FloatArray
    down: FloatArray
    alarm: BoolArray


class Smoothed(NamedTuple):
    """Exponentially weighted average, its limit, and where it is beyond the limit."""

    value: FloatArray
    limit: FloatArray
    alarm: BoolArray


class RunRule(NamedTuple):
    """So many, `least`, of the last `of` values beyond `beyond` sigma, all on one side."""

    least: int
    of: int
    beyond: float


WESTERN_ELECTRIC = (RunRule(1, 1, 3.0), RunRule(2, 3, 2.0), RunRule(4, 5, 1.0), RunRule(8, 8, 0.0))
"""The four rules of the Western Electric handbook (1956), as Champ and Woodall (1987) number
their limits."""


def cusum(
    deviation: ArrayLike, *, slack: float = 0.5, limit: float = 5.0, head_start: float = 0.0
) -> Sums:
    """Two-sided cumulative sum of deviations; the fastest chart for a small lasting shift.

    Parameters
    ----------
    deviation : array_like of float, shape (..., n)
        Deviations in sigma; NaN leaves the sums as they are.
    slack : float
        Half the shift that is to be found [sigma].
    limit : float
        Decision limit; 4 gives a false alarm in 168 values, 5 in 465 (at slack 0.5).
    head_start : float
        Where both sums begin; half the limit finds a fault that is there from the
        first value much sooner (Lucas and Crosier 1982).

    Returns
    -------
    Sums
        Arrays of shape (..., n). The sums run on after an alarm.
    """
    step = np.asarray(deviation, dtype=np.float64)
    up = _reflected(step - slack, head_start)
    down = _reflected(-step - slack, head_start)
    return Sums(up, down, (up > limit) | (down > limit))


def _reflected(step: FloatArray, start: float) -> FloatArray:
    """Sum of the steps that never falls below zero."""
    total = start + np.cumsum(np.nan_to_num(step, nan=0.0), axis=-1)
    floor = np.minimum(np.minimum.accumulate(total, axis=-1), 0.0)
    lifted: FloatArray = total - floor
    return lifted


def onset(sums: FloatArray, at: int) -> int:
    """Index of the first value that counts towards the sum at `at`: the likely change.

    The place after the sum's last zero (Page 1954).
    """
    zero = np.flatnonzero(sums[: at + 1] <= 0)
    return int(zero[-1]) + 1 if len(zero) else 0


def ewma(
    deviation: ArrayLike, *, weight: float = 0.2, limit: float = 2.962, start: float = 0.0
) -> Smoothed:
    """Exponentially weighted moving average with limits that widen from the start.

    Parameters
    ----------
    deviation : array_like of float, shape (..., n)
        Deviations in sigma; NaN holds the average.
    weight : float
        Weight of the newest value. Pairs with `limit` that give a false alarm in about
        500 values: (0.4, 3.054), (0.25, 2.998), (0.2, 2.962), (0.1, 2.814), (0.05, 2.615)
        (Lucas and Saccucci 1990).
    limit : float
        Limit in standard deviations of the average.
    start : float
        Average before the first value.
    """
    values = np.asarray(deviation, dtype=np.float64)
    average = _averaged(values, weight, start)
    seen = np.cumsum(~np.isnan(values), axis=-1)
    steady = weight / (2.0 - weight)
    bound = limit * np.sqrt(steady * -np.expm1(2.0 * seen * np.log1p(-weight)))
    return Smoothed(average, bound, np.abs(average) > np.maximum(bound, 1e-12))


def steady_limit(weight: float, limit: float) -> float:
    """Limit of an exponentially weighted average once it has run for long."""
    return float(limit * np.sqrt(weight / (2.0 - weight)))


def _averaged(values: FloatArray, weight: float, start: float) -> FloatArray:
    if np.isnan(values).any():
        rows = np.reshape(values, (-1, values.shape[-1]))
        held = np.stack([_held_average(row, weight, start) for row in rows])
        return held.reshape(values.shape)
    before = np.full((*values.shape[:-1], 1), (1.0 - weight) * start)
    average: FloatArray = lfilter([weight], [1.0, weight - 1.0], values, axis=-1, zi=before)[0]
    return average


def _held_average(values: FloatArray, weight: float, start: float) -> FloatArray:
    there = ~np.isnan(values)
    known = _averaged(values[there], weight, start) if there.any() else np.empty(0)
    held: FloatArray = np.append([start], known)[np.cumsum(there)]
    return held


def broken_rules(
    deviation: ArrayLike, rules: tuple[RunRule, ...] = WESTERN_ELECTRIC
) -> NDArray[np.bool_]:
    """Where each run rule is broken.

    Each rule more makes more false alarms: all four give one in 92 values where the
    three-sigma limit alone gives one in 370 (Champ and Woodall 1987).

    Parameters
    ----------
    deviation : array_like of float, shape (..., n)
        Deviations in sigma; NaN is beyond no limit.
    rules : tuple of RunRule
        Rules to try.

    Returns
    -------
    ndarray of bool, shape (len(rules), ..., n)
    """
    values = np.asarray(deviation, dtype=np.float64)
    return np.stack([_breaks(values, r) | _breaks(-values, r) for r in rules])


def _breaks(values: FloatArray, rule: RunRule) -> BoolArray:
    beyond = values > rule.beyond
    total = np.cumsum(beyond, axis=-1)
    before = np.zeros_like(total)
    before[..., rule.of :] = total[..., : -rule.of]
    # The newest value must itself be beyond: the rule breaks with it, not after it.
    broken: BoolArray = beyond & (total - before >= rule.least)
    return broken


def first_alarm(alarm: BoolArray) -> IntArray:
    """Number of values up to and with the first alarm, 0 where there is none.

    Shape of the alarm without its last axis.
    """
    found = alarm.any(axis=-1)
    return np.where(found, alarm.argmax(axis=-1) + 1, 0).astype(np.int64)


def standardised(values: ArrayLike, learned: ArrayLike) -> FloatArray:
    """Deviations of `values` from the median of `learned`, in its robust sigma.

    A scale of zero, as of a channel that reports in coarse steps, gives infinite
    deviations wherever the value differs; give such a channel a floor first.
    """
    centre = np.nanmedian(np.asarray(learned, dtype=np.float64))
    with np.errstate(divide="ignore", invalid="ignore"):
        deviation = (np.asarray(values, dtype=np.float64) - centre) / mad_sigma(learned)
    return np.where(np.asarray(values) == centre, 0.0, deviation)


def mad_sigma(values: ArrayLike) -> float:
    """Sigma from the median absolute deviation; half the values may be wild. NaN is left out."""
    flat = np.asarray(values, dtype=np.float64)
    return float(median_abs_deviation(flat, scale="normal", nan_policy="omit", axis=None))


def qn_sigma(values: ArrayLike) -> float:
    """Sigma from pairwise distances, for small samples: 82 % efficient where the MAD is 37 %.

    Rousseeuw and Croux (1993), with their factors for small samples. Needs no centre and
    takes half wild values. Work grows as n squared: meant for up to some thousand values.

    Returns
    -------
    float
        NaN for fewer than two known values.
    """
    known = np.asarray(values, dtype=np.float64).ravel()
    known = known[~np.isnan(known)]
    n = len(known)
    if n < 2:
        return float("nan")
    first, second = np.triu_indices(n, 1)
    half = n // 2 + 1
    rank = half * (half - 1) // 2 - 1
    distance = np.partition(np.abs(known[first] - known[second]), rank)[rank]
    return float(QN_TO_SIGMA * _small_sample(n) * distance)


_QN_SMALL = (0.399, 0.994, 0.512, 0.844, 0.611, 0.857, 0.669, 0.872)
"""Factors for 2 to 9 values (Croux and Rousseeuw 1992)."""


def _small_sample(n: int) -> float:
    if n <= 9:
        return _QN_SMALL[n - 2]
    return n / (n + (1.4 if n % 2 else 3.8))
