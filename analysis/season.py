"""A machine's year from any stretch of its days: the season is in the figure, and in its interval.

A day's use is taken as ``base + more * demand``, where demand grows from nothing on days above a
heating limit to its whole on days some kelvin colder. Where heating begins, how soon it is whole,
the climate and the year's weather are not known: many possibilities are drawn, each is weighed by
how well it explains the days measured, and the year is read off all of them.
"""

from dataclasses import dataclass

import numpy as np

from analysis.climate import (
    TROPICAL_YEAR,
    YEAR_DAYS,
    Days,
    Years,
    belief_of_zone,
    day_of_year,
    drawn_years,
    sun_of_year,
)
from analysis.habits import (
    AWAY,
    BOILER,
    LOAD_K,
    WATER,
    Habit,
    Kind,
    Weathers,
    drawn_weathers,
    heating,
)
from analysis.levels import BoolArray
from analysis.readings import FloatArray, IntArray
from analysis.signature import memory_of
from analysis.timebase import DAY_MS

_NUMBER = 1000
_DRAWS = 3000
_NODES = np.polynomial.hermite_e.hermegauss(7)
_SPELLS_K = 3.2
_REACH = 0.25
"""Relative spread for each e-fold by which the rest of the year uses more than was seen: little
demand says little of a great one (tried on rehearsed houses)."""
_RESTS = 0.05
"""A machine that rests longer than this share of the time is switched by clock or demand."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class History:
    """What is known of one machine's days.

    Attributes
    ----------
    days : Days
        Energy per whole day [kWh]; NaN where unknown.
    outdoor : Days or None
        Daily mean outdoor temperature [Cel].
    full_kwh : tuple of float
        Energy of a day at full power [kWh], and the relative spread of that figure.
    is_steady : bool
        It draws nearly the same power whenever it runs, as an induction pump does.
    rests : float
        Share of the time it was seen at rest.
    kind : {"heating", "water", "boiler"}
        What drives it.
    is_always_on : bool
        The plant file says that it never rests.
    timezone : str
        The plant's zone.
    """

    days: Days
    outdoor: Days | None
    full_kwh: tuple[float, float]
    is_steady: bool
    rests: float
    kind: Kind
    is_always_on: bool
    timezone: str


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
    numbers = _day_numbers(days.start_ms)
    first = max(int(numbers[0]), int(numbers[-1]) - YEAR_DAYS + 1)
    measured = np.full(YEAR_DAYS, np.nan)
    inside = numbers >= first
    measured[numbers[inside] - first] = days.value[inside]
    known = np.isfinite(measured)
    missing = ~known
    if known.sum() >= YEAR_DAYS - 5:
        total = float(np.nansum(measured)) * YEAR_DAYS / int(known.sum())
        return YearDraws(np.full(_DRAWS, total), int(known.sum()), "a whole year measured")
    weather = _weather(history, first)
    habits = habits_of(history)
    fits = [_fit(weather, history, habit, missing=missing) for habit in habits]
    chosen = _choose(fits)
    number = int(missing.sum())
    noise = chosen.scatter * np.sqrt(number) * chosen.kick
    usual = max(float(np.nanmean(history.days.value)), 0.01 * history.full_kwh[0])
    reach = np.log(np.maximum(chosen.rest / max(number, 1) / usual, 1.0))
    drift = 1.0 + np.hypot(chosen.drift, _REACH * reach) * chosen.kick_of_model
    total = float(np.nansum(measured)) + np.maximum(chosen.rest * drift + noise, 0.0)
    return YearDraws(total, int(known.sum()), chosen.words)


def _day_numbers(start_ms: IntArray) -> IntArray:
    """Running number of local days, from their midnights."""
    return np.asarray((start_ms + DAY_MS // 2) // DAY_MS, np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class _Weather:
    """Weather of the days measured, and of the year in each possibility.

    `seen_c` is NaN where not measured; `full` what the machine could use a day
    in each possibility [kWh].
    """

    follows: Weathers
    seen_c: FloatArray
    years: Years
    year_c: FloatArray
    at: IntArray
    sun: FloatArray
    full: FloatArray
    is_known: bool

    def of_days(self, habit: Habit) -> FloatArray:
        """Both drivers on the days measured, shape (2, k, n)."""
        sun = self.sun[self.at]
        if self.is_known:
            return self.follows.columns(habit.shape, self.seen_c[None, :], sun)
        return _expected(self, habit, sun)

    def of_year(self, habit: Habit, days: BoolArray) -> FloatArray:
        """Both drivers summed over days of the year, shape (2, k)."""
        temp_c, sun = self.year_c[:, days], self.sun[days]
        return np.asarray(self.follows.columns(habit.shape, temp_c, sun).sum(axis=2))


def _weather(history: History, first: int) -> _Weather:
    """Draw heating limit, ranges, climate and weather."""
    rng = np.random.default_rng(7)
    follows = drawn_weathers(rng, _NUMBER)
    first_day = float(day_of_year(np.int64(first) * DAY_MS + DAY_MS // 2))
    belief = belief_of_zone(history.timezone)
    years = drawn_years(history.outdoor, belief, first_day, number=_NUMBER, seed=3)
    numbers = _day_numbers(history.days.start_ms)
    there = history.days.known
    seen = _seen_c(history.outdoor, numbers)
    sun = sun_of_year(first_day, belief)
    at = (numbers - first) % YEAR_DAYS
    kick, lift = rng.standard_normal((2, _NUMBER))
    load = np.clip((15.5 - np.median(years.usual_c[:, at[there]], axis=0)) / LOAD_K, 0.0, 1.0)
    headroom = 0.1 if history.is_steady else 0.4
    wide = history.full_kwh[1] * kick + headroom * (1.0 - load.mean()) * np.abs(lift)
    return _Weather(
        follows,
        seen,
        years,
        _with_measured(years.temp_c, history.outdoor, first),
        at,
        sun,
        history.full_kwh[0] * np.exp(wide),
        bool(np.isfinite(seen[there]).mean() > 0.8),
    )


def _seen_c(outdoor: Days | None, numbers: IntArray) -> FloatArray:
    """Outdoor temperature on the history's days; NaN where not measured."""
    found = np.full(len(numbers), np.nan)
    if outdoor is None:
        return found
    theirs = _day_numbers(outdoor.start_ms)
    at = np.clip(np.searchsorted(theirs, numbers), 0, len(theirs) - 1)
    same = theirs[at] == numbers
    found[same] = outdoor.value[at[same]]
    return found


