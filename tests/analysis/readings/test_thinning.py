"""Thinning for charts: extremes survive, gaps stay gaps, means keep their weights."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, Span
from analysis.readings.readings import Readings, holds, summarise
from analysis.readings.thinning import (
    bucket_edges,
    centred,
    merged,
    outline,
    overall,
    resolution,
    stepped,
)

T0 = 1_780_000_000_000 // DAY_MS * DAY_MS


def minutes(values: np.ndarray, missing: slice | None = None) -> Readings:
    time_ms = T0 + np.arange(len(values)) * MINUTE_MS
    if missing is not None:
        keep = np.ones(len(values), bool)
        keep[missing] = False
        time_ms, values = time_ms[keep], values[keep]
    return Readings.of(time_ms, values)


def summary_of(readings: Readings, span: Span, step_ms: int):
    edges = np.arange(span.start_ms, span.end_ms + 1, step_ms)
    return summarise(readings, edges, round(2.5 * MINUTE_MS))


def test_one_reading_survives_the_picture_of_a_year() -> None:
    """A spike of one minute is in the band of 400 intervals over a year."""
    span = Span(T0, T0 + 365 * DAY_MS)
    values = np.full(365 * 1440, 20.0)
    values[200_000] = 91.0
    hours = summary_of(minutes(values), span, HOUR_MS)
    picture = merged(hours, bucket_edges(span, HOUR_MS, 400))
    assert len(picture.mean) <= 402
    assert np.nanmax(picture.high) == 91.0
    assert np.nanmax(picture.mean) < 20.1
    assert 91.0 in outline(picture).value


@given(
    st.lists(st.floats(-50, 150), min_size=180, max_size=400),
    st.integers(0, 150), st.integers(0, 60), st.integers(2, 40),
)  # fmt: skip
def test_merging_summaries_is_summarising_at_once(
    values: list[float], start: int, length: int, most: int
) -> None:
    """Minute summaries merged give what the readings give over the same intervals, gaps too."""
    readings = minutes(np.array(values), slice(start, start + length))
    span = Span(T0, T0 + len(values) * MINUTE_MS)
    edges = bucket_edges(span, MINUTE_MS, most)
    fine = summary_of(readings, Span(int(edges[0]), int(edges[-1])), MINUTE_MS)
    ours, direct = merged(fine, edges), summarise(readings, edges, round(2.5 * MINUTE_MS))
    for mine, theirs in zip(ours, direct, strict=True):
        np.testing.assert_allclose(mine, theirs, rtol=1e-9, atol=1e-9)


def test_gap_breaks_line_and_band() -> None:
    """Where nothing is known the line has NaN and the band ends; it begins anew after."""
    readings = minutes(np.full(600, 40.0), slice(200, 330))
    span = Span(T0, T0 + 600 * MINUTE_MS)
    picture = merged(summary_of(readings, span, MINUTE_MS), bucket_edges(span, MINUTE_MS, 60))
    assert np.isnan(centred(picture).value).sum() == 12
    assert np.isnan(outline(picture).value).sum() == 2


def test_stepped_holds_and_breaks() -> None:
    """Each value is drawn to where it ends; only a gap breaks the line."""
    readings = Readings.of([0, 60_000, 600_000], [1.0, 2.0, 3.0])
    line = stepped(holds(readings, 150_000, Span(0, 660_000)))
    assert line.time_ms.tolist() == [0, 60_000, 210_000, 210_000, 600_000, 660_000, 660_000]
    expected = [1.0, 2.0, 2.0, np.nan, 3.0, 3.0, np.nan]
    np.testing.assert_array_equal(line.value, expected)
    assert len(stepped(holds(Readings.empty(), 1, Span(0, 1))).value) == 0


def test_bucket_edges_cover_the_span_and_stay_when_it_moves() -> None:
    """Whole multiples of the step; a picture moved by a minute keeps the same edges."""
    span = Span(T0 + 17 * MINUTE_MS, T0 + 3 * DAY_MS)
    edges = bucket_edges(span, MINUTE_MS, 100)
    assert edges[0] <= span.start_ms
    assert edges[-1] >= span.end_ms
    assert len(edges) <= 103
    moved = bucket_edges(Span(span.start_ms + MINUTE_MS, span.end_ms + MINUTE_MS), MINUTE_MS, 100)
    assert set(moved.tolist()) & set(edges.tolist()) == set(moved[moved <= edges[-1]].tolist())


def test_overall_weighs_by_time() -> None:
    """40 for two thirds, 10 for one third of the known time; a quarter is not known."""
    values = np.concatenate((np.full(60, 40.0), np.full(30, 10.0), np.full(30, 99.0)))
    readings = minutes(values, slice(90, 120))
    span = Span(T0, T0 + 120 * MINUTE_MS)
    edges = np.arange(span.start_ms, span.end_ms + 1, MINUTE_MS)
    found = overall(summarise(readings, edges, MINUTE_MS), span)
    assert found.mean == pytest.approx(30.0)
    assert (found.low, found.high) == (10.0, 40.0)
    assert found.coverage == pytest.approx(0.75)


def test_resolution_follows_readings_not_length_alone() -> None:
    """A slow sensor is drawn from its readings over a month, a fast plug over hours."""
    month = Span(T0, T0 + 30 * DAY_MS)
    assert resolution(month, 300) == "raw"
    assert resolution(month, 10) == "minute"
    assert resolution(Span(T0, T0 + DAY_MS), 10) == "raw"
    assert resolution(Span(T0, T0 + 365 * DAY_MS), 10) == "hour"
