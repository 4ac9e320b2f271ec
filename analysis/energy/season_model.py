"""A machine's year from any stretch of its days: the season is in the figure, and in its interval.

A day's use is taken as ``base + more * demand``, where demand grows from nothing on days above a
heating limit to its whole on days some kelvin colder. Where heating begins, how soon it is whole,
the climate and the year's weather are not known: many possibilities are drawn, each is weighed by
how well it explains the days measured, and the year is read off all of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from analysis.energy.season_fit import Fit, fits_of
from analysis.energy.season_weather import (
    POSSIBILITIES,
    History,
    SeasonWeather,
    season_weather,
)
from analysis.energy.use_patterns import BOILER, WATER, Habit, heating
from analysis.readings.readings import FloatArray, IntArray
from analysis.readings.two_levels import BoolArray
from analysis.weather.degree_days import TROPICAL_YEAR, YEAR_DAYS, day_numbers

_DRAWS = 3000
_REACH = (0.18, 0.25)
"""Relative spread for each e-fold by which the rest of the year uses more than was seen: little
demand says little of a great one (tried on rehearsed houses; the second, of pumps whose power
follows the valves, on a measured one)."""
_RESTS = 0.05
"""A machine that rests longer than this share of the time is switched by clock or demand."""


_TOGETHER = 0.5
"""Correlation of what the years of two machines at one place may differ by from their habits."""


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
    return years_together((history,))[0]


def years_together(histories: Sequence[History]) -> tuple[YearDraws, ...]:
    """Years of machines that one house calls for in the same way, one after the other.

    What the days of each tell of heating limit, habit and weather holds for all: the figures of
    one possibility belong together, so that their differences are those of the machines. The year
    begins with the first history; where they last longer it is the last 365 days.

    Parameters
    ----------
    histories : sequence of History
        At least one known day in each; of one kind and zone, all with the same outdoor days.
    """
    numbers = [day_numbers(one.days.start_ms) for one in histories]
    last = max(int(n[-1]) for n in numbers)
    first = max(min(int(n[0]) for n in numbers), last - YEAR_DAYS + 1)
    years = [_measured(one, n, first) for one, n in zip(histories, numbers, strict=True)]
    if all(_is_whole(year) for year in years):
        return tuple(_whole_year(year) for year in years)
    weathers = [season_weather(one, first) for one in histories]
    habits = _alike_habits(histories)
    fits = [fits_of(w, one, h) for w, one, h in zip(weathers, histories, habits, strict=True)]
    pick, rows = _choose(fits)
    rng = np.random.default_rng(17)
    common = rng.standard_normal(_DRAWS)
    found = []
    for k, year in enumerate(years):
        chosen = _rest_of(fits[k], weathers[k], np.isnan(year), pick, rows[k])
        found.append(_total(histories[k], year, chosen, rng=rng, common=common))
    return tuple(found)


def _measured(history: History, numbers: IntArray, first: int) -> FloatArray:
    """Energy of the days of the year that begins so [kWh]; NaN where not measured."""
    year = np.full(YEAR_DAYS, np.nan)
    inside = numbers >= first
    year[numbers[inside] - first] = history.days.value[inside]
    return year


def _is_whole(year: FloatArray) -> bool:
    return int(np.isfinite(year).sum()) >= YEAR_DAYS - 5


def _whole_year(year: FloatArray) -> YearDraws:
    known = int(np.isfinite(year).sum())
    total = float(np.nansum(year)) * YEAR_DAYS / known
    return YearDraws(np.full(_DRAWS, total), known, "a whole year measured")


def _alike_habits(histories: Sequence[History]) -> list[tuple[Habit, ...]]:
    """Habits of each machine in the same order; what is known of one's calls is known of all."""
    rests = max(one.rests for one in histories)
    always = all(one.is_always_on for one in histories)
    switched = any(one.is_switched for one in histories)
    return [
        habits_of(replace(one, rests=rests, is_always_on=always, is_switched=switched))
        for one in histories
    ]