def _with_measured(temp_c: FloatArray, outdoor: Days | None, first: int) -> FloatArray:
    """Drawn years in which the days that were measured are as measured."""
    if outdoor is None:
        return temp_c
    numbers = _day_numbers(outdoor.start_ms) - first
    inside = (numbers >= 0) & (numbers < YEAR_DAYS) & outdoor.known
    found = temp_c.copy()
    found[:, numbers[inside]] = outdoor.value[inside]
    return found


def _expected(weather: _Weather, habit: Habit, sun: FloatArray) -> FloatArray:
    """Drivers to be expected on days whose weather is not known, one shift for all of them."""
    rng = np.random.default_rng(13)
    years, at = weather.years, weather.at
    share = min(5.4 / max(len(at), 1), 1.0)
    shift = rng.standard_normal((len(years.usual_c), 1)) * np.hypot(1.0, _SPELLS_K * share**0.5)
    usual = years.usual_c[:, at] + shift
    spread = _SPELLS_K * (1.0 - share) ** 0.5
    nodes, weights = _NODES
    found = sum(
        w * weather.follows.columns(habit.shape, usual + spread * x, sun)
        for x, w in zip(nodes, weights, strict=True)
    )
    return np.asarray(found / weights.sum())


@dataclass(frozen=True, slots=True, eq=False)
class _Fits:
    """What the drivers bear under each possibility, for one habit: normal, with log evidence.

    `rest` are the drivers' sums over the days of the year not measured, shape (2, k).
    """

    habit: Habit
    full: FloatArray
    mean: FloatArray
    root: FloatArray
    evidence: FloatArray
    rest: FloatArray
    scatter: float


