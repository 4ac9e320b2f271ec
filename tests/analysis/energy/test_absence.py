"""Journeys told from the use of a hot-water pump, made by hand; common practice, no source."""

import numpy as np
import pytest

from analysis.energy.absence import away_days, share_at_home

_HOME = 0.05 * np.random.default_rng(3).gamma(9.0, 1 / 9.0, 60)


def test_a_journey_is_days_in_a_row_without_draws() -> None:
    """Ten days at nothing are a journey, one or two are not; an unknown day ends none."""
    use = _HOME.copy()
    use[[5, 30, 31]] = 0.0
    use[40:50] = 0.0
    use[44] = np.nan
    assert np.flatnonzero(away_days(use)).tolist() == [40, 41, 42, 43, 45, 46, 47, 48, 49]


def test_journeys_longer_than_the_time_at_home_are_journeys() -> None:
    """Thirty-two of sixty days away: the usual day is still one at home."""
    use = np.where(np.arange(60) % 30 < 16, 0.0, _HOME)
    assert away_days(use).sum() == 32


def test_what_electronics_draw_in_an_empty_house_is_no_draw_of_water() -> None:
    """A standby of half the usual day: the days away are told all the same."""
    use = 0.02 + np.where(np.arange(60) < 9, 0.0, 0.02 + 0.1 * (_HOME - 0.05))
    assert np.flatnonzero(away_days(use)).tolist() == list(range(9))


def test_journeys_seen_are_part_of_the_years() -> None:
    """Two weeks a year: none seen, they come yet; seen, none are left to come."""
    gone = np.where(np.arange(60) < 15, 0.0, _HOME)
    assert share_at_home(_HOME, 305) == pytest.approx(1 - 14.6 / 305, abs=0.015)
    assert share_at_home(gone, 305) == 1.0
    assert share_at_home(np.full(60, 0.5), 305) == 1.0


def test_one_odd_day_of_a_pump_that_the_clock_charges_is_no_journey_of_all_others() -> None:
    """Half a day with the one charge in it counts double: the other thirty-nine are as always."""
    use = np.full(40, 0.032)
    use[-1] = 0.063
    assert not away_days(use).any()
