"""Readings laid on one grid of minutes, whatever the habit of the device that sent them."""

from dataclasses import dataclass, field

import numpy as np

from analysis.base.time import MINUTE_MS, SECOND_MS, Span
from analysis.plant.plant import Channel, Plant
from analysis.readings.readings import (
    FloatArray,
    IntArray,
    Readings,
    Record,
    Summary,
    hold_limit_ms,
    summarise,
)
from analysis.readings.two_levels import BoolArray

LEAST_COVER_S = 6.0
"""A minute of which less is known is unknown."""
_CODES = (85.0, -127.0, 0.0)
_JUMP_K = 5.0
_NEAR_W = 0.5
COARSE_S = 120.0
"""Readings further apart than this show no start attempts and no cut-out: too coarse to judge
a pump within minutes."""


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """A plant's channels on whole minutes; a channel is laid out when first asked for.

    Attributes
    ----------
    plant, record : Plant, Record
        Where the readings come from.
    edges_ms : ndarray of int64, shape (n + 1,)
        Edges of the minutes [ms].
    """

    plant: Plant
    record: Record
    edges_ms: IntArray
    _kept: dict[str, Summary | None] = field(default_factory=dict)

    @classmethod
    def over(cls, plant: Plant, record: Record, span: Span) -> "Grid":
        """Grid of the whole minutes that end within a span."""
        last = span.end_ms // MINUTE_MS * MINUTE_MS
        first = -(-span.start_ms // MINUTE_MS) * MINUTE_MS
        return cls(plant, record, np.arange(first, last + 1, MINUTE_MS, dtype=np.int64))

    def __len__(self) -> int:
        return max(len(self.edges_ms) - 1, 0)

    @property
    def start_ms(self) -> IntArray:
        """Beginning of each minute [ms]."""
        return self.edges_ms[:-1]

    def of_channel(self, channel: Channel) -> Summary | None:
        """Mean, least, greatest and cover of a channel; None where nothing is known of it."""
        if channel.id not in self._kept:
            self._kept[channel.id] = self._laid_out(channel)
        return self._kept[channel.id]

    def summary(self, of: str, quantity: str = "power", place: str | None = None) -> Summary | None:
        """As `of_channel` for the first such channel of a part."""
        channel = self.plant.first(of, quantity, place)
        return None if channel is None else self.of_channel(channel)

    def mean(self, of: str, quantity: str = "power", place: str | None = None) -> FloatArray:
        """Mean of each minute; NaN where unknown, everywhere so without such a channel."""
        found = self.summary(of, quantity, place)
        return np.full(len(self), np.nan) if found is None else found.mean

    def _laid_out(self, channel: Channel) -> Summary | None:
        readings = self.record.get(channel.id)
        if readings is None or not len(readings) or not len(self):
            return None
        hold_ms = hold_limit_ms(readings, channel)
        laid = summarise(without_glitches(readings, channel), self.edges_ms, hold_ms)
        known = laid.covered_s >= LEAST_COVER_S
        if not known.any():
            return None
        low, high = np.where(known, laid.low, np.nan), np.where(known, laid.high, np.nan)
        return Summary(laid.start_ms, np.where(known, laid.mean, np.nan), low, high, laid.covered_s)


def without_glitches(readings: Readings, channel: Channel) -> Readings:
    """Leave out single readings that no machine or pipe could give.

    A fault code of a temperature sensor that departs from both neighbours by
    more than 5 K, and a power of nothing between two that agree with each
    other, are faults of the message, not of the plant.
    """
    value = readings.value
    if len(value) < 3 or channel.quantity not in ("temperature", "power"):
        return readings
    before, here, after = value[:-2], value[1:-1], value[2:]
    if channel.quantity == "temperature":
        odd = np.isin(here, _CODES) & (np.abs(here - before) > _JUMP_K)
        odd &= np.abs(here - after) > _JUMP_K
    else:
        odd = (here < _NEAR_W) & (before > _NEAR_W) & (after > _NEAR_W)
        odd &= np.abs(before - after) < 0.25 * np.maximum(before, after)
    if not odd.any():
        return readings
    keep = np.concatenate(([True], ~odd, [True]))
    return Readings(readings.time_ms[keep], value[keep])


# small tools for judging by the minute


def trailing(flag: BoolArray, minutes: int | IntArray) -> IntArray:
    """How many of the last `minutes`, this one included, bear a flag; so many, or each its own."""
    total: IntArray = np.concatenate((np.zeros(1, np.int64), np.cumsum(flag, dtype=np.int64)))
    at = np.arange(1, len(flag) + 1)
    return np.asarray(total[at] - total[np.maximum(at - minutes, 0)], np.int64)


def lasting(flag: BoolArray) -> IntArray:
    """For how many minutes on end, this one included, a flag has been set."""
    at = np.arange(1, len(flag) + 1)
    return np.asarray(at - np.maximum.accumulate(np.where(flag, 0, at)), np.int64)


def ago(value: FloatArray, minutes: int) -> FloatArray:
    """Value of some minutes before; NaN at the beginning."""
    out = np.full(len(value), np.nan)
    out[minutes:] = value[: max(len(value) - minutes, 0)] if minutes else value
    return out


def held(value: FloatArray, minutes: int) -> FloatArray:
    """Last known value, carried over at most so many minutes of silence."""
    at = np.arange(len(value))
    last = np.maximum.accumulate(np.where(np.isnan(value), -1, at))
    fresh = (last >= 0) & (at - last <= minutes)
    return np.where(fresh, value[np.maximum(last, 0)], np.nan)


def spans_of(flag: BoolArray, start_ms: IntArray) -> list[Span]:
    """Stretches of minutes that bear a flag."""
    padded = np.concatenate(([False], flag, [False]))
    edge = np.flatnonzero(padded[1:] != padded[:-1]).reshape(-1, 2)
    return [Span(int(start_ms[a]), int(start_ms[b - 1]) + MINUTE_MS) for a, b in edge]


def is_coarse(readings: Readings, channel: Channel) -> bool:
    """Whether a channel is read too seldom to judge by the minute; on change it is not."""
    if channel.reports == "change" or len(readings) < 3:
        return False
    usual_s = channel.interval_s or float(np.median(np.diff(readings.time_ms))) / SECOND_MS
    return usual_s > COARSE_S