def _total(
    history: History,
    year: FloatArray,
    chosen: "_Chosen",
    *,
    rng: np.random.Generator,
    common: FloatArray,
) -> YearDraws:
    """The year's sum: days as measured, the others as drawn."""
    if _is_whole(year):
        return _whole_year(year)
    number = int(np.isnan(year).sum())
    own, by_day = rng.standard_normal((2, _DRAWS))
    usual = max(float(np.nanmean(history.days.value)), 0.01 * history.full_kwh[0])
    reach = np.log(np.maximum(chosen.rest / number / usual, 1.0))
    unsure = _REACH[0] if history.is_steady else _REACH[1]
    kick = _TOGETHER**0.5 * common + (1.0 - _TOGETHER) ** 0.5 * own
    drift = 1.0 + np.hypot(chosen.drift, unsure * reach) * kick
    noise = chosen.scatter * np.sqrt(number) * by_day
    total = float(np.nansum(year)) + np.maximum(chosen.rest * drift + noise, 0.0)
    return YearDraws(total, YEAR_DAYS - number, chosen.words)


@dataclass(frozen=True, slots=True, eq=False)
class _Chosen:
    """One machine's possibilities; `rest` the year's days not measured [kWh]."""

    rest: FloatArray
    scatter: FloatArray
    drift: FloatArray
    words: str


def _choose(fits: list[list[Fit]]) -> tuple[IntArray, list[FloatArray]]:
    """Possibilities by what the days of all machines say, and what they bear for each."""
    rng = np.random.default_rng(11)
    evidence = np.concatenate(
        [
            _spread_out(np.sum([one.evidence for one in alike], axis=0))
            + np.log(alike[0].habit.chance)
            for alike in zip(*fits, strict=True)
        ]
    )
    chance = np.exp(evidence - evidence.max())
    pick = rng.choice(len(evidence), size=5 * _DRAWS, p=chance / chance.sum())
    rows, sound = [], np.ones(len(pick), np.bool_)
    for of_one in fits:
        drawn, fine = _rows(of_one, pick, rng)
        rows.append(drawn)
        sound &= fine
    order = np.argsort(~sound, kind="stable")[:_DRAWS]
    order = order[np.arange(_DRAWS) % max(int(sound.sum()), 1)]
    return pick[order], [one[order] for one in rows]


def _rows(
    fits: list[Fit], pick: IntArray, rng: np.random.Generator
) -> tuple[FloatArray, BoolArray]:
    """What the drivers of one machine bear in the possibilities picked, and which can be."""
    full = np.concatenate([one.full for one in fits])[pick]
    mean = np.concatenate([one.mean for one in fits])[pick]
    root = np.concatenate([one.root for one in fits])[pick]
    rows = mean + np.einsum("kij,kj->ki", root, rng.standard_normal((len(pick), 2)))
    least = np.array([one.habit.least or -0.01 for one in fits])[pick // POSSIBILITIES]
    sound = (rows[:, 0] >= least * full) & (rows[:, 1] >= -0.01 * full)
    sound &= rows.sum(axis=1) <= 1.3 * full
    return rows, sound


def _rest_of(
    fits: list[Fit],
    weather: SeasonWeather,
    missing: BoolArray,
    pick: IntArray,
    rows: FloatArray,
) -> _Chosen:
    """Sum one machine's days that were not measured, in each possibility drawn."""
    which = pick // POSSIBILITIES
    shares = np.bincount(which, minlength=len(fits)) / _DRAWS
    sums = _of_rest(fits, weather, missing, pick)
    return _Chosen(
        (np.maximum(rows, 0.0).T * sums).sum(axis=0),
        np.array([one.scatter for one in fits])[which],
        np.array([one.habit.drift for one in fits])[which],
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
    fits: list[Fit], weather: SeasonWeather, missing: BoolArray, pick: IntArray
) -> FloatArray:
    """Drivers of the drawn possibilities summed over the days not measured, shape (2, draws)."""
    sums = np.empty((2, len(pick)))
    for number, one in enumerate(fits):
        mine = pick // POSSIBILITIES == number
        if mine.any():
            rows = pick[mine] % POSSIBILITIES
            sums[:, mine] = one.stays * weather.of_year(one.habit, missing, rows)
    return sums


def _words(fits: list[Fit], shares: FloatArray) -> str:
    likely = int(np.argmax(shares))
    return fits[likely].habit.words


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
