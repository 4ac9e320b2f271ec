"""A machine's year from any stretch of its days: the season is in the figure, and in its interval.

A day's use is taken as ``base + more * demand``, where demand grows from nothing on days above a
heating limit to its whole on days some kelvin colder. Where heating begins, how soon it is whole,
the climate and the year's weather are not known: many possibilities are drawn, each is weighed by
how well it explains the days measured, and the year is read off all of them.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, logsumexp

from analysis.climate import TROPICAL_YEAR, YEAR_DAYS, day_numbers
from analysis.habits import AWAY, BOILER, WATER, Habit, heating
from analysis.levels import BoolArray
from analysis.readings import FloatArray, IntArray
from analysis.season_weather import (
    POSSIBILITIES,
    History,
    SeasonWeather,
    season_weather,
)
from analysis.signature import memory_of

_DRAWS = 3000
_REACH = (0.18, 0.25)
"""Relative spread for each e-fold by which the rest of the year uses more than was seen: little
demand says little of a great one (tried on rehearsed houses; the second, of pumps whose power
follows the valves, on a measured one)."""
_RESTS = 0.05
"""A machine that rests longer than this share of the time is switched by clock or demand."""


def habits_of(history: History) -> tuple[Habit, ...]:
    """Return the habits to be expected.

    What was seen resting is not always on, whatever the plant file says.
    """
    if history.kind != "heating":
        return WATER if history.kind == "water" else BOILER
    return heating(
        is_steady=history.is_steady,
        is_always_on=history.is_always_on and history.rests < 0.1,
        rests=history.rests > _RESTS,
        is_switched=history.is_switched,
    )


@dataclass(frozen=True, slots=True, eq=False)
class YearDraws:
    """Energy of the year, one figure for each possibility [kWh].

    Attributes
    ----------
    kwh : ndarray
        Possibilities, equally likely.
    measured_days : int
        Days of that year that were measured.
    words : str
        How the machine seems to go through the year.
    """

    kwh: FloatArray
    measured_days: int
    words: str


def year_draws(history: History) -> YearDraws:
    """Energy of the year in which the history lies, its unmeasured days from the season.

    The year begins with the history; of a longer one it is the last 365 days.

    Parameters
    ----------
    history : History
        At least one known day.
    """
    days = history.days
    numbers = day_numbers(days.start_ms)
    first = max(int(numbers[0]), int(numbers[-1]) - YEAR_DAYS + 1)
    measured = np.full(YEAR_DAYS, np.nan)
    inside = numbers >= first
    measured[numbers[inside] - first] = days.value[inside]
    known = np.isfinite(measured)
    missing = ~known
    if known.sum() >= YEAR_DAYS - 5:
        total = float(np.nansum(measured)) * YEAR_DAYS / int(known.sum())
        return YearDraws(np.full(_DRAWS, total), int(known.sum()), "a whole year measured")
    weather = season_weather(history, first)
    chosen = _choose(_fits(weather, history), weather, missing)
    number = int(missing.sum())
    noise = chosen.scatter * np.sqrt(number) * chosen.kick
    usual = max(float(np.nanmean(history.days.value)), 0.01 * history.full_kwh[0])
    reach = np.log(np.maximum(chosen.rest / max(number, 1) / usual, 1.0))
    unsure = _REACH[0] if history.is_steady else _REACH[1]
    drift = 1.0 + np.hypot(chosen.drift, unsure * reach) * chosen.kick_of_model
    total = float(np.nansum(measured)) + np.maximum(chosen.rest * drift + noise, 0.0)
    return YearDraws(total, int(known.sum()), chosen.words)


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
class _Fit:
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


def _fits(weather: SeasonWeather, history: History) -> list[_Fit]:
    """Fit each habit to the days.

    How much the days tell is the same for all: it is told by what the best of them leaves, as
    evidence of different weights cannot be compared.
    """
    habits = habits_of(history)
    columns = [weather.of_days(habit) for habit in habits]
    there = history.days.known & np.isfinite(columns).all(axis=(0, 1, 2))
    if history.kind == "water":
        there &= _at_home(history)
    use = history.days.value[there]
    at = day_numbers(history.days.start_ms)[there].astype(np.float64)
    looks = [
        _look(habit, one[:, :, there], use, at=at, full=_full(weather, history, habit))
        for habit, one in zip(habits, columns, strict=True)
    ]
    inflation = min(looks, key=lambda look: look.left).inflation
    stays = 1.0 - _away(history, use)
    return [_fit(look, use, inflation=inflation, stays=stays) for look in looks]


def _full(weather: SeasonWeather, history: History, habit: Habit) -> FloatArray:
    """Energy of a day in season [kWh]: that of the busiest days where they were such."""
    use = history.days.value[history.days.known]
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


def _fit(look: _Look, use: FloatArray, *, inflation: float, stays: float) -> _Fit:
    """Bayesian straight line in closed form, for every drawn possibility at once.

    The scatter is the one about the possibilities that fit best, by the first look.
    """
    habit, full = look.habit, look.full
    mean, covariance, evidence = _line(
        use, look.columns, habit, full=full, variance=look.variance * inflation
    )
    evidence = evidence - 0.5 * len(use) / inflation * np.log(look.variance)
    relative = max(float(np.sqrt(look.left / len(use))) / look.usual, 0.1)
    evidence = evidence + np.log(habit.chance) - 0.5 * (np.log(relative) / _UNREST) ** 2
    above = (mean[:, 0] - habit.least * full) / np.sqrt(covariance[:, 0, 0])
    return _Fit(
        habit,
        full,
        mean,
        np.asarray(np.linalg.cholesky(covariance), np.float64),
        evidence + (log_ndtr(above) if habit.least else 0.0),
        stays,
        float(np.sqrt(look.variance * inflation)),
    )


def _away(history: History, use: FloatArray) -> float:
    """Share of the year without draws; a pump that runs by the clock does so in an empty house."""
    by_draws = history.kind == "water" and float(use.std()) > 0.1 * float(use.mean())
    return AWAY if by_draws else 0.0


def _at_home(history: History) -> BoolArray:
    """Days that are none of a holiday: those of more than half the usual draw."""
    use = history.days.value
    return np.asarray(np.nan_to_num(use) > 0.5 * np.nanmedian(use)) | ~(np.nanmedian(use) > 0)


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


@dataclass(frozen=True, slots=True, eq=False)
class _Chosen:
    """Possibilities drawn by their weight; `rest` the year's days not measured [kWh]."""

    rest: FloatArray
    scatter: FloatArray
    drift: FloatArray
    kick: FloatArray
    kick_of_model: FloatArray
    words: str


