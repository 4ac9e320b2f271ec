"""Days on which nobody is at home to draw hot water, told from what its pump uses."""

import numpy as np

from analysis.readings.readings import FloatArray
from analysis.readings.two_levels import BoolArray
from analysis.weather.degree_days import YEAR_DAYS

_AWAY_A_YEAR = 0.04 * YEAR_DAYS
"""Days of a year in which nobody is at home (common practice, no source)."""
_LEAST_DAYS = 3
"""A day without a charge is usual where the store is large; this many in a row are a journey."""
_LITTLE = 0.25
_STEADY = 0.1
"""Relative scatter of the days of a pump that runs by the clock, at home or not."""


def away_days(use: FloatArray) -> BoolArray:
    """Days of a journey: three and more in a row with hardly any draw.

    Counted above the least day, as a pump's electronics draw also while nobody is there.

    Parameters
    ----------
    use : ndarray, shape (n,)
        Energy of each day [kWh]; an unknown day (NaN) ends no journey and is none.
    """
    known = np.isfinite(use)
    found = np.zeros(len(use), np.bool_)
    if not known.any() or not follows_draws(use):
        return found
    draw = use - float(np.nanmin(use))
    usual = float(np.nanquantile(draw, 0.75))
    if usual <= 0:
        return found  # nearly all days are the least one: charged by the clock, nobody is away
    little = ~(draw > _LITTLE * usual)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], little.astype(np.int8), [0]))))
    for start, end in edges.reshape(-1, 2):
        found[start:end] = known[start:end].sum() >= _LEAST_DAYS
    return found & known


def follows_draws(use: FloatArray) -> bool:
    """Whether days differ as they do where draws of hot water, not the clock, call the pump."""
    mean = float(np.nanmean(use))
    return bool(np.nanstd(use) > _STEADY * mean)


def share_at_home(use: FloatArray, left: int) -> float:
    """By how much the days left of a year ask less than days at home, for the journeys to come.

    Journeys that were seen are part of what a year has of them.

    Parameters
    ----------
    use : ndarray
        Energy of the days seen [kWh], NaN where unknown.
    left : int
        Days of the year that are not measured.
    """
    if not follows_draws(use) or left < 1:
        return 1.0
    away = away_days(use)
    to_come = max(_AWAY_A_YEAR - float(away.sum()), 0.0) / max(left, _AWAY_A_YEAR)
    home = float(np.nanmean(use[~away]))
    of_draws = 1.0 - float(np.nanmin(use)) / home if home > 0 else 1.0
    return 1.0 - to_come * of_draws
