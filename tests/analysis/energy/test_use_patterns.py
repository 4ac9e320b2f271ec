"""Drivers of habits: a damped temperature is that of a lag stepped through time."""

import numpy as np
import pytest

from analysis.energy.use_patterns import drawn_weathers


def test_damped_days_are_those_of_a_lag_stepped_by_the_minute() -> None:
    """A first-order lag of each time, integrated minute by minute, to a hundredth of a kelvin."""
    follows = drawn_weathers(np.random.default_rng(1), 20)
    temp = np.random.default_rng(2).normal(10.0, 5.0, 15)
    found = follows.damped(temp[None, :])
    for lag_days, damped in zip(follows.lag_days[:, 0], found, strict=True):
        state, means = temp[0], []
        for day in temp:
            minutes = np.empty(1440)
            for minute in range(1440):
                state += (day - state) * -np.expm1(-1.0 / (1440.0 * lag_days))
                minutes[minute] = state
            means.append(minutes.mean())
        assert damped == pytest.approx(means, abs=0.02)


def test_some_possibilities_are_those_of_the_whole() -> None:
    """Rows 3 and 1 of a draw: the same figures, in that order."""
    whole = drawn_weathers(np.random.default_rng(3), 5)
    part = whole.of(np.array([3, 1]))
    assert part.limit_c[:, 0] == pytest.approx(whole.limit_c[[3, 1], 0])
    assert part.lag_days[:, 0] == pytest.approx(whole.lag_days[[3, 1], 0])
