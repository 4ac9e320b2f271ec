"""How sure a figure is: propagation after the GUM, meters, and savings after ASHRAE Guideline 14.

GUM is JCGM 100:2008 (ISO/IEC Guide 98-3). The savings formulas are an approximation in the style
of Guideline 14: a published comparison found its annex at odds with the older literature.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import t as student

from analysis.base.errors import StokeholdError
from analysis.readings.readings import FloatArray

Kind = Literal["daily", "billing"]

COVERAGE_95 = 2.0
"""Expanded uncertainty is twice the standard one, as GUM 6.3.3 allows."""


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value known only to lie within +-half_width (GUM 4.3.7)."""
    return half_width / float(np.sqrt(3.0))


def combined(
    sensitivity: ArrayLike, uncertainty: ArrayLike, correlation: ArrayLike | None = None
) -> float:
    """Combined standard uncertainty of a result of several inputs (GUM eq. 16).

    Parameters
    ----------
    sensitivity, uncertainty : array_like, shape (n,)
        Partial derivatives, and standard uncertainties of the inputs.
    correlation : array_like, shape (n, n), optional
        Correlation of the inputs; by default they are independent.
    """
    part = np.asarray(sensitivity, float) * np.asarray(uncertainty, float)
    r = np.eye(len(part)) if correlation is None else np.asarray(correlation, float)
    return float(np.sqrt(max(part @ r @ part, 0.0)))


