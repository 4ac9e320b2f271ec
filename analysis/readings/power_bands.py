"""Bands of a series of readings: the values it keeps to, with empty ground between them."""

from itertools import pairwise
from typing import NamedTuple

import numpy as np

from analysis.readings.readings import FloatArray, Holds, IntArray
from analysis.readings.two_levels import BoolArray


class Band(NamedTuple):
    """Values a series keeps to, from `low` to `high`, its `middle`, and the share of the time."""

    low: float
    high: float
    middle: float
    share: float

    @property
    def is_narrow(self) -> bool:
        """Whether it is one level rather than a range."""
        return self.high - self.low <= max(2.0, 0.12 * self.middle)


_BINS = 1024
_LEAST_SHARE = 2e-5
"""What is seen for less of the time (ten minutes of a year) is a leap, no level."""
_LEAST_BAND = 5e-4
_GAP, _GAP_SHARE = 2.5, 0.2
"""Empty ground that parts two bands, in the unit of the readings and as a share of the value:
wider than the dead band of plugs that report a change only (common practice, no source)."""


def bands_of(known: Holds) -> list[Band]:
    """Bands from the lowest to the highest.

    Parameters
    ----------
    known : Holds
        Stretches with their values, not negative.
    """
    scaled = np.sqrt(np.maximum(known.value, 0.0, dtype=np.float32))  # halves the way of millions
    top = float(scaled.max(initial=0.0))
    if top <= 0:
        return []
    scaled *= np.float32((_BINS - 1) / top)
    length = known.end_ms - known.start_ms
    spent = np.bincount(scaled.astype(np.int32), length, _BINS).astype(np.float64)
    seen = np.flatnonzero(spent >= _LEAST_SHARE * spent.sum())
    value = np.asarray(((seen + 0.5) * (top / (_BINS - 1))) ** 2, np.float64)
    apart = np.diff(value) >= np.maximum(_GAP, _GAP_SHARE * value[:-1])
    groups = np.split(np.arange(len(seen)), np.flatnonzero(apart) + 1)
    found = [_band(value[g], spent[seen[g]], float(spent.sum())) for g in groups]
    return [band for band in found if band.share >= _LEAST_BAND]


def _band(value: FloatArray, spent: FloatArray, whole: float) -> Band:
    reached = np.cumsum(spent) / spent.sum()
    low, middle, high = (
        float(value[min(int(np.searchsorted(reached, q)), len(value) - 1)])
        for q in (0.03, 0.5, 0.97)
    )
    return Band(low, high, middle, float(spent.sum() / whole))


class Stays(NamedTuple):
    """Stretches over which a series stays within one band.

    `band` is its number; `after_gap` tells that nothing is known just before.
    """

    start_ms: IntArray
    end_ms: IntArray
    band: IntArray
    after_gap: BoolArray


def stays_of(known: Holds, bands: list[Band]) -> Stays:
    """Stays of a series in its bands, each value in the band it is nearest to."""
    if not len(known.value):
        none = np.empty(0, np.int64)
        return Stays(none, none, none, none.astype(bool))
    band = np.zeros(len(known.value), np.int16)
    for one, other in pairwise(bands):  # few cuts: faster than a search for each of millions
        band += known.value > (one.high + other.low) / 2
    after_gap = np.append([True], known.start_ms[1:] > known.end_ms[:-1])
    first = np.flatnonzero(after_gap | np.append([True], band[1:] != band[:-1]))
    last = np.append(first[1:] - 1, [len(band) - 1])
    return Stays(
        known.start_ms[first],
        known.end_ms[last],
        band[first].astype(np.int64),
        after_gap[first],
    )
