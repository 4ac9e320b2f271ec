"""Degree-days against published conventions and their traps, daily means, years of weather."""

import numpy as np
import pytest

from analysis.base.time import DAY_MS, HOUR_MS, Span, parse_rfc3339
from analysis.plant.plant import Channel, Plant
from analysis.readings.readings import Readings
from analysis.weather.degree_days import (
    TEMPERATE,
    Days,
    belief_of_zone,
    daily_means,
    day_of_year,
    degree_days_of_extremes,
    degree_days_of_heated_days,
    degree_days_of_hours,
    degree_days_of_mean,
    degree_days_of_month,
    drawn_years,
    outdoor_days,
)

BASE_C = 15.5

# Four cases as published with vesma.com/ddd and degreedaysdirect.com, base 15.5.
FOUR_CASES = [
    (16, 22, 0.0), (12, 20, 0.875), (10, 18, 2.125), (10, 21, 1.375),
    (5, 15, 5.5), (-3, 5, 14.5), (10, 15.5, 2.75), (11, 20, 1.125),
]  # fmt: skip


@pytest.mark.parametrize(("low", "high", "expected"), FOUR_CASES)
def test_four_cases_of_the_extremes(low: float, high: float, expected: float) -> None:
    """Worked days; half the difference for the mean, a printed sign error, gives none of them."""
    assert degree_days_of_extremes(low, high, BASE_C) == pytest.approx(expected)
    if high < BASE_C:
        assert BASE_C - (high - low) / 2 != pytest.approx(expected)


def test_conventions_differ_on_the_same_day() -> None:
    """Mean, extremes and hours of one day: 1.5, 2.125 and 2.1084; a stepped day 2.5 and 3.75."""
    hours = 14 + 4 * np.cos(2 * np.pi * (np.arange(24) + 0.5) / 24)
    assert degree_days_of_mean(14.0, BASE_C) == pytest.approx(1.5)
    assert degree_days_of_hours(hours, BASE_C) == pytest.approx(2.1084, abs=1e-4)
    step = np.repeat([8.0, 18.0], 12)
    assert degree_days_of_hours(step, BASE_C) == pytest.approx(3.75)
    assert degree_days_of_mean(step.mean(), BASE_C) == pytest.approx(2.5)


def test_month_mean_after_hitchin() -> None:
    """Month at 8 Cel: 7.5367 a day; at the base 1/k (CIBSE TM41, k from memory)."""
    assert degree_days_of_month(8.0, BASE_C) == pytest.approx(7.5367, abs=1e-4)
    assert 30 * degree_days_of_month(8.0, BASE_C) == pytest.approx(226.1, abs=0.05)
    assert degree_days_of_month(BASE_C, BASE_C) == pytest.approx(1.4085, abs=1e-4)
    assert degree_days_of_month(BASE_C + 1e-6, BASE_C) == pytest.approx(1.4085, abs=1e-4)


def test_heated_days_of_two_countries() -> None:
    """German G20/15 leaves the limit out, Eurostat's takes it in (both from memory)."""
    german = degree_days_of_heated_days([14.9, 15, 5], room_c=20, limit_c=15, limit_counts=False)
    europe = degree_days_of_heated_days([15, 15.1, 5], room_c=18, limit_c=15, limit_counts=True)
    assert german == pytest.approx([5.1, 0, 15])
    assert europe == pytest.approx([3, 0, 13])


def test_days_are_the_plants_own_and_half_days_unknown() -> None:
    """A day of 23 h counts, one with ten hours missing is unknown, not warm or cold."""
    start = parse_rfc3339("2026-03-28T00:00:00+01:00")
    time_ms = start + np.arange(0, 72 * HOUR_MS, 600_000)
    celsius = np.where(time_ms < start + DAY_MS, 4.0, 8.0)
    kept = ~((time_ms >= start + 50 * HOUR_MS) & (time_ms < start + 60 * HOUR_MS))
    readings = Readings.of(time_ms[kept], celsius[kept])
    days = daily_means(readings, 1_500_000, Span(start, start + 71 * HOUR_MS), "Europe/Berlin")
    assert np.diff(days.start_ms).tolist() == [24 * HOUR_MS, 23 * HOUR_MS]
    assert days.value[:2] == pytest.approx([4.0, 8.0], abs=0.05)
    assert np.isnan(days.value[2])


