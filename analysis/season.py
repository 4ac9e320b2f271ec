"""A machine's year from any stretch of its days: the season is in the figure, and in its interval.

A day's use is taken as ``base + more * demand``, where demand grows from nothing on days above a
heating limit to its whole on days some kelvin colder. Where heating begins, how soon it is whole,
the climate and the year's weather are not known: many possibilities are drawn, each is weighed by
how well it explains the days measured, and the year is read off all of them.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.climate import (
    TROPICAL_YEAR,
    YEAR_DAYS,
    Days,
    Years,
    belief_of_zone,
    day_of_year,
    drawn_years,
)
from analysis.readings import FloatArray, IntArray
from analysis.signature import memory_of
from analysis.timebase import DAY_MS

Kind = Literal["heating", "water", "boiler"]
_NUMBER = 1000
_DRAWS = 3000
_NODES = np.polynomial.hermite_e.hermegauss(7)
_SPELLS_K = 3.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Habit:
    """One way a machine may go through the year, as shares of its full daily energy.

    `base` and `whole` are mean and standard deviation of what it uses on days
    without demand and on days of whole demand; without `whole` demand adds
    nothing. `chance` is how usual the habit is beforehand.
    """

    words: str
    chance: float
    base: tuple[float, float]
    whole: tuple[float, float] | None = None

    @property
    def centre(self) -> FloatArray:
        """Mean of base and of what demand adds."""
        whole = self.base if self.whole is None else self.whole
        return np.array([self.base[0], whole[0] - self.base[0]])

    @property
    def covariance(self) -> FloatArray:
        """Covariance of base and of what demand adds: the more base, the less is left."""
        base = self.base[1] ** 2
        if self.whole is None:
            return np.diag([base, 1e-6])
        return np.array([[base, -base], [-base, base + self.whole[1] ** 2]])


SAME, LESS, RESTS = "the same all year", "less out of season", "rests out of season"
_UNRESTING = (
    Habit(words=SAME, chance=0.25, base=(0.8, 0.3)),
    Habit(words=RESTS, chance=0.35, base=(0.03, 0.03), whole=(0.85, 0.2)),
    Habit(words=LESS, chance=0.4, base=(0.35, 0.25), whole=(0.8, 0.2)),
)
_RESTING = (
    Habit(words=SAME, chance=0.04, base=(0.3, 0.3)),
    Habit(words=RESTS, chance=0.46, base=(0.03, 0.03), whole=(0.75, 0.25)),
    Habit(words=LESS, chance=0.5, base=(0.15, 0.12), whole=(0.75, 0.25)),
)
_ALWAYS_ON = (
    Habit(words=SAME, chance=0.6, base=(0.97, 0.2)),
    Habit(words=LESS, chance=0.4, base=(0.6, 0.25), whole=(0.85, 0.2)),
)
_WATER = (
    Habit(words=SAME, chance=0.75, base=(0.3, 0.4)),
    Habit(words=LESS, chance=0.25, base=(0.3, 0.4), whole=(0.35, 0.4)),
)
_BOILER = (Habit(words=LESS, chance=1.0, base=(0.1, 0.1), whole=(0.5, 0.3)),)


_RESTS = 0.05
"""A machine that rests longer than this share of the time is switched by demand."""


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
    """Return the habits to be expected (common practice, no source; tried on rehearsed houses).

    What rests on winter days is switched by demand and will rest more in
    summer. What was seen resting is not always on, whatever the plant file says.
    """
    if history.kind != "heating":
        return _WATER if history.kind == "water" else _BOILER
    if history.is_always_on and history.rests < 0.1:
        return _ALWAYS_ON[:1] if history.is_steady else _ALWAYS_ON
    return _RESTING if history.rests > _RESTS else _UNRESTING


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
    demand = _demand(history, first)
    habits = habits_of(history)
    fits = [_fit(demand.of_days, history, habit, full=demand.full) for habit in habits]
    chosen = _choose(fits, demand.full)
    rest = demand.of_year[chosen.row][:, missing].sum(axis=1)
    number = int(missing.sum())
    noise = chosen.scatter * np.sqrt(number) * chosen.kick
    drift = 1.0 + _drift(history) * chosen.kick_of_model
    sums = (chosen.base * number + chosen.more * rest) * drift + noise
    total = float(np.nansum(measured)) + np.maximum(sums, 0.0)
    return YearDraws(total, int(known.sum()), chosen.words)


def _drift(history: History) -> float:
    """Relative spread of what no season explains (tried on rehearsed houses).

    Sun, people and settings differ between spring and autumn. Hot water
    follows people alone: few weeks may hold a holiday or none. What never
    rests and draws the same power has only the mains voltage to follow.
    """
    if history.is_always_on and history.is_steady and history.rests < 0.1:
        return 0.02
    if history.kind == "water":
        return 0.05 + 0.13 * float(np.sqrt(28.0 / max(history.days.known.sum(), 5)))
    return 0.1


def _day_numbers(start_ms: IntArray) -> IntArray:
    """Running number of local days, from their midnights."""
    return np.asarray((start_ms + DAY_MS // 2) // DAY_MS, np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class _Demand:
    """Demand, 0 to 1, by possibility: on the days measured, and on each day of the year."""

    of_days: FloatArray
    of_year: FloatArray
    full: FloatArray


def _demand(history: History, first: int) -> _Demand:
    """Draw heating limit, range, climate and weather, and what demand follows from each."""
    rng = np.random.default_rng(7)
    limit = rng.normal(15.5, 1.5, _NUMBER)[:, None]
    least_k = 1.0 if history.rests < _RESTS and history.kind == "heating" else 6.0
    range_k = np.exp(rng.uniform(np.log(least_k), np.log(25.0), _NUMBER))[:, None]
    first_day = float(day_of_year(np.int64(first) * DAY_MS + DAY_MS // 2))
    years = drawn_years(
        history.outdoor, belief_of_zone(history.timezone), first_day, number=_NUMBER, seed=3
    )
    numbers = _day_numbers(history.days.start_ms)
    there = history.days.known
    seen = _seen_c(history.outdoor, numbers)
    year_c = _with_measured(years.temp_c, history.outdoor, first)
    of_year = np.clip((limit - year_c) / range_k, 0.0, 1.0)
    if np.isfinite(seen[there]).mean() > 0.8:
        of_days = np.clip((limit - seen[None, :]) / range_k, 0.0, 1.0)
    else:
        of_days = _expected(years, (numbers - first) % YEAR_DAYS, limit, range_k, rng)
    kick, lift = rng.standard_normal((2, _NUMBER))
    unseen = 1.0 - np.nanmean(of_days[:, there], axis=1)
    headroom = 0.2 if history.is_steady else 0.5
    wide = history.full_kwh[1] * kick + headroom * unseen * np.abs(lift)
    return _Demand(of_days, of_year, history.full_kwh[0] * np.exp(wide))


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


def _expected(
    years: Years, at: IntArray, limit: FloatArray, range_k: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """Demand to be expected on days whose weather is not known, one shift for all of them."""
    share = min(5.4 / max(len(at), 1), 1.0)
    shift = rng.standard_normal((len(years.usual_c), 1)) * np.hypot(1.0, _SPELLS_K * share**0.5)
    usual = years.usual_c[:, at] + shift
    spread = _SPELLS_K * (1.0 - share) ** 0.5
    nodes, weights = _NODES
    found = sum(
        w * np.clip((limit - usual - spread * x) / range_k, 0.0, 1.0)
        for x, w in zip(nodes, weights, strict=True)
    )
    return np.asarray(found / weights.sum())


@dataclass(frozen=True, slots=True, eq=False)
class _Fits:
    """Base and more under each possibility, for one habit: normal, with their log evidence."""

    habit: Habit
    mean: FloatArray
    root: FloatArray
    evidence: FloatArray
    scatter: float


def _fit(demand: FloatArray, history: History, habit: Habit, *, full: FloatArray) -> _Fits:
    """Bayesian straight line in closed form, for every drawn possibility at once."""
    there = history.days.known & np.isfinite(demand[0])
    use, driver = history.days.value[there], demand[:, there]
    at = _day_numbers(history.days.start_ms)[there].astype(np.float64)
    variance = _variance(use, history, driver, at)
    n = len(use)
    centre = full[:, None] * habit.centre
    held = np.linalg.inv(habit.covariance) / full[:, None, None] ** 2
    precision = held.copy()
    precision[:, 0, 0] += n / variance
    precision[:, 0, 1] += driver.sum(axis=1) / variance
    precision[:, 1, 0] += driver.sum(axis=1) / variance
    precision[:, 1, 1] += (driver**2).sum(axis=1) / variance
    right = np.column_stack([np.full(len(driver), use.sum()), driver @ use]) / variance
    right += np.einsum("kij,kj->ki", held, centre)
    covariance = np.linalg.inv(precision)
    mean = np.einsum("kij,kj->ki", covariance, right)
    left = (use**2).sum() / variance + np.einsum("ki,kij,kj->k", centre, held, centre)
    left -= (right * mean).sum(axis=1)
    log_det = np.linalg.slogdet(precision)[1] - np.linalg.slogdet(held)[1]
    evidence = np.log(habit.chance) - 0.5 * (left + log_det)
    root = np.linalg.cholesky(covariance)
    return _Fits(habit, mean, root, evidence, float(np.sqrt(variance)))


def _variance(use: FloatArray, history: History, driver: FloatArray, at: FloatArray) -> float:
    """Variance of a day about the season, widened by how days hang together.

    Few days say little of it: a fifth of the usual day, with a memory of some
    days, stands in for them.
    """
    middle = driver.mean(axis=0)
    columns = np.column_stack([np.ones_like(middle), middle])
    fitted = columns @ np.linalg.lstsq(columns, use, rcond=None)[0]
    residual = use - fitted
    memory = memory_of(residual, at)
    usual = (0.05 if history.is_always_on else 0.2) * max(
        float(use.mean()), 0.02 * history.full_kwh[0]
    )
    worth = 4.0
    square = (float((residual**2).sum()) + worth * usual**2) / (len(use) + worth)
    inflation = (len(use) * memory.inflation + 8.0 * 3.0) / (len(use) + 8.0)
    return square * inflation


@dataclass(frozen=True, slots=True, eq=False)
class _Chosen:
    """Possibilities drawn by their weight."""

    row: IntArray
    base: FloatArray
    more: FloatArray
    scatter: FloatArray
    kick: FloatArray
    kick_of_model: FloatArray
    words: str


def _choose(fits: list[_Fits], full: FloatArray) -> _Chosen:
    rng = np.random.default_rng(11)
    evidence = np.concatenate([one.evidence for one in fits])
    chance = np.exp(evidence - evidence.max())
    pick = rng.choice(len(evidence), size=5 * _DRAWS, p=chance / chance.sum())
    which, row = pick // len(full), pick % len(full)
    mean = np.concatenate([one.mean for one in fits])[pick]
    root = np.concatenate([one.root for one in fits])[pick]
    rows = mean + np.einsum("kij,kj->ki", root, rng.standard_normal((len(pick), 2)))
    sound = (rows >= 0).all(axis=1) & (rows.sum(axis=1) <= 1.3 * full[row])
    order = np.argsort(~sound, kind="stable")[:_DRAWS]
    order = order[np.arange(_DRAWS) % max(int(sound.sum()), 1)]
    shares = np.bincount(which[order], minlength=len(fits)) / _DRAWS
    return _Chosen(
        row[order],
        np.maximum(rows[order, 0], 0.0),
        np.maximum(rows[order, 1], 0.0),
        np.array([one.scatter for one in fits])[which[order]],
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
