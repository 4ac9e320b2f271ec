"""Energy signature: use per day against outdoor temperature, its change point found, not assumed.

The model is that of three parameters, ``base_use + slope * max(change_c - temp_c, 0)``: what is
used on warm days, what each kelvin below the change point adds, and where heating begins.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import minimize_scalar

from analysis.base.errors import AnalysisError
from analysis.base.estimate import Estimate
from analysis.readings.readings import FloatArray

Shape = Literal["knee", "line", "flat"]
_CHANGE_C = (2.0, 24.0)
_DRAWS = 1500
_PARAMETERS: dict[Shape, int] = {"knee": 3, "line": 2, "flat": 1}
_GRID_C = np.arange(_CHANGE_C[0], _CHANGE_C[1] + 0.01, 0.25)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """What is held of a signature beforehand, as means and standard deviations.

    Heating limits lie at 15 to 17 Cel (common practice, no source); they are
    held so loosely that data decide wherever they can. Where the scale of use
    is not known, slope and base are left to the data.
    """

    change_c: float = 15.5
    change_sd: float = 4.0
    base_use: float = 0.0
    base_sd: float = np.inf
    slope: float = 0.0
    slope_sd: float = np.inf


LOOSE = Prior()


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """Days (or weeks, months) with what was used per day in them.

    Attributes
    ----------
    temp_c : ndarray, shape (n,)
        Mean outdoor temperature [Cel].
    use : ndarray, shape (n,)
        Use per day [unit].
    at : ndarray, shape (n,), or None
        Number of each period in time; None where their order is not known.
    unit : str
        Unit of the use.
    """

    temp_c: FloatArray
    use: FloatArray
    at: FloatArray | None
    unit: str

    def __len__(self) -> int:
        return len(self.use)

    @classmethod
    def of(
        cls, temp_c: ArrayLike, use: ArrayLike, *, at: ArrayLike | None = None, unit: str = "kW.h"
    ) -> "Points":
        """Take the periods of which both figures are known."""
        temp, used = np.asarray(temp_c, float), np.asarray(use, float)
        there = np.isfinite(temp) & np.isfinite(used)
        order = None if at is None else np.asarray(at, float)[there]
        return cls(temp[there], used[there], order, unit)


@dataclass(frozen=True, slots=True)
class Memory:
    """How residuals hang together in time.

    `lag1` is the autocorrelation of neighbours, None where the order in time
    was not given, as it cannot be known then. `inflation` widens the variance
    of a sum: (1 + lag1) / (1 - lag1), or what sums over some days show if that
    is more, as what goes on for weeks escapes the neighbours.
    """

    lag1: float | None
    inflation: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Signature:
    """A fitted signature. `unit` is that of the use, per day (or whatever period was given).

    Attributes
    ----------
    shape : {"knee", "line", "flat"}
        A line has no change point: `base_use` is then the use at 0 Cel.
    base_use, slope : float
        Least squares [unit/d], [unit/d/K]; a positive slope uses more in the cold.
    change_c : float or None
        Change point [Cel].
    base_se, slope_se : float
        Standard errors at that change point, for independent residuals.
    residual_sd : float
        Root of the residuals' mean square over the degrees of freedom.
    memory : Memory
        How residuals hang together in time.
    draws : ndarray, shape (m, 3)
        Signatures (base_use, slope, change_c) that could be true, autocorrelation heeded.
    """

    shape: Shape
    unit: str
    base_use: float
    slope: float
    change_c: float | None
    base_se: float
    slope_se: float
    residual_sd: float
    memory: Memory
    points: int
    mean_use: float
    r_squared: float
    draws: FloatArray

    @property
    def parameters(self) -> int:
        """Number of fitted parameters."""
        return _PARAMETERS[self.shape]

    @property
    def cv_rmse(self) -> float:
        """Residual spread over mean use, CV(RMSE) as in ASHRAE Guideline 14."""
        return self.residual_sd / self.mean_use if self.mean_use else float("inf")

    @property
    def effective_points(self) -> float:
        """Number of independent points the data are worth."""
        return self.points / self.memory.inflation

    def use_at(self, temp_c: ArrayLike) -> FloatArray:
        """Use on days of these mean outdoor temperatures [unit/d]."""
        change = 0.0 if self.change_c is None else self.change_c
        return self.base_use + self.slope * lack_k(self.shape, temp_c, change)

    def interval(self, of: Literal["base_use", "slope", "change_c"]) -> Estimate:
        """One of the parameters with its interval.

        Where least squares alone give what cannot be, a negative base for
        want of warm days, the middle of what could be true stands for them.
        """
        column = {"base_use": 0, "slope": 1, "change_c": 2}[of]
        unit = {"base_use": f"{self.unit}/d", "slope": f"{self.unit}/d/K", "change_c": "Cel"}[of]
        value = getattr(self, of)
        if value is None:
            return Estimate.unknown(unit, "no change point within the temperatures seen")
        low, middle, high = np.quantile(self.draws[:, column], (0.025, 0.5, 0.975))
        if self.shape != "line" and (self.base_use < 0 or self.slope < 0):
            value = middle
        basis = f"signature of {self.points} days"
        return Estimate(float(value), float(min(low, value)), float(max(high, value)), unit, basis)


def lack_k(shape: Shape, temp_c: ArrayLike, change_c: ArrayLike) -> FloatArray:
    """What drives the use: kelvin below the change point, or below 0 Cel for a line."""
    temp = np.asarray(temp_c, float)
    if shape == "flat":
        return np.zeros_like(temp)
    if shape == "line":
        return -temp
    lack: FloatArray = np.asarray(change_c, float) - temp
    return np.maximum(lack, 0.0)


def fit_signature(
    points: Points, *, shape: Shape = "knee", prior: Prior = LOOSE, is_drawn: bool = True
) -> Signature:
    """Fit a signature by least squares, and draw those that could be true.

    Parameters
    ----------
    points : Points
        Days with their temperature and use. Without their order in time
        residuals are taken as independent.
    shape : {"knee", "line", "flat"}
        The model.
    prior : Prior
        What is held beforehand; it shapes the draws, not the least squares.
    is_drawn : bool
        Whether to draw; a fit of which only the line is wanted needs none, and has no intervals.

    Raises
    ------
    AnalysisError
        Fewer than eight points.
    """
    if len(points) < 8:
        raise AnalysisError(f"a signature needs 8 days or more, {len(points)} are known")
    change = _best_change(points) if shape == "knee" else 0.0
    fit = _least_squares(shape, points, change)
    spread = float(np.sqrt(fit.squares / max(len(points) - _PARAMETERS[shape], 1)))
    memory = memory_of(fit.residual, points.at)
    total = float(((points.use - points.use.mean()) ** 2).sum())
    return Signature(
        shape=shape,
        unit=points.unit,
        base_use=fit.base,
        slope=fit.slope,
        change_c=change if shape == "knee" else None,
        base_se=spread * fit.base_root,
        slope_se=spread * fit.slope_root,
        residual_sd=spread,
        memory=memory,
        points=len(points),
        mean_use=float(points.use.mean()),
        r_squared=1.0 - fit.squares / total if total > 0 else 0.0,
        draws=_draws(shape, points, prior, spread=spread, inflation=memory.inflation)
        if is_drawn
        else np.empty((0, 3)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    base: float
    slope: float
    base_root: float
    slope_root: float
    squares: float
    residual: FloatArray


def _least_squares(shape: Shape, points: Points, change: float) -> _Fit:
    """Straight least squares at a given change point; the roots turn a spread into an error."""
    used, lack = points.use, lack_k(shape, points.temp_c, change)
    middle = lack.mean()
    wide = float(((lack - middle) ** 2).sum())
    slope = float(((lack - middle) * used).sum() / wide) if wide > 1e-12 else 0.0
    base = float(used.mean() - slope * middle)
    residual = used - base - slope * lack
    slope_root = wide**-0.5 if wide > 1e-12 else 0.0
    base_root = float(np.sqrt(1.0 / len(used) + (middle * slope_root) ** 2))
    return _Fit(base, slope, base_root, slope_root, float((residual**2).sum()), residual)


def _best_change(points: Points) -> float:
    """Change point of least squares: over a grid of all, then exactly about the best."""
    inside = _GRID_C[np.sort(points.temp_c)[2] < _GRID_C]
    if not len(inside):
        return float(_CHANGE_C[1])

    def squares(change: float) -> float:
        return _least_squares("knee", points, change).squares

    found = [squares(c) for c in inside]
    best = float(inside[int(np.argmin(found))])
    near = minimize_scalar(
        squares, bounds=(best - 0.3, best + 0.3), method="bounded", options={"xatol": 1e-7}
    )
    return float(near.x) if near.fun < min(found) else best


def memory_of(residual: FloatArray, order: FloatArray | None) -> Memory:
    """Autocorrelation of residuals; pairs across a gap do not count."""
    if order is None:
        return Memory(None, 1.0)
    sequence = np.argsort(order, kind="stable")
    row, at = residual[sequence], order[sequence]
    power = float((row**2).mean())
    lags = range(1, min(len(row) // 4, 21) + 1)
    found = [_lagged(row, at, lag, power) for lag in lags]
    if not found or power <= 0:
        return Memory(0.0, 1.0)
    near = min(max(found[0], 0.0), 0.95)
    taper = 1.0 - np.arange(1, len(found) + 1) / (len(found) + 1)
    far = 1.0 + 2.0 * float((taper * found).sum())
    return Memory(found[0], max((1.0 + near) / (1.0 - near), far))


def _lagged(row: FloatArray, at: FloatArray, lag: int, power: float) -> float:
    """Autocorrelation at one lag, over pairs that lie just so far apart."""
    pair = at[lag:] - at[:-lag] == lag
    if pair.sum() < 5 or power <= 0:
        return 0.0
    return float((row[lag:][pair] * row[:-lag][pair]).mean() / power)


def _draws(
    shape: Shape, points: Points, prior: Prior, *, spread: float, inflation: float
) -> FloatArray:
    """Draw signatures from their posterior: the change point first, then base and slope.

    At each change point base and slope are normal with the marginal likelihood
    in closed form; the variance is that of the residuals, widened by their
    memory, with its own uncertainty. Neither base nor slope is negative, save
    that a line's may be.
    """
    rng = np.random.default_rng([len(points), _DRAWS])
    least = 1e-12 * float((points.use**2).mean()) + 1e-30
    variance = max(spread**2, least) * inflation
    grid = _GRID_C if shape == "knee" else np.array([0.0])
    posts = [_posterior(points.use, lack_k(shape, points.temp_c, c), variance, prior) for c in grid]
    weight = np.array([one.log_likelihood for one in posts])
    if shape == "knee":
        weight -= 0.5 * ((grid - prior.change_c) / prior.change_sd) ** 2
    chance = np.exp(weight - weight.max())
    pick = rng.choice(len(grid), size=6 * _DRAWS, p=chance / chance.sum())
    freedom = max(len(points) / inflation - 3.0, 2.0)
    wide = np.sqrt(freedom / rng.chisquare(freedom, size=len(pick)))
    kick = rng.standard_normal((len(pick), 2)) * wide[:, None]
    mean = np.array([one.mean for one in posts])[pick]
    root = np.array([one.root for one in posts])[pick]
    step = (rng.random(len(pick)) - 0.5) * 0.25 if shape == "knee" else np.zeros(len(pick))
    rows = np.column_stack([mean + np.einsum("kij,kj->ki", root, kick), grid[pick] + step])
    return _possible(rows, may_be_negative=shape == "line")


def _possible(rows: FloatArray, *, may_be_negative: bool) -> FloatArray:
    """Rows whose base and slope make sense; where hardly any does, the nearest that do."""
    good = (rows[:, :2] >= 0).all(axis=1) | may_be_negative
    kept = rows[good] if good.sum() >= 200 else np.maximum(rows, [0.0, 0.0, -99.0])
    return kept[np.arange(_DRAWS) % len(kept)]


@dataclass(frozen=True, slots=True, eq=False)
class _Posterior:
    """Base and slope at one change point: mean, root of covariance, log likelihood."""

    mean: FloatArray
    root: FloatArray
    log_likelihood: float


def _posterior(used: FloatArray, lack: FloatArray, variance: float, prior: Prior) -> _Posterior:
    scale = 30.0 * max(float(np.abs(used).max()), 1e-9)
    centre = np.array([prior.base_use, prior.slope])
    known = np.array([min(prior.base_sd, scale), min(prior.slope_sd, scale)]) ** -2.0
    columns = np.column_stack([np.ones_like(lack), lack])
    precision = columns.T @ columns / variance + np.diag(known)
    right = columns.T @ used / variance + known * centre
    mean = np.linalg.solve(precision, right)
    left = float((used**2).sum() / variance + (known * centre**2).sum() - right @ mean)
    log_det = float(np.linalg.slogdet(precision)[1])
    root = np.asarray(np.linalg.cholesky(np.linalg.inv(precision)), np.float64)
    return _Posterior(mean, root, -0.5 * (left + log_det))


def best_shape(points: Points) -> Shape:
    """Whether use depends on the temperature at all: a knee, or flat, by Schwarz's criterion.

    Points are counted at what they are worth with their autocorrelation.
    """
    if len(points) < 8:
        return "flat"
    knee = _least_squares("knee", points, _best_change(points))
    flat = _least_squares("flat", points, 0.0)
    worth = len(points) / memory_of(knee.residual, points.at).inflation
    gain = worth * np.log(max(flat.squares, 1e-30) / max(knee.squares, 1e-30))
    return "knee" if gain > 2.0 * np.log(worth) and knee.slope > 0 else "flat"
