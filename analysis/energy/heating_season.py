"""Days on which a plant heated the house, told from those on which it was set not to.

A control that shuts the heating off above an outdoor limit, or a person who does so for the
summer, makes days that use no more than the warmest days do although it is cool enough to heat.
Such days say nothing of how use rises with the cold; left in, they bend the signature.
"""

from dataclasses import dataclass, replace

import numpy as np

from analysis.base.estimate import Estimate
from analysis.readings.readings import FloatArray
from analysis.readings.two_levels import BoolArray
from analysis.statistics.change_point_regression import Points, Signature, fit_signature
from analysis.statistics.control_charts import mad_sigma

_WARM_C = 15.0
"""Heating limits lie at 15 to 17 Cel (common practice, no source): warm days are as warm."""
_TOO_WARM_C = 60.0
_WARM_SHARE = 0.1
_LEAST_WARM = 8
_LEAST_RESTING = 5
_LEAST_HEATING = 20
_BEYOND = 3.0
_RESAMPLED = 200


@dataclass(frozen=True, slots=True, eq=False)
class HeatingDays:
    """A signature of the days that heated, and where heating is shut off.

    Attributes
    ----------
    signature : Signature
        Of all days, resting ones taken as too warm to heat.
    resting : ndarray of bool, shape (n,)
        Days at the use of warm days that were cool enough to heat.
    limit_c : Estimate
        Outdoor mean above which more days rest than heat [Cel]; unknown where none rests.
    """

    signature: Signature
    resting: BoolArray
    limit_c: Estimate


def heating_days(points: Points) -> HeatingDays:
    """Fit a signature to the days that heated.

    Parameters
    ----------
    points : Points
        Days with outdoor temperature and use.

    Raises
    ------
    AnalysisError
        Too few days for a signature.
    """
    idle, resting = _resting(points)
    if not resting.any():
        unknown = Estimate.unknown("Cel", "too few days that could have heated and did not")
        return HeatingDays(fit_signature(points), np.zeros(len(points), bool), unknown)
    # Taken as too warm to heat, resting days still tell what is used without heating.
    needed_c = np.where(resting, _TOO_WARM_C, points.temp_c)
    fitted = fit_signature(replace(points, temp_c=needed_c))
    return HeatingDays(fitted, resting, _limit(points.temp_c, idle))


def _chosen(points: Points, which: BoolArray) -> Points:
    at = None if points.at is None else points.at[which]
    return Points(points.temp_c[which], points.use[which], at, points.unit)


def _resting(points: Points) -> tuple[BoolArray, BoolArray]:
    """Days at the use of warm days, and those of them that heating days say should have heated."""
    none = np.zeros(len(points), bool)
    count = max(round(_WARM_SHARE * len(points)), _LEAST_WARM)
    warm = np.argsort(points.temp_c)[-count:]
    if np.median(points.temp_c[warm]) < _WARM_C:
        return none, none
    base = float(np.median(points.use[warm]))
    spread = mad_sigma(points.use[warm]) + 0.02 * base
    idle: BoolArray = points.use <= base + _BEYOND * spread
    if (~idle).sum() < _LEAST_HEATING:
        return idle, none
    line = fit_signature(_chosen(points, ~idle), shape="line", is_drawn=False)
    needed = line.use_at(points.temp_c) - base
    clear = idle & (needed > _BEYOND * np.hypot(spread, line.residual_sd))
    # Once the heating is known to be shut off, idle days that need but little rest as well.
    return idle, idle & (needed > 0) if clear.sum() >= _LEAST_RESTING else none


def _limit(temp_c: FloatArray, idle: BoolArray) -> Estimate:
    """Temperature that best parts idle from heating days, and where resampled days put it."""
    rng = np.random.default_rng(len(temp_c))
    picks = rng.integers(len(temp_c), size=(_RESAMPLED, len(temp_c)))
    drawn = [_parting_c(temp_c[pick], idle[pick]) for pick in picks]
    value = _parting_c(temp_c, idle)
    low, high = np.quantile(drawn, (0.025, 0.975))
    basis = f"{idle.sum()} days without heating, {(~idle).sum()} with"
    return Estimate(value, min(float(low), value), max(float(high), value), "Cel", basis)


def _parting_c(temp_c: FloatArray, idle: BoolArray) -> float:
    """Border with the fewest days on the wrong side."""
    order = np.argsort(temp_c, kind="stable")
    edge, rests = temp_c[order], idle[order]
    wrong = np.cumsum(rests) - rests + np.cumsum((~rests)[::-1])[::-1]
    at = int(np.argmin(wrong))
    return float(edge[max(at - 1, 0)] + edge[at]) / 2.0
