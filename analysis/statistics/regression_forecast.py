"""What a fitted energy signature tells of other days: sums over known days, and a usual year."""

import numpy as np
from numpy.typing import ArrayLike

from analysis.base.estimate import Estimate
from analysis.readings.readings import FloatArray
from analysis.statistics.change_point_regression import Signature, lack_k


def totals(signature: Signature, temp_c: ArrayLike, *, seed: int = 1) -> FloatArray:
    """Sums of use over days of given temperatures, one for each drawn signature.

    Parameters
    ----------
    signature : Signature
        The fit.
    temp_c : array_like, shape (days,) or (years, days)
        Temperatures of the days that are known [Cel], or years that could
        come, of which each draw takes one.
    seed : int
        Source of chance.

    Returns
    -------
    ndarray, shape (m,)
        Sums, with the scatter of single days in them.
    """
    rng = np.random.default_rng(seed)
    temp = np.atleast_2d(np.asarray(temp_c, float))
    base, slope, change = signature.draws.T
    year = rng.permutation(len(base)) % len(temp)
    driven = np.array(
        [
            float(lack_k(signature.shape, temp[y], c).sum())
            for y, c in zip(year, change, strict=True)
        ]
    )
    number = temp.shape[1]
    scatter = signature.residual_sd * np.sqrt(number * signature.memory.inflation)
    noise = scatter * rng.standard_normal(len(base))
    return np.asarray(base * number + slope * driven + noise, np.float64)


def predicted_total(
    signature: Signature, temp_c: ArrayLike, *, confidence: float = 0.95
) -> Estimate:
    """Use over days of given temperatures, as the signature predicts it.

    Parameters
    ----------
    signature : Signature
        The fit.
    temp_c : array_like, shape (days,)
        Mean outdoor temperature of the days [Cel].
    confidence : float
        Of the interval, in which the measured sum should lie.
    """
    temp = np.asarray(temp_c, float)
    value = float(signature.use_at(temp).sum())
    low, high = _interval(totals(signature, temp), confidence)
    basis = f"signature of {signature.points} days on {len(temp)} others"
    return Estimate(value, min(low, value), max(high, value), signature.unit, basis, confidence)


def normal_use(signature: Signature, years_c: ArrayLike, *, confidence: float = 0.95) -> Estimate:
    """Use in a year of the place's weather.

    Parameters
    ----------
    signature : Signature
        The fit.
    years_c : array_like, shape (years, 365)
        Daily temperatures of years that could come, see `analysis.weather.degree_days.drawn_years`.
    confidence : float
        Of the interval, in which a coming year's use should lie.
    """
    sums = totals(signature, years_c)
    low, high = _interval(sums, confidence)
    basis = f"signature of {signature.points} days on years of this climate"
    return Estimate(float(np.median(sums)), low, high, signature.unit, basis, confidence)


def _interval(sums: FloatArray, confidence: float) -> tuple[float, float]:
    tail = (1.0 - confidence) / 2.0
    low, high = np.quantile(sums, (tail, 1.0 - tail))
    return float(low), float(high)