def test_outdoor_channel_is_found_by_its_place() -> None:
    """The first outdoor channel with readings; none gives None."""
    silent = Channel(id="a", of="plant", quantity="temperature", place="outdoor", unit="Cel")
    heard = Channel(id="b", of="plant", quantity="temperature", place="outdoor", unit="Cel")
    plant = Plant(name="Quay", timezone="UTC", channels=(silent, heard))
    readings = Readings.of(np.arange(0, 3 * DAY_MS, 600_000), np.full(432, 5.0))
    days = outdoor_days(plant, {"b": readings}, Span(0, 3 * DAY_MS))
    assert days is not None
    assert days.value == pytest.approx([5.0, 5.0, 5.0])
    assert outdoor_days(plant, {}, Span(0, 3 * DAY_MS)) is None


def _measured(first: str, number: int, seed: int, *, mean: float, swing: float) -> Days:
    start = parse_rfc3339(first) + np.arange(number) * DAY_MS
    rng = np.random.default_rng(seed)
    day = day_of_year(start + DAY_MS // 2)
    noise = rng.standard_normal(number) * 2.0
    return Days(start, mean - swing * np.cos(2 * np.pi * (day - 20) / 365.25) + noise)


def test_years_learn_the_place_from_one_year() -> None:
    """After a year at 7 +- 11 Cel the drawn years have its mean and winter; before, the usual."""
    days = _measured("2024-07-01T00:00:00Z", 365, 1, mean=7.0, swing=11.0)
    years = drawn_years(days, TEMPERATE, 0.0, number=400).temp_c
    assert years.shape == (400, 365)
    assert years.mean() == pytest.approx(7.0, abs=0.7)
    assert years[:, :40].mean() == pytest.approx(-4.0, abs=1.5)
    before = drawn_years(None, TEMPERATE, 0.0, number=400).temp_c
    assert years.mean(axis=1).std() < 0.5 * before.mean(axis=1).std()


def test_a_month_says_little_of_the_year() -> None:
    """A January tells of winters, and leaves the year's mean uncertain by more than half a kelvin.

    A gap is no datum: unknown days change nothing.
    """
    days = _measured("2025-01-01T00:00:00Z", 31, 2, mean=9.0, swing=8.0)
    years = drawn_years(days, TEMPERATE, 0.0, number=800).temp_c
    assert years.mean(axis=1).std() > 0.5
    holes = Days(
        np.append(days.start_ms, days.start_ms[-1] + DAY_MS), np.append(days.value, [np.nan])
    )
    assert np.array_equal(drawn_years(holes, TEMPERATE, 0.0, number=800).temp_c, years)


def test_drawn_weather_begins_where_it_is_told_and_knows_the_south() -> None:
    """A year drawn from July on begins warm in the north and cold in the south."""
    north = drawn_years(None, belief_of_zone("Europe/Dublin"), 185.0, number=200).temp_c
    south = drawn_years(None, belief_of_zone("Australia/Hobart"), 185.0, number=200).temp_c
    assert north[:, :30].mean() > north.mean() + 4
    assert south[:, :30].mean() < south.mean() - 4


def test_a_winter_over_new_year_does_not_shift_the_season() -> None:
    """Sixty days about New Year as the belief has them: the climate learnt is the belief's."""
    start = parse_rfc3339("2025-11-25T00:00:00Z") + np.arange(60) * DAY_MS
    belief = TEMPERATE
    phase = 2 * np.pi * (day_of_year(start + DAY_MS // 2) - belief.coldest_day) / 365.2425
    days = Days(start, belief.mean_c - belief.swing_k * np.cos(phase))
    drawn = drawn_years(days, belief, float(day_of_year(start[0])), number=400)
    assert drawn.usual_c.mean() == pytest.approx(belief.mean_c, abs=0.3)
    assert np.ptp(drawn.usual_c.mean(axis=0)) == pytest.approx(2 * belief.swing_k, abs=1.0)


@pytest.mark.parametrize(("zone", "colder"), [("Europe/Dublin", "01"), ("Pacific/Auckland", "07")])
def test_usual_temperature_follows_the_season_of_the_place(zone: str, colder: str) -> None:
    """January is the cold month in the north, July in the south."""
    years = drawn_years(None, belief_of_zone(zone), 0.0, number=400)
    january, july = (float(years.usual_c[:, day].mean()) for day in (20, 201))
    cold, warm = (january, july) if colder == "01" else (july, january)
    assert warm - cold == pytest.approx(16.0, abs=0.5)
