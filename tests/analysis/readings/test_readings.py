"""Holding, gaps and sums over time."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.base.errors import ReadingsError
from analysis.base.time import Span
from analysis.plant.plant import Channel
from analysis.readings.readings import (
    NEVER_MS,
    Readings,
    covered_hours,
    gaps,
    hold_limit_ms,
    holds,
    record_from_frame,
    summarise,
    value_at,
)

POWER = Channel(id="p", of="plant", quantity="power", unit="W")
series = st.lists(
    st.tuples(st.integers(0, 200_000), st.floats(0, 100)), max_size=40, unique_by=lambda r: r[0]
)


def made(rows: list[tuple[int, float]]) -> Readings:
    return Readings.of([t for t, _ in rows], [v for _, v in rows])


def test_of_sorts_and_keeps_the_last_of_a_moment() -> None:
    """Readings in any order; of two at one moment the later given wins."""
    found = Readings.of([20, 10, 20], [1.0, 2.0, 3.0])
    assert (found.time_ms.tolist(), found.value.tolist()) == ([10, 20], [2.0, 3.0])
    with pytest.raises(ReadingsError):
        Readings.of([1, 2], [1.0])


def test_series_round_trip_in_any_zone() -> None:
    """A pandas series in a local zone becomes UTC and back."""
    index = pd.date_range("2026-03-29 00:30", periods=4, freq="1h", tz="Europe/Dublin")
    back = Readings.from_series(pd.Series([1.0, 2.0, 3.0, 4.0], index=index)).to_series("p")
    assert back.index.tolist() == index.tz_convert("UTC").tolist()
    with pytest.raises(ReadingsError, match="time zone"):
        Readings.from_series(pd.Series([1.0], index=pd.DatetimeIndex(["2026-01-01"])))


def test_frame_holes_between_channels_say_nothing() -> None:
    """Channels that report at different moments do not blank each other."""
    index = pd.date_range("2026-01-01", periods=3, freq="10s", tz="UTC")
    frame = pd.DataFrame({"a": [1.0, math.nan, 3.0], "b": [math.nan, 2.0, math.nan]}, index=index)
    record = record_from_frame(frame)
    assert record["a"].value.tolist() == [1.0, 3.0]
    assert record["b"].value.tolist() == [2.0]


def test_event_driven_samples_are_weighted_by_time() -> None:
    """One standby value against many running ones: the mean is by time, not by count.

    One hour at 2 W told once and one hour at 40 W told every minute is 21 W, where the
    mean of the samples would say 39.4 W.
    """
    times = [0, *range(3_600_000, 7_200_000, 60_000)]
    readings = Readings.of(times, [2.0] + [40.0] * 60)
    found = summarise(readings, np.array([0, 7_200_000]), NEVER_MS)
    assert found.mean[0] == pytest.approx(21.0)
    assert found.covered_s[0] == 7200


def test_gap_is_unknown_not_held_and_not_zero() -> None:
    """Six silent hours after 40 W add no energy beyond the hold, and are reported as a gap."""
    readings = Readings.of([0, 10_000, 21_610_000], [40.0, 40.0, 40.0])
    known = holds(readings, 25_000, Span(0, 21_620_000))
    assert covered_hours(known) == pytest.approx(45_000 / 3_600_000)
    assert gaps(readings, 25_000, Span(0, 21_620_000)) == [Span(35_000, 21_610_000)]


def test_unknown_value_ends_the_one_before() -> None:
    """NaN means unknown from then on."""
    readings = Readings.of([0, 10_000, 20_000], [5.0, math.nan, 7.0])
    assert holds(readings, 60_000, Span(0, 30_000)).end_ms.tolist() == [10_000, 30_000]
    np.testing.assert_array_equal(
        value_at(readings, [5_000, 15_000, 25_000], 60_000), [5, math.nan, 7]
    )


@given(series, st.integers(1, 199_999), st.integers(1_000, 100_000))
def test_area_and_cover_add_up_over_a_split_window(
    rows: list[tuple[int, float]], cut: int, hold_ms: int
) -> None:
    """Energy of a window is the sum of its parts, wherever it is cut."""
    readings = made(rows)
    whole = summarise(readings, np.array([0, 200_000]), hold_ms)
    parts = summarise(readings, np.array([0, cut, 200_000]), hold_ms)
    assert parts.covered_s.sum() == pytest.approx(whole.covered_s[0])
    area = np.nansum(np.nan_to_num(parts.mean) * parts.covered_s)
    assert area == pytest.approx(np.nan_to_num(whole.mean[0]) * whole.covered_s[0], abs=1e-6)


@given(series, st.integers(1_000, 100_000))
def test_summaries_agree_with_a_plain_count(rows: list[tuple[int, float]], hold_ms: int) -> None:
    """Mean, least, greatest and cover agree with walking through every 100 ms."""
    rows = [(t // 100 * 100, v) for t, v in rows]
    readings = made(rows)
    hold_ms = hold_ms // 100 * 100
    edges = np.array([0, 50_000, 100_000, 150_000])
    found = summarise(readings, edges, hold_ms)
    for i in range(3):
        ticks = value_at(readings, np.arange(edges[i], edges[i + 1], 100), hold_ms)
        ticks = ticks[~np.isnan(ticks)]
        assert found.covered_s[i] == pytest.approx(len(ticks) / 10)
        if len(ticks):
            assert found.mean[i] == pytest.approx(ticks.mean())
            assert (found.low[i], found.high[i]) == (ticks.min(), ticks.max())
        else:
            assert math.isnan(found.mean[i])


def test_hold_limit_from_plant_file_and_from_data() -> None:
    """The expected interval decides; where none is given the usual one is learned."""
    every_10 = Readings.of(np.arange(100) * 10_000, np.arange(100.0))
    assert hold_limit_ms(every_10, POWER) == 25_000
    given = Channel(id="p", of="plant", quantity="power", unit="W", interval_s=60)
    assert hold_limit_ms(every_10, given) == 150_000


def test_counter_that_reports_on_change_never_runs_out() -> None:
    """A gas meter's pulses are silent while no gas flows; that is no gap."""
    pulses = Channel(id="g", of="boiler", quantity="fuel_volume", unit="m3")
    times = np.cumsum([1, 60, 60, 3600, 60, 120, 60, 7200, 60, 60, 60]) * 1000
    readings = Readings.of(times, np.arange(11) * 0.028)
    assert hold_limit_ms(readings, pulses) == NEVER_MS
