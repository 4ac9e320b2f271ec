"""Days on which the house was not heated although it was cool, told from heating days."""

import numpy as np
import pandas as pd
import pytest

from analysis.energy.heating_season import heating_days
from analysis.statistics.change_point_regression import Points


def drawn_days(
    limit_c: float, *, days: int = 365, noise: float = 4.0, warmest_c: float = 26.0, seed: int = 3
) -> tuple[Points, np.ndarray]:
    """A year with heating by 5 kWh a kelvin below 21 Cel, shut off above a limit; and what rested.

    The control looks at a mean that follows slowly, so days near the limit go either way.
    """
    rng = np.random.default_rng(seed)
    wave = -np.cos(2 * np.pi * np.arange(days) / 365)
    temp = warmest_c - 13.0 + 11.0 * wave + rng.normal(0, 2.5, days)
    off = pd.Series(temp).rolling(3, min_periods=1).mean().to_numpy() > limit_c
    need = np.where(off, 0.0, 5.0 * np.maximum(21.0 - temp, 0.0))
    use = 12.0 + need + rng.normal(0, noise, days)
    return Points.of(temp, use, at=np.arange(days)), off & (temp < 19.0)


def test_exact_line_is_found_below_a_heating_limit() -> None:
    """Without noise the slope of the heating days comes back, which all days together miss."""
    points, _ = drawn_days(15.5, noise=0.01)
    found = heating_days(points)
    assert found.signature.slope == pytest.approx(5.0, abs=0.1)
    assert found.signature.change_c == pytest.approx(21.0, abs=0.3)


@pytest.mark.parametrize("seed", range(6))
def test_limit_lies_in_its_interval(seed: int) -> None:
    """The limit set is found within its interval, half a kelvin of daily means either side."""
    points, rested = drawn_days(15.5, seed=seed)
    found = heating_days(points)
    assert found.limit_c.low - 0.5 < 15.5 < found.limit_c.high + 0.5
    assert (found.resting & rested).sum() > 0.7 * rested.sum()
    assert abs(found.signature.slope - 5.0) < 0.3


def test_house_that_heats_whenever_it_is_cool_has_no_limit() -> None:
    """A plain knee: no day rests, the signature is that of all days."""
    points, _ = drawn_days(99.0)
    found = heating_days(points)
    assert found.limit_c.value is None
    assert found.signature.points == len(points)


def test_winter_alone_tells_of_no_limit() -> None:
    """Where no warm day was seen, thrifty days of winter are not called resting."""
    points, _ = drawn_days(15.5, warmest_c=16.0)
    cold = points.temp_c < 8.0
    winter = Points.of(points.temp_c[cold], np.where(np.arange(cold.sum()) % 9, 60.0, 12.0))
    assert not heating_days(winter).resting.any()
