"""Hours at rated input that houses use in a year: what is held of a boiler's year beforehand."""

import numpy as np

from analysis.readings.readings import FloatArray

FULL_H, HEATING_H = 1500.0, 1450.0
"""Hours a year at rated input with hot water, and for heating alone: 1,000 to 2,200 are usual, as
boilers are sized (common practice, no source)."""
SPREAD = 0.4
"""Spread of the hours' logarithm."""


def as_sized(kwh: FloatArray, input_kw: float) -> FloatArray:
    """Possible years drawn anew by how usual they are for a boiler of this size.

    By Student's t with four degrees of freedom, so that measured days of an unusual house stand
    against it; where a season was seen the possibilities hardly part, and little changes.

    Parameters
    ----------
    kwh : ndarray
        Possible years [kWh], equally likely as far as the days seen tell.
    input_kw : float
        Rated heat input [kW].
    """
    off = np.log(np.maximum(kwh, 1e-3) / (input_kw * FULL_H)) / SPREAD
    reach = np.cumsum((1.0 + off**2 / 4.0) ** -2.5)
    ordered = (np.arange(len(kwh)) + 0.5) / len(kwh) * reach[-1]
    at = np.minimum(np.searchsorted(reach, ordered), len(kwh) - 1)
    return np.asarray(kwh[at], np.float64)
