"""What is known of a machine's days, and the weather of those days and of years that could be."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from analysis.base.time import DAY_MS
from analysis.energy.use_patterns import LOAD_K, Habit, Kind, Weathers, drawn_weathers
from analysis.readings.readings import FloatArray, IntArray
from analysis.readings.two_levels import BoolArray
from analysis.weather.degree_days import (
    TEMPERATE,
    YEAR_DAYS,
    Days,
    Years,
    belief_of_zone,
    day_numbers,
    day_of_year,
    drawn_years,
    sun_of_year,
)

POSSIBILITIES = 2000
_NODES = np.polynomial.hermite_e.hermegauss(7)


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
    is_switched : bool
        It is written down that clock, room or season switch it: its always_on is false, not absent.
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
    is_switched: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class SeasonWeather:
    """Weather of the days measured, and of the year in each possibility.

    `seen_c` is NaN where not measured; `slow_c` is damped; `full` is what the machine could use
    a day in each possibility [kWh].
    """

    follows: Weathers
    seen_c: FloatArray
    slow_c: FloatArray
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
            return self.follows.columns(habit.shape, self.seen_c[None, :], sun, slow_c=self.slow_c)
        return _expected(self, habit, sun)

    def unseen(self, habit: Habit) -> float:
        """By how much the second driver wanders from day to day where no weather was measured."""
        if self.is_known or habit.shape not in ("flat", "season"):
            return 0.0
        parts = [(w, one[1]) for w, one in _at_nodes(self, habit, self.sun[self.at])]
        mean = sum(w * load for w, load in parts)
        return float(np.sqrt(np.mean(sum(w * (load - mean) ** 2 for w, load in parts))))

    def of_year(self, habit: Habit, days: BoolArray, rows: IntArray) -> FloatArray:
        """Both drivers of some possibilities summed over days of the year, shape (2, k).

        Where the temperature of the days is known, what explains them says nothing of the
        weather of other days: each row then goes with a year of its own.
        """
        follows = self.follows.of(rows)
        years = np.arange(len(rows)) % len(self.year_c) if self.is_known else rows
        year_c = self.year_c[years]
        temp_c, slow_c, sun = year_c[:, days], follows.damped(year_c)[:, days], self.sun[days]
        return np.asarray(follows.columns(habit.shape, temp_c, sun, slow_c=slow_c).sum(axis=2))


def season_weather(history: History, first: int) -> SeasonWeather:
    """Draw heating limit, ranges, climate and weather."""
    rng = np.random.default_rng(7)
    follows = drawn_weathers(rng, POSSIBILITIES)
    first_day = float(day_of_year(np.int64(first) * DAY_MS + DAY_MS // 2))
    belief = belief_of_zone(history.timezone)
    years = drawn_years(history.outdoor, belief, first_day, number=POSSIBILITIES, seed=3)
    numbers = day_numbers(history.days.start_ms)
    there = history.days.known
    seen = _seen_c(history.outdoor, numbers)
    sun = sun_of_year(first_day, belief)
    at = (numbers - first) % YEAR_DAYS
    kick, lift = rng.standard_normal((2, POSSIBILITIES))
    load = np.clip((15.5 - np.median(years.usual_c[:, at[there]], axis=0)) / LOAD_K, 0.0, 1.0)
    headroom = 0.1 if history.is_steady else 0.4
    wide = history.full_kwh[1] * kick + headroom * (1.0 - load.mean()) * np.abs(lift)
    year_c = years.as_measured(history.outdoor, first)
    return SeasonWeather(
        follows,
        seen,
        _damped_on(follows, history.outdoor, numbers),
        years,
        year_c,
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
    theirs = day_numbers(outdoor.start_ms)
    at = np.clip(np.searchsorted(theirs, numbers), 0, len(theirs) - 1)
    same = theirs[at] == numbers
    found[same] = outdoor.value[at[same]]
    return found


def _damped_on(follows: Weathers, outdoor: Days | None, numbers: IntArray) -> FloatArray:
    """Damped outdoor temperature on the history's days; a day without lies between others."""
    if outdoor is None or not outdoor.known.any():
        return np.full((POSSIBILITIES, len(numbers)), np.nan)
    theirs, known = day_numbers(outdoor.start_ms), outdoor.known
    first = min(int(theirs[known][0]), int(numbers[0]))
    days = np.arange(first, int(numbers[-1]) + 1)
    whole = np.interp(days, theirs[known], outdoor.value[known])
    return follows.damped(whole[None, :])[:, numbers - first]


def _expected(weather: SeasonWeather, habit: Habit, sun: FloatArray) -> FloatArray:
    """Drivers to be expected on days whose weather is not known, one shift for all of them."""
    return np.asarray(sum(w * columns for w, columns in _at_nodes(weather, habit, sun)))


def _at_nodes(
    weather: SeasonWeather, habit: Habit, sun: FloatArray
) -> Iterator[tuple[float, FloatArray]]:
    """Drivers of days whose weather is not known, at the temperatures they may have had."""
    rng = np.random.default_rng(13)
    years, at = weather.years, weather.at
    share = min(5.4 / max(len(at), 1), 1.0)
    shift = rng.standard_normal((len(years.usual_c), 1)) * np.hypot(
        1.0, TEMPERATE.spells_k * share**0.5
    )
    usual = years.usual_c[:, at] + shift
    spread = TEMPERATE.spells_k * (1.0 - share) ** 0.5
    nodes, weights = _NODES
    for x, w in zip(nodes, weights / weights.sum(), strict=True):
        at_node = usual + spread * x
        yield float(w), weather.follows.columns(habit.shape, at_node, sun, slow_c=at_node)