def propagate(
    model: Callable[[FloatArray], ArrayLike], inputs: ArrayLike, covariance: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Results of a model of several inputs, and their covariance (GUM 5.2, H.2).

    Derivatives are taken numerically, by a hundredth of an input's uncertainty.

    Parameters
    ----------
    model : callable
        From an array of inputs to one result or several.
    inputs : array_like, shape (n,)
        Best values.
    covariance : array_like, shape (n, n)
        Of the inputs.

    Returns
    -------
    results : ndarray, shape (m,)
    covariance : ndarray, shape (m, m)
    """
    best, spread = np.asarray(inputs, float), np.asarray(covariance, float)
    step = np.sqrt(np.diag(spread)) / 100.0
    slopes = []
    for k, h in enumerate(np.where(step > 0, step, 1e-9)):
        shift = np.zeros(len(best))
        shift[k] = h
        above, below = (np.atleast_1d(np.asarray(model(best + s))) for s in (shift, -shift))
        slopes.append((above - below) / (2 * h))
    jacobian = np.stack(slopes, axis=1)
    return np.atleast_1d(np.asarray(model(best), float)), jacobian @ spread @ jacobian.T


def expansion(confidence: float, freedom: float = np.inf) -> float:
    """Two-sided quantile of Student's distribution: t for a confidence, degrees of freedom."""
    return float(student.ppf(0.5 + confidence / 2, freedom))


def effective_freedom(uncertainty: Sequence[float], freedom: Sequence[float]) -> float:
    """Effective degrees of freedom of a combined uncertainty (Welch-Satterthwaite, GUM G.2b)."""
    u, v = np.asarray(uncertainty, float), np.asarray(freedom, float)
    return float((u**2).sum() ** 2 / (u**4 / v).sum())


# meters


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """What a plug's power reading may be wrong by, as half-widths.

    `gain` is a share of the reading, `offset_w` and the display's `step_w` in W.
    The defaults are common practice for consumer plugs, no standard: at low
    power factor they read up to an eighth too little.
    """

    gain: float = 0.02
    offset_w: float = 0.5
    step_w: float = 0.1

    def uncertainty_w(self, power_w: float) -> float:
        """Standard uncertainty of one reading [W]."""
        parts = (self.gain * power_w, self.offset_w, self.step_w / 2)
        return rectangular(float(np.sqrt(sum(one * one for one in parts))))


def difference_uncertainty_w(
    meter: Meter, before_w: float, after_w: float, *, same_plug: bool
) -> float:
    """Standard uncertainty of a difference of two mean powers [W].

    One and the same plug errs by the same share and the same offset both
    times: the offset cancels, and only the difference bears the share. The
    display's step is averaged out by many readings and left out.
    """
    if same_plug:
        return rectangular(meter.gain * abs(before_w - after_w))
    steady = Meter(gain=meter.gain, offset_w=meter.offset_w, step_w=0.0)
    return combined((1.0, -1.0), [steady.uncertainty_w(p) for p in (before_w, after_w)])


# savings against a model of the time before


def lag1(residuals: ArrayLike, *, in_time_order: bool) -> float:
    """Autocorrelation of residuals at a lag of one step.

    Raises
    ------
    StokeholdError
        They are not in the order of time, where it has no meaning.
    """
    if not in_time_order:
        raise StokeholdError(
            "residuals sorted by something else than time have no autocorrelation; "
            "give them in the order they were measured"
        )
    e = np.asarray(residuals, float)
    e = e - e.mean()
    total = float(e @ e)
    return float(e[1:] @ e[:-1]) / total if total > 0 else 0.0


def effective_count(n: float, autocorrelation: float) -> float:
    """Independent points that n autocorrelated ones are worth: n (1 - rho) / (1 + rho)."""
    return n * (1.0 - autocorrelation) / (1.0 + autocorrelation)


_SUN_BALTAZAR: dict[Kind, tuple[float, float, float]] = {
    "billing": (-0.00022, 0.03306, 0.94054),
    "daily": (-0.00024, 0.03535, 1.00286),
}
GUIDELINE_FACTOR = 1.26


def improved_factor(months: float, kind: Kind) -> float:
    """Factor by Sun and Baltazar (2013) that replaces 1.26, by months reported.

    References
    ----------
    CalTRACK Methods 2.0, 4.3.2.4.6.
    """
    a, b, c = _SUN_BALTAZAR[kind]
    return a * months**2 + b * months + c


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """A model of the time before, held against the time after.

    `cv` is the model's coefficient of variation of the root-mean-square error,
    `before` and `after` the numbers of points, `autocorrelation` that of the
    model's residuals (0 for monthly models).
    """

    cv: float
    before: float
    after: float
    autocorrelation: float = 0.0

    def relative_uncertainty(self, t: float, factor: float = GUIDELINE_FACTOR) -> float:
        """Uncertainty of avoided use as a share of the use predicted for the time after."""
        n, m = self.before, self.after
        independent = effective_count(n, self.autocorrelation)
        spread = n / independent * (1 + 2 / independent) / m
        return t * factor * self.cv * float(np.sqrt(spread))

    def savings_uncertainty(
        self, fraction: float, t: float, factor: float = GUIDELINE_FACTOR
    ) -> float:
        """Fractional savings uncertainty for a saving of this share, at this t.

        References
        ----------
        ASHRAE Guideline 14, as restated in CalTRACK Methods 2.0, 4.3.2.4; approximate.
        """
        return self.relative_uncertainty(t, factor) / fraction


def variation(measured: ArrayLike, modelled: ArrayLike, parameters: int) -> float:
    """CV(RMSE): root-mean-square error over the mean (CalTRACK 4.3.2.2)."""
    y, model = np.asarray(measured, float), np.asarray(modelled, float)
    error = float(np.sqrt(((y - model) ** 2).sum() / (len(y) - parameters)))
    return error / float(y.mean())


def mean_bias(measured: ArrayLike, modelled: ArrayLike, parameters: int) -> float:
    """NMBE: mean of measured minus modelled over the mean (sign as in Guideline 14)."""
    y, model = np.asarray(measured, float), np.asarray(modelled, float)
    return float((y - model).sum()) / ((len(y) - parameters) * float(y.mean()))


def portfolio_uncertainty(uncertainty: ArrayLike, saving: ArrayLike) -> float:
    """Fractional uncertainty of many savings together (CalTRACK 4.3.2.4)."""
    u = np.asarray(uncertainty, float)
    return float(np.sqrt((u**2).sum())) / float(np.asarray(saving, float).sum())
