"""Reducing readings to about as many points as a chart has pixels, with extremes and gaps kept.

A spike of one reading must survive the picture of a year, and so must silence: every interval
keeps its least and greatest value, and one in which nothing is known stays empty.
"""

from typing import Literal, NamedTuple

import numpy as np

from analysis.base.time import SECOND_MS, Span
from analysis.readings.readings import FloatArray, Holds, IntArray, Summary

Resolution = Literal["raw", "minute", "hour"]

_RAW_POINTS = 20_000
"""So many readings are drawn from one by one; beyond, summaries show the same to the eye."""
_MINUTE_DAYS = 40.0


def resolution(span: Span, interval_s: float) -> Resolution:
    """Which of the store's forms a picture of this span wants.

    Parameters
    ----------
    span : Span
        What is drawn.
    interval_s : float
        Expected time between readings [s].
    """
    if span.hours * 3600 / interval_s <= _RAW_POINTS:
        return "raw"
    return "minute" if span.days <= _MINUTE_DAYS else "hour"


def bucket_edges(span: Span, step_ms: int, most: int) -> IntArray:
    """Edges of at most about `most` equal intervals over a span, whole multiples of a step.

    They lie at multiples of their own width since 1970, so that a picture moved
    by a little keeps its intervals.
    """
    steps = max(1, -(-(span.end_ms - span.start_ms) // (step_ms * most)))
    width = steps * step_ms
    first = span.start_ms // width * width
    return np.arange(first, span.end_ms + width, width, dtype=np.int64)


def merged(summary: Summary, edges_ms: IntArray) -> Summary:
    """Summary of wider intervals from one of narrower ones that lie within them.

    Parameters
    ----------
    summary : Summary
        Rising in time; intervals that begin outside the edges are left out.
    edges_ms : ndarray of int64, shape (m + 1,)
        Equally wide intervals [ms].

    Returns
    -------
    Summary
        Arrays of shape (m,); NaN and 0 s where nothing is known.
    """
    m = len(edges_ms) - 1
    a, b = np.searchsorted(summary.start_ms, (edges_ms[0], edges_ms[-1]))
    start, mean, low, high, covered_s = (column[a:b] for column in summary)
    known = covered_s > 0
    if not known.all():
        start, mean, low, high, covered_s = (c[known] for c in (start, mean, low, high, covered_s))
    empty = np.full(m, np.nan)
    if not len(start):
        return Summary(edges_ms[:-1], empty, empty.copy(), empty.copy(), np.zeros(m))
    into = (start - edges_ms[0]) // (edges_ms[1] - edges_ms[0])
    covered: FloatArray = np.bincount(into, covered_s, m).astype(np.float64)
    area = np.bincount(into, covered_s * mean, m)
    first = np.flatnonzero(np.diff(into, prepend=-1))
    least, greatest = empty.copy(), empty.copy()
    least[into[first]] = np.minimum.reduceat(low, first)
    greatest[into[first]] = np.maximum.reduceat(high, first)
    middle = empty
    middle[into[first]] = area[into[first]] / covered[into[first]]
    return Summary(edges_ms[:-1], np.clip(middle, least, greatest), least, greatest, covered)


class Line(NamedTuple):
    """A line to draw: moments [ms], values, and NaN wherever it must break."""

    time_ms: IntArray
    value: FloatArray


def stepped(known: Holds) -> Line:
    """Every value from where it begins to hold to where it ends, broken where there is a gap."""
    n = len(known.value)
    time_ms = np.empty(3 * n, np.int64)
    value = np.empty(3 * n)
    time_ms[0::3], value[0::3] = known.start_ms, known.value
    time_ms[1::3], value[1::3] = known.end_ms, known.value
    time_ms[2::3], value[2::3] = known.end_ms, np.nan
    keep = np.ones(3 * n, bool)
    joins = np.append(known.start_ms[1:] == known.end_ms[:-1], [False]) if n else np.empty(0, bool)
    # Where the next value follows at once its own point ends this one.
    keep[1::3] = ~joins
    keep[2::3] = ~joins
    return Line(time_ms[keep], value[keep])


def outline(summary: Summary) -> Line:
    """Area between least and greatest values as closed shapes, one a stretch without gaps.

    Forward along the greatest values and back along the least; NaN parts the
    shapes.
    """
    known = ~np.isnan(summary.low)
    edge = np.flatnonzero(np.diff(np.concatenate(([0], known.astype(np.int8), [0]))))
    middle_ms = summary.start_ms + _half_width(summary)
    time_ms: list[IntArray] = []
    value: list[FloatArray] = []
    for a, b in edge.reshape(-1, 2).tolist():
        there = middle_ms[a:b]
        time_ms += [there, there[::-1], there[:1]]
        value += [summary.high[a:b], summary.low[a:b][::-1], np.array([np.nan])]
    if not time_ms:
        return Line(np.empty(0, np.int64), np.empty(0))
    return Line(np.concatenate(time_ms), np.concatenate(value))


def centred(summary: Summary) -> Line:
    """Means at the middle of their intervals, NaN where nothing is known."""
    return Line(summary.start_ms + _half_width(summary), summary.mean)


def _half_width(summary: Summary) -> int:
    if len(summary.start_ms) < 2:
        return 0
    return int(summary.start_ms[1] - summary.start_ms[0]) // 2


class Overall(NamedTuple):
    """A span in four figures; NaN where nothing is known."""

    mean: float
    low: float
    high: float
    coverage: float


def overall(summary: Summary, span: Span) -> Overall:
    """Mean, least and greatest value, and share of the span that is known."""
    covered = summary.covered_s > 0
    seconds = float(summary.covered_s[covered].sum())
    if not seconds:
        return Overall(np.nan, np.nan, np.nan, 0.0)
    area = float((summary.mean[covered] * summary.covered_s[covered]).sum())
    whole_s = (span.end_ms - span.start_ms) / SECOND_MS
    return Overall(
        area / seconds,
        float(summary.low[covered].min()),
        float(summary.high[covered].max()),
        min(1.0, seconds / whole_s),
    )