def _choose(fits: list[_Fit], weather: SeasonWeather, missing: BoolArray) -> _Chosen:
    rng = np.random.default_rng(11)
    evidence = np.concatenate([_spread_out(one.evidence) for one in fits])
    chance = np.exp(evidence - evidence.max())
    pick = rng.choice(len(evidence), size=5 * _DRAWS, p=chance / chance.sum())
    full = np.concatenate([one.full for one in fits])[pick]
    which = pick // POSSIBILITIES
    mean = np.concatenate([one.mean for one in fits])[pick]
    root = np.concatenate([one.root for one in fits])[pick]
    rows = mean + np.einsum("kij,kj->ki", root, rng.standard_normal((len(pick), 2)))
    least = np.array([one.habit.least or -0.01 for one in fits])[which]
    sound = (rows[:, 0] >= least * full) & (rows[:, 1] >= -0.01 * full)
    sound &= rows.sum(axis=1) <= 1.3 * full
    order = np.argsort(~sound, kind="stable")[:_DRAWS]
    order = order[np.arange(_DRAWS) % max(int(sound.sum()), 1)]
    shares = np.bincount(which[order], minlength=len(fits)) / _DRAWS
    sums = _of_rest(fits, weather, missing, pick[order])
    return _Chosen(
        (np.maximum(rows[order], 0.0).T * sums).sum(axis=0),
        np.array([one.scatter for one in fits])[which[order]],
        np.array([one.habit.drift for one in fits])[which[order]],
        rng.standard_normal(_DRAWS),
        rng.standard_normal(_DRAWS),
        _words(fits, shares),
    )


_LEAST_ALIKE = 25.0
"""Possibilities of a habit that share its weight at least."""


def _spread_out(evidence: FloatArray) -> FloatArray:
    """Evidence of a habit's possibilities, flattened until no few of them bear all the weight.

    They are drawn with gaps between them, and none is a house as it is: where hundreds of hours
    leave one or two, these are the nearest of those drawn and not the only ones that could be.
    The habit as a whole keeps its weight.
    """
    whole = logsumexp(evidence)
    power = 1.0
    while _alike(power * evidence) < min(_LEAST_ALIKE, 0.5 * len(evidence)):
        power *= 0.8
    flat = power * evidence
    return np.asarray(flat - logsumexp(flat) + whole)


def _alike(evidence: FloatArray) -> float:
    """How many equal weights tell as much as these (Kish's effective sample size)."""
    return float(np.exp(2.0 * logsumexp(evidence) - logsumexp(2.0 * evidence)))


def _of_rest(
    fits: list[_Fit], weather: SeasonWeather, missing: BoolArray, pick: IntArray
) -> FloatArray:
    """Drivers of the drawn possibilities summed over the days not measured, shape (2, draws)."""
    sums = np.empty((2, len(pick)))
    for number, one in enumerate(fits):
        mine = pick // POSSIBILITIES == number
        if mine.any():
            rows = pick[mine] % POSSIBILITIES
            sums[:, mine] = one.stays * weather.of_year(one.habit, missing, rows)
    return sums


def _words(fits: list[_Fit], shares: FloatArray) -> str:
    likely = int(np.argmax(shares))
    return f"{fits[likely].habit.words} ({shares[likely]:.0%} likely)"


def heating_share(day: FloatArray) -> FloatArray:
    """Share of the yearly heating demand by day of the year, from the monthly shares of practice.

    Parts in a thousand from January to December: 170, 150, 130, 80, 40, 40/3,
    40/3, 40/3, 30, 80, 120, 160 (VDI 2067, from memory). A check for the
    demand drawn here, and a figure for those who want one.
    """
    parts = np.array([170, 150, 130, 80, 40, 40 / 3, 40 / 3, 40 / 3, 30, 80, 120, 160]) / 1000
    length = np.array([31, 28.2425, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    month = np.searchsorted(np.cumsum(length), np.asarray(day) % TROPICAL_YEAR, side="right")
    return np.asarray((parts / length)[np.minimum(month, 11)])
