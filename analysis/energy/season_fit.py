"""How well each possible season explains a machine's days: a straight line in closed form."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import log_ndtr

from analysis.energy.absence import away_days, share_at_home
from analysis.energy.season_weather import POSSIBILITIES, History, SeasonWeather
from analysis.energy.use_patterns import Habit
from analysis.readings.readings import FloatArray
from analysis.statistics.change_point_regression import memory_of
from analysis.weather.degree_days import YEAR_DAYS, day_numbers

_BUSY = 0.4
"""A day of this share of full power and more was one of the season."""
_WORTH = 4.0
"""Days that the usual scatter of a habit counts for, beside those measured."""


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """First look at a habit, with its usual scatter: drivers on the days, and what it leaves.

    `usual` is that scatter and `variance` the one about the possibility that fits best [kWh];
    `inflation` tells the memory of what is left.
    """

    habit: Habit
    columns: FloatArray
    full: FloatArray
    usual: float
    left: float
    variance: float
    inflation: float


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """What the drivers bear under each possibility, for one habit: normal, with log evidence.

    `stays` is the share of its drivers that is called for: nobody draws water while away.
    """

    habit: Habit
    full: FloatArray
    mean: FloatArray
    root: FloatArray
    evidence: FloatArray
    stays: float
    scatter: float


def fits_of(weather: SeasonWeather, history: History, habits: tuple[Habit, ...]) -> list[Fit]:
    """Fit each habit to the days.

    How much the days tell is the same for all: it is told by what the best of them leaves, as
    evidence of different weights cannot be compared.
    """
    columns = [weather.of_days(habit) for habit in habits]
    there = history.days.known & np.isfinite(columns).all(axis=(0, 1, 2))
    if history.kind == "water":
        there &= ~away_days(history.days.value)
    use = history.days.value[there]
    at = day_numbers(history.days.start_ms)[there].astype(np.float64)
    looks = []
    for habit, one in zip(habits, columns, strict=True):
        full = _full(weather, history, habit)
        quiet = _quieted(habit, use, weather.unseen(habit) * float(full.mean()))
        looks.append(_look(quiet, one[:, :, there], use, at=at, full=full))
    inflation = min(looks, key=lambda look: look.left).inflation
    stays = 1.0
    if history.kind == "water":
        stays = share_at_home(history.days.value, YEAR_DAYS - int(history.days.known.sum()))
    return [_fit(look, use, inflation=inflation, stays=stays) for look in looks]


_FEW_DAYS = 8
_STILL, _LEAST_KEPT = 0.005, 1e-4


def _quieted(habit: Habit, use: FloatArray, unseen_kwh: float) -> Habit:
    """A habit whose rise with the load is no greater than the days' own unrest lets it be.

    Where no weather was measured it was there all the same: days that hardly differ through
    weeks of it are those of a machine that does not follow it.

    Parameters
    ----------
    habit : Habit
        As held beforehand.
    use : ndarray
        Energy of the days [kWh].
    unseen_kwh : float
        By how much days would wander if the rise bore all of a day at full power [kWh].
    """
    # days at rest tell nothing of a rise
    if unseen_kwh <= 0 or len(use) < _FEW_DAYS or not use.mean() > 0:
        return habit
    most = max(float(use.std()), _STILL * float(use.mean())) / unseen_kwh
    middle, spread = habit.second
    kept = max(most**2 / (most**2 + spread**2), _LEAST_KEPT)
    return replace(habit, second=(middle * kept, spread * kept**0.5))


def _full(weather: SeasonWeather, history: History, habit: Habit) -> FloatArray:
    """Energy of a day in season [kWh]: that of the busiest days where they were such."""
    use = history.days.value[history.days.known]
    if history.kind == "water":
        use = history.days.value[history.days.known & ~away_days(history.days.value)]
    busy = float(np.quantile(use, 0.9))
    if habit.of_seen and np.median(use) > 0:
        return np.full(POSSIBILITIES, float(np.median(use)))
    if habit.shape in ("flat", "season") and busy > _BUSY * history.full_kwh[0]:
        return np.full(POSSIBILITIES, busy)
    return weather.full


def _look(
    habit: Habit, columns: FloatArray, use: FloatArray, *, at: FloatArray, full: FloatArray
) -> _Look:
    usual = habit.unrest * max(float(use.mean()), 0.02 * float(full.mean()))
    mean = _line(use, columns, habit, full=full, variance=usual**2)[0]
    residual = use - np.einsum("ikn,ki->kn", columns, mean)
    best = residual[np.argmin((residual**2).sum(axis=1))]
    square = float(best @ best)
    number = len(use)
    inflation = (number * memory_of(best, at).inflation + 8.0 * 2.0) / (number + 8.0)
    variance = (square + _WORTH * usual**2) / (number + _WORTH)
    return _Look(habit, columns, full, usual, square, variance, inflation)


def _fit(look: _Look, use: FloatArray, *, inflation: float, stays: float) -> Fit:
    """Bayesian straight line in closed form, for every drawn possibility at once.

    The scatter is the one about the possibilities that fit best, by the first look.
    """
    habit, full = look.habit, look.full
    mean, covariance, evidence = _line(
        use, look.columns, habit, full=full, variance=look.variance * inflation
    )
    evidence = evidence - 0.5 * len(use) / inflation * np.log(look.variance)
    relative = max(float(np.sqrt(look.left / len(use))) / look.usual, 0.1)
    evidence = evidence - 0.5 * (np.log(relative) / _UNREST) ** 2
    above = (mean[:, 0] - habit.least * full) / np.sqrt(covariance[:, 0, 0])
    return Fit(
        habit,
        full,
        mean,
        np.asarray(np.linalg.cholesky(covariance), np.float64),
        evidence + (log_ndtr(above) if habit.least else 0.0),
        stays,
        float(np.sqrt(look.variance * inflation)),
    )


def _line(
    use: FloatArray, columns: FloatArray, habit: Habit, *, full: FloatArray, variance: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, covariance and log evidence of what the drivers bear, in each possibility."""
    centre = full[:, None] * habit.centre
    held = np.linalg.inv(habit.covariance) / full[:, None, None] ** 2
    precision = held + np.einsum("ikn,jkn->kij", columns, columns) / variance
    right = np.einsum("ikn,n->ki", columns, use) / variance
    right += np.einsum("kij,kj->ki", held, centre)
    covariance = np.linalg.inv(precision)
    mean = np.einsum("kij,kj->ki", covariance, right)
    left = (use**2).sum() / variance + np.einsum("ki,kij,kj->k", centre, held, centre)
    left -= (right * mean).sum(axis=1)
    log_det = np.linalg.slogdet(precision)[1] - np.linalg.slogdet(held)[1]
    return mean, covariance, np.asarray(-0.5 * (left + log_det))


_UNREST = 0.7
"""Spread of the logarithm of how far days scatter about a habit, against what is usual."""