_BUSY = 0.4
"""A day of this share of full power and more was one of the season."""


def _full(weather: _Weather, history: History, habit: Habit) -> FloatArray:
    """Energy of a day in season [kWh]: that of the busiest days where they were such."""
    use = history.days.value[history.days.known]
    busy = float(np.quantile(use, 0.9))
    if habit.of_seen and np.median(use) > 0:
        return np.full(_NUMBER, float(np.median(use)))
    if habit.shape in ("flat", "season") and busy > _BUSY * history.full_kwh[0]:
        return np.full(_NUMBER, busy)
    return weather.full


def _fit(weather: _Weather, history: History, habit: Habit, *, missing: BoolArray) -> _Fits:
    """Bayesian straight line in closed form, for every drawn possibility at once.

    First with the scatter that is usual of the habit, then with the one about
    the possibilities that fit best.
    """
    columns = weather.of_days(habit)
    there = history.days.known & np.isfinite(columns).all(axis=(0, 1))
    if history.kind == "water":
        there &= _at_home(history)
    use, columns = history.days.value[there], columns[:, :, there]
    at = _day_numbers(history.days.start_ms)[there].astype(np.float64)
    usual = habit.unrest * max(float(use.mean()), 0.02 * history.full_kwh[0])
    full = _full(weather, history, habit)
    first = _line(use, columns, habit, full=full, variance=usual**2)
    residual = use - np.einsum("ikn,ki->kn", columns, first[0])
    square = (residual**2).sum(axis=1)
    best = residual[np.argmin(square)]
    worth = 4.0
    variance = (float(best @ best) + worth * usual**2) / (len(use) + worth)
    inflation = (len(use) * memory_of(best, at).inflation + 8.0 * 2.0) / (len(use) + 8.0)
    mean, covariance, evidence = _line(
        use, columns, habit, full=full, variance=variance * inflation
    )
    evidence = evidence - 0.5 * len(use) / inflation * np.log(variance)
    relative = np.sqrt(float(best @ best) / len(use)) / usual
    evidence = evidence + np.log(habit.chance) - 0.5 * (np.log(max(relative, 0.1)) / _UNREST) ** 2
    return _Fits(
        habit,
        full,
        mean,
        np.asarray(np.linalg.cholesky(covariance), np.float64),
        evidence,
        weather.of_year(habit, missing) * (1.0 - _away(history, use)),
        float(np.sqrt(variance * inflation)),
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


def _choose(fits: list[_Fits]) -> _Chosen:
    rng = np.random.default_rng(11)
    evidence = np.concatenate([one.evidence for one in fits])
    chance = np.exp(evidence - evidence.max())
    pick = rng.choice(len(evidence), size=5 * _DRAWS, p=chance / chance.sum())
    full = np.concatenate([one.full for one in fits])[pick]
    which = pick // _NUMBER
    mean = np.concatenate([one.mean for one in fits])[pick]
    root = np.concatenate([one.root for one in fits])[pick]
    rows = mean + np.einsum("kij,kj->ki", root, rng.standard_normal((len(pick), 2)))
    sound = (rows >= -0.01 * full[:, None]).all(axis=1) & (rows.sum(axis=1) <= 1.3 * full)
    order = np.argsort(~sound, kind="stable")[:_DRAWS]
    order = order[np.arange(_DRAWS) % max(int(sound.sum()), 1)]
    shares = np.bincount(which[order], minlength=len(fits)) / _DRAWS
    sums = np.concatenate([one.rest for one in fits], axis=1)[:, pick[order]]
    return _Chosen(
        (np.maximum(rows[order], 0.0).T * sums).sum(axis=0),
        np.array([one.scatter for one in fits])[which[order]],
        np.array([one.habit.drift for one in fits])[which[order]],
        rng.standard_normal(_DRAWS),
        rng.standard_normal(_DRAWS),
        _words(fits, shares),
    )


def _words(fits: list[_Fits], shares: FloatArray) -> str:
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
