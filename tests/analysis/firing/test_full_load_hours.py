"""Possible years of a boiler, drawn anew by how usual they are for its size."""

import numpy as np
import pytest

from analysis.firing.full_load_hours import as_sized


def test_a_year_that_no_season_bounds_is_bounded_by_the_boilers_size() -> None:
    """A summer leaves 2 to 130 MWh open for 24 kW; 20 MWh at 20 kW are 1,000 h."""
    kwh = np.exp(np.random.default_rng(1).normal(np.log(20_000.0), 1.2, 4000))
    low, high = np.quantile(as_sized(kwh, 24.0), (0.025, 0.975))
    assert low > 24 * 400.0
    assert high < 24 * 5000.0


def test_a_season_that_was_seen_stands_against_an_unusual_size() -> None:
    """A house of 300 h a year, known to a tenth, stays within a twentieth of what was measured."""
    kwh = 20.0 * 300.0 * np.exp(np.random.default_rng(2).normal(0.0, 0.1, 4000))
    assert np.median(as_sized(kwh, 20.0)) == pytest.approx(6000.0, rel=0.05)
