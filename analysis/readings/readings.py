"""Readings of one channel: how long a value holds, where nothing is known, and sums over time."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from analysis.base.errors import ReadingsError
from analysis.base.quantities import QUANTITIES
from analysis.base.time import HOUR_MS, SECOND_MS, Span
from analysis.plant.plant import Channel

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

HOLD_INTERVALS = 2.5
"""A value holds for this many expected intervals; longer silence is a gap.

Common practice, no source: one lost message is bridged, two are not.
"""
NEVER_MS = 1 << 62
"""A hold that no silence outlasts."""


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """Readings of one channel, instantaneous, in the quantity's own unit.

    Attributes
    ----------
    time_ms : ndarray of int64, shape (n,)
        Strictly rising [ms since 1970, UTC].
    value : ndarray of float64, shape (n,)
        NaN means unknown from that moment on.
    """

    time_ms: IntArray
    value: FloatArray

    def __len__(self) -> int:
        return len(self.time_ms)

    @classmethod
    def of(cls, time_ms: ArrayLike, value: ArrayLike) -> "Readings":
        """Sort, and of readings at the same millisecond keep the last given.

        Raises
        ------
        ReadingsError
            Times and values differ in number.
        """
        times = np.asarray(time_ms, dtype=np.int64)
        values = np.asarray(value, dtype=np.float64)
        if times.shape != values.shape or times.ndim != 1:
            raise ReadingsError(f"{times.shape} times against {values.shape} values")
        step = np.diff(times)
        if np.any(step <= 0):
            order = np.argsort(times, kind="stable")
            times, values = times[order], values[order]
            last = np.append(np.diff(times) > 0, [True])
            times, values = times[last], values[last]
        return cls(times, values)

    @classmethod
    def empty(cls) -> "Readings":
        """No readings."""
        return cls(np.empty(0, np.int64), np.empty(0, np.float64))

    @classmethod
    def from_series(cls, series: pd.Series) -> "Readings":
        """Take a pandas series with an aware DatetimeIndex.

        Raises
        ------
        ReadingsError
            The index bears no time zone.
        """
        index = series.index
        if not isinstance(index, pd.DatetimeIndex) or index.tz is None:
            raise ReadingsError(
                "the series needs a DatetimeIndex with time zone; "
                "use series.tz_localize('UTC') if its times are UTC"
            )
        stamps = index.tz_convert("UTC").as_unit("ms").astype(np.int64)
        return cls.of(stamps.to_numpy(), series.to_numpy(dtype=np.float64))

    def to_series(self, name: str | None = None) -> pd.Series:
        """Return a pandas series with a UTC index named ``time``."""
        index = pd.DatetimeIndex(self.time_ms.view("datetime64[ms]"), name="time", tz="UTC")
        return pd.Series(self.value, index=index, name=name)

    def within(self, span: Span) -> "Readings":
        """Readings taken within the span."""
        a, b = np.searchsorted(self.time_ms, (span.start_ms, span.end_ms))
        return Readings(self.time_ms[a:b], self.value[a:b])

    def known(self) -> "Readings":
        """Readings that have a value."""
        there = ~np.isnan(self.value)
        return self if there.all() else Readings(self.time_ms[there], self.value[there])

    def joined(self, later: "Readings") -> "Readings":
        """Merge with others, which win where both have the same moment."""
        if not len(self):
            return later
        if not len(later):
            return self
        return Readings.of(
            np.concatenate((self.time_ms, later.time_ms)),
            np.concatenate((self.value, later.value)),
        )


Record = Mapping[str, Readings]
"""What was measured on a plant: readings by channel id. A channel may be absent."""


def record_from_frame(frame: pd.DataFrame) -> dict[str, Readings]:
    """Readings by channel from a frame with one column a channel id.

    In a frame, channels that report at different moments leave holes in each
    other's columns; a hole therefore says nothing and is left out.
    """
    return {str(c): Readings.from_series(frame[c].dropna()) for c in frame.columns}


def record_span(record: Record) -> Span | None:
    """First to last reading over all channels, or None where there is none."""
    ends = [(int(r.time_ms[0]), int(r.time_ms[-1])) for r in record.values() if len(r)]
    if not ends:
        return None
    return Span(min(a for a, _ in ends), max(b for _, b in ends) + 1)


def hold_limit_ms(readings: Readings, channel: Channel) -> int:
    """How long a value of this channel may be taken to hold.

    A counter that reports on change is unchanged while it is silent, so it
    never runs out; every other channel holds for `HOLD_INTERVALS` expected
    intervals, learned from the readings where the plant file names none.

    Returns
    -------
    int
        Limit [ms].
    """
    reports = channel.reports or _learned_reports(readings, channel)
    if reports == "change" and QUANTITIES[channel.quantity].kind != "gauge":
        return NEVER_MS
    interval = channel.interval_s or _learned_interval_s(readings, reports)
    return max(round(HOLD_INTERVALS * interval * SECOND_MS), 2 * SECOND_MS)


def _learned_reports(readings: Readings, channel: Channel) -> str:
    """Tell on-change from periodic reporting by what the readings look like."""
    if len(readings) < 10 or channel.interval_s is not None:
        return "periodic"
    moved = np.mean(np.diff(readings.known().value) != 0) if len(readings.known()) > 1 else 0.0
    step = np.diff(readings.time_ms).astype(np.float64)
    low, high = np.quantile(step, (0.1, 0.9))
    return "change" if moved > 0.98 and high > 3 * max(low, 1.0) else "periodic"


def _learned_interval_s(readings: Readings, reports: str) -> float:
    if len(readings) < 3:
        return 60.0
    if reports == "change":
        step = np.diff(readings.time_ms) / SECOND_MS
        return float(np.clip(np.quantile(step, 0.98), 60.0, 7200.0))
    return usual_step_ms(readings) / SECOND_MS


def usual_step_ms(readings: Readings) -> int:
    """Median distance of readings [ms], from some ten thousand of them."""
    if len(readings) < 2:
        return 0
    every = max(len(readings) // 20_000, 1)
    return int(np.median(readings.time_ms[1::every] - readings.time_ms[:-1:every]))


class Holds(NamedTuple):
    """Stretches over which a value is known: start and end [ms], and the value."""

    start_ms: IntArray
    end_ms: IntArray
    value: FloatArray


def holds(readings: Readings, hold_ms: int, span: Span | None = None) -> Holds:
    """Stretches over which the channel's value is known.

    Each value holds until the next reading, at most for `hold_ms`; unknown
    values hold nothing. The last one holds to the limit or the span's end.

    Parameters
    ----------
    readings : Readings
        May begin before the span, so that a held value reaches into it.
    hold_ms : int
        See `hold_limit_ms`.
    span : Span, optional
        Clips the stretches; by default the last reading ends them.
    """
    if not len(readings):
        none = np.empty(0, np.int64)
        return Holds(none, none, np.empty(0))
    start = readings.time_ms
    last = span.end_ms if span else int(start[-1])
    end = np.minimum(np.append(start[1:], [max(last, int(start[-1]))]), start + hold_ms)
    if span:
        start = np.maximum(start, span.start_ms)
        end = np.minimum(end, span.end_ms)
    keep = (end > start) & ~np.isnan(readings.value)
    if keep.all():
        return Holds(start, end, readings.value)
    return Holds(start[keep], end[keep], readings.value[keep])


class Summary(NamedTuple):
    """Time-weighted figures per interval; NaN and 0 s where nothing is known.

    `start_ms` labels each interval by its beginning.
    """

    start_ms: IntArray
    mean: FloatArray
    low: FloatArray
    high: FloatArray
    covered_s: FloatArray

    def touching(self, span: Span, step_ms: int) -> "Summary":
        """Return the intervals of length `step_ms` that touch a span."""
        a, b = np.searchsorted(self.start_ms, (span.start_ms - step_ms + 1, span.end_ms))
        return Summary(*(column[a:b] for column in self))  # type: ignore[arg-type]


def summarise(readings: Readings, edges_ms: IntArray, hold_ms: int) -> Summary:
    """Time-weighted mean, least, greatest and covered seconds between edges.

    Parameters
    ----------
    readings : Readings
        May begin before the first edge.
    edges_ms : ndarray of int64, shape (m + 1,)
        Rising edges of the intervals [ms].
    hold_ms : int
        See `hold_limit_ms`.

    Returns
    -------
    Summary
        Arrays of shape (m,).
    """
    edges = np.asarray(edges_ms, dtype=np.int64)
    known = holds(readings, hold_ms, Span(int(edges[0]), int(edges[-1])))
    covered, area = _cumulated(known, edges)
    covered_s = np.diff(covered) / SECOND_MS
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(covered_s > 0, np.diff(area) / (covered_s * SECOND_MS), np.nan)
    low, high = _extremes(known, edges)
    return Summary(edges[:-1], np.clip(mean, low, high), low, high, covered_s)


def _cumulated(known: Holds, edges: IntArray) -> tuple[FloatArray, FloatArray]:
    """Covered time and value-time area from the first edge up to each edge."""
    if not len(known.value):
        zero = np.zeros(len(edges))
        return zero, zero
    length = (known.end_ms - known.start_ms).astype(np.float64)
    time_sum = np.append([0.0], np.cumsum(length))
    area_sum = np.append([0.0], np.cumsum(length * known.value))
    at = np.searchsorted(known.start_ms, edges, side="right") - 1
    inside = np.maximum(at, 0)
    part = np.clip(edges - known.start_ms[inside], 0, length[inside]) * (at >= 0)
    covered = time_sum[inside] * (at >= 0) + part
    area = area_sum[inside] * (at >= 0) + part * known.value[inside]
    return covered, area


def _extremes(known: Holds, edges: IntArray) -> tuple[FloatArray, FloatArray]:
    """Least and greatest held value of each interval."""
    m = len(edges) - 1
    low, high = np.full(m, np.nan), np.full(m, np.nan)
    if not len(known.value):
        return low, high
    first = np.searchsorted(known.end_ms, edges[:-1], side="right")
    after = np.searchsorted(known.start_ms, edges[1:], side="left")
    some = np.flatnonzero(after > first)
    if not len(some):
        return low, high
    pairs = np.empty(2 * len(some), np.intp)
    pairs[0::2], pairs[1::2] = first[some], after[some]
    padded = np.append(known.value, known.value[-1:])
    low[some] = np.minimum.reduceat(padded, pairs)[0::2]
    high[some] = np.maximum.reduceat(padded, pairs)[0::2]
    return low, high


def covered_hours(known: Holds) -> float:
    """Hours over which the value is known."""
    return float((known.end_ms - known.start_ms).sum()) / HOUR_MS


def gaps(readings: Readings, hold_ms: int, span: Span) -> list[Span]:
    """Stretches of the span over which the value is not known."""
    known = holds(readings, hold_ms, span)
    edge = np.concatenate(([span.start_ms], np.column_stack(known[:2]).ravel(), [span.end_ms]))
    pairs = edge.reshape(-1, 2)
    return [Span(int(a), int(b)) for a, b in pairs[pairs[:, 1] > pairs[:, 0]]]


def value_at(readings: Readings, time_ms: ArrayLike, hold_ms: int) -> FloatArray:
    """Held value at given moments; NaN where it is not known.

    Parameters
    ----------
    readings : Readings
        Source.
    time_ms : array_like of int64
        Moments [ms].
    hold_ms : int
        See `hold_limit_ms`.
    """
    moments = np.asarray(time_ms, dtype=np.int64)
    if not len(readings):
        return np.full(moments.shape, np.nan)
    at = np.searchsorted(readings.time_ms, moments, side="right") - 1
    inside = np.maximum(at, 0)
    fresh = (at >= 0) & (moments - readings.time_ms[inside] < hold_ms)
    return np.where(fresh, readings.value[inside], np.nan)
