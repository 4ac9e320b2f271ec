"""Rests of a pump that come back at one hour of the clock."""

import numpy as np

from analysis.pump.recurring_rests import rests_by_clock, rests_from

QUARTER = np.arange(5 * 1440) % 1440 // 15


def resting(nights: dict[int, int], start_min: int = 1335) -> np.ndarray:
    """Power of a pump that rests from 22:15 on, in some nights for so many minutes."""
    power = np.full(5 * 1440, 12.0)
    for night, length in nights.items():
        begin = night * 1440 + start_min
        power[begin : begin + length] = 0.0
    return power


def test_rest_at_one_quarter_hour_of_two_nights_is_a_habit() -> None:
    """Its longest length is kept, in the quarter hour and its neighbours."""
    found = rests_from(resting({0: 30, 2: 50}), 6.0, QUARTER)
    assert [k for k, length in enumerate(found) if length] == [88, 89, 90]
    assert found[89] == 50


def test_rest_of_one_night_is_no_habit() -> None:
    """Twice in the same night neither."""
    assert not any(rests_from(resting({1: 40}), 6.0, QUARTER))


def test_rest_counts_as_the_clock_s_until_it_is_much_longer_than_ever() -> None:
    """Fifty minutes seen: a quarter and ten minutes more are waited for."""
    usual = rests_from(resting({0: 30, 2: 50}), 6.0, QUARTER)
    rests = resting({3: 200}) < 6.0
    waited = rests_by_clock(rests, QUARTER, usual)
    assert waited.sum() == 72
    assert not rests_by_clock(resting({3: 200}, start_min=800) < 6.0, QUARTER, usual).any()
