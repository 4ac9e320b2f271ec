"""Outdoor temperature by day, degree-days after several conventions, and years of weather."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.signal import lfilter

from analysis.base.time import DAY_MS, SECOND_MS, Span, local_day_edges
from analysis.plant.plant import Plant
from analysis.readings.readings import (
    FloatArray,
    IntArray,
    Readings,
    Record,
    hold_limit_ms,
    summarise,
)
from analysis.readings.worked_once import once

YEAR_DAYS = 365
TROPICAL_YEAR = 365.2425
LEAST_COVER = 0.75
"""Share of a day that must be covered: less would make a mean of the night or of the noon only."""


# days


@dataclass(frozen=True, slots=True, eq=False)
class Days:
    """A figure per local calendar day of the plant.

    Attributes
    ----------
    start_ms : ndarray of int64, shape (n,)
        Local midnights at which the days begin [ms].
    value : ndarray of float64, shape (n,)
        The figure; NaN where too little of the day is known.
    """

    start_ms: IntArray
    value: FloatArray

    def __len__(self) -> int:
        return len(self.value)

    @property
    def known(self) -> NDArray[np.bool_]:
        """Which days have a figure."""
        return np.isfinite(self.value)

    @property
    def season(self) -> FloatArray:
        """Day of the year of each day's noon, 0 at New Year."""
        return day_of_year(self.start_ms + DAY_MS // 2)


def day_of_year(time_ms: ArrayLike) -> FloatArray:
    """Day of the mean year in which moments lie, 0 at New Year of any year (within a day)."""
    moments = np.asarray(time_ms, dtype=np.int64)
    stamps = moments.view("datetime64[ms]") if moments.ndim else np.datetime64(int(moments), "ms")
    new_year = stamps.astype("datetime64[Y]").astype("datetime64[ms]")
    return np.asarray((stamps - new_year).astype(np.float64) / DAY_MS)


def daily_means(readings: Readings, hold_ms: int, span: Span, timezone: str) -> Days:
    """Time-weighted means of the local days that touch a span.

    Parameters
    ----------
    readings : Readings
        Any gauge.
    hold_ms : int
        See `analysis.readings.readings.hold_limit_ms`.
    span : Span
        Time to look at.
    timezone : str
        The plant's zone.
    """
    edges = local_day_edges(span, timezone)
    if len(edges) < 2:
        return Days(edges[:0], np.empty(0))
    found = summarise(readings, edges, hold_ms)
    enough = found.covered_s >= LEAST_COVER * np.diff(edges) / SECOND_MS
    return Days(edges[:-1], np.where(enough, found.mean, np.nan))


@once
def outdoor_days(plant: Plant, record: Record, span: Span) -> Days | None:
    """Daily mean outdoor temperature [Cel], or None where none is measured.

    The first outdoor channel with a known day wins.
    """
    for channel in plant.select(quantity="temperature", place="outdoor"):
        readings = record.get(channel.id)
        if readings is None or not len(readings):
            continue
        days = daily_means(readings, hold_limit_ms(readings, channel), span, plant.timezone)
        if days.known.any():
            return days
    return None


# degree-days


def degree_days_of_mean(mean_c: ArrayLike, base_c: ArrayLike) -> FloatArray:
    """Heating degree-days from the day's mean: what it lacks to the base [K d]."""
    lack: FloatArray = np.asarray(base_c, float) - np.asarray(mean_c, float)
    return np.maximum(lack, 0.0)


def degree_days_of_hours(hourly_c: ArrayLike, base_c: float) -> float:
    """Heating degree-days from hourly temperatures: the mean lack of the hours [K d]."""
    hours = np.asarray(hourly_c, float)
    return float(np.maximum(base_c - hours, 0.0).sum() / 24.0)


def degree_days_of_extremes(low_c: ArrayLike, high_c: ArrayLike, base_c: float) -> FloatArray:
    """Heating degree-days from the day's least and greatest temperature, in four cases [K d].

    The British convention, usual base 15.5 Cel: where the base lies between
    the extremes the day counts in part.

    References
    ----------
    The four cases as published with vesma.com/ddd and degreedaysdirect.com. A
    help page prints half the *difference* of the extremes for their mean;
    that is a sign error.
    """
    low, high = np.asarray(low_c, float), np.asarray(high_c, float)
    middle = (low + high) / 2.0
    return np.select(
        [low > base_c, middle > base_c, high >= base_c],
        [np.zeros_like(middle), (base_c - low) / 4.0, (base_c - low) / 2.0 - (high - base_c) / 4.0],
        base_c - middle,
    )


def degree_days_of_month(month_mean_c: ArrayLike, base_c: float, k: float = 0.71) -> FloatArray:
    """Heating degree-days a day from a month's mean alone, after Hitchin [K d].

    `k` is about 0.71 in Britain (CIBSE TM41, from memory).
    """
    lack = base_c - np.asarray(month_mean_c, float)
    small = np.abs(lack) < 1e-9
    safe = np.where(small, 1.0, lack)
    return np.where(small, 1.0 / k, safe / -np.expm1(-k * safe))


def degree_days_of_heated_days(
    mean_c: ArrayLike, *, room_c: float, limit_c: float, limit_counts: bool
) -> FloatArray:
    """Degree-days to the room on days below a heating limit [K d].

    ``room_c=20, limit_c=15, limit_counts=False`` is the German G20/15;
    ``room_c=18, limit_c=15, limit_counts=True`` that of Eurostat (both from
    memory). Series of different conventions must never be mixed.
    """
    mean = np.asarray(mean_c, float)
    heated = mean <= limit_c if limit_counts else mean < limit_c
    return np.where(heated, room_c - mean, 0.0)


# years of weather


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """What is held of a place's climate before it is measured: mean and standard deviation [K].

    The year is `mean_c` less `swing_k` times a cosine that peaks on
    `coldest_day`; about it weather wanders by `spells_k` with a memory of days
    and by `months_k` with one of a month.
    """

    mean_c: float = 9.5
    mean_sd: float = 2.0
    swing_k: float = 8.0
    swing_sd: float = 2.0
    coldest_day: float = 20.0
    coldest_sd_days: float = 6.0
    spells_k: float = 3.2
    spells_days: float = 2.7
    months_k: float = 1.0
    months_days: float = 30.0


TEMPERATE = Belief()
"""Where houses are heated by water: common practice, no source."""
_SOUTHERN = (
    "Australia/", "Antarctica/", "Pacific/Auckland", "America/Argentina/", "America/Santiago",
    "America/Montevideo", "America/Punta_Arenas", "Africa/Johannesburg", "Atlantic/Stanley",
)  # fmt: skip


def belief_of_zone(timezone: str) -> Belief:
    """Belief for a plant's zone: its coldest day lies half a year apart in the south."""
    if timezone.startswith(_SOUTHERN):
        return Belief(coldest_day=TEMPERATE.coldest_day + TROPICAL_YEAR / 2)
    return TEMPERATE


@dataclass(frozen=True, slots=True, eq=False)
class Years:
    """Years of daily mean outdoor temperature that could be, one a row [Cel].

    Attributes
    ----------
    temp_c : ndarray, shape (number, 365)
        With weather in it.
    usual_c : ndarray, shape (number, 365)
        What the same place's climate holds usual for the day.
    """

    temp_c: FloatArray
    usual_c: FloatArray

    def as_measured(self, days: Days | None, first: int) -> FloatArray:
        """Temperatures in which the days that were measured are as measured.

        `first` is the running number of the years' first day, see `day_numbers`.
        """
        found = self.temp_c.copy()
        if days is not None:
            at = day_numbers(days.start_ms) - first
            inside = (at >= 0) & (at < found.shape[1]) & days.known
            found[:, at[inside]] = days.value[inside]
        return found


def drawn_years(
    days: Days | None, belief: Belief, first_day: float, *, number: int, seed: int = 0
) -> Years:
    """Draw years of daily mean outdoor temperatures that agree with what was measured.

    Parameters
    ----------
    days : Days or None
        Daily means measured here [Cel]; None where there are none.
    belief : Belief
        What is held of the climate beforehand.
    first_day : float
        Day of the year with which the drawn years begin.
    number : int
        How many to draw: each an uncertain climate, and weather in it.
    seed : int
        Source of chance; the same seed gives the same weather.
    """
    rng = np.random.default_rng([seed, number])
    centre, covariance = _learnt(days, belief)
    shape = rng.multivariate_normal(centre, covariance, size=number)
    usual = shape @ _season_columns(first_day + np.arange(float(YEAR_DAYS)), belief).T
    spells = _wander(rng, number, belief.spells_k, belief.spells_days)
    months = _wander(rng, number, belief.months_k, belief.months_days)
    return Years(usual + spells + months, usual)


def _season_columns(day: FloatArray, belief: Belief) -> FloatArray:
    phase = 2 * np.pi * (day - belief.coldest_day) / TROPICAL_YEAR
    return np.column_stack([np.ones_like(phase), -np.cos(phase), -np.sin(phase)])


def _learnt(days: Days | None, belief: Belief) -> tuple[FloatArray, FloatArray]:
    """Mean, swing and shift of the year, by least squares with the belief as a further datum."""
    centre = np.array([belief.mean_c, belief.swing_k, 0.0])
    shift_sd = belief.swing_k * 2 * np.pi * belief.coldest_sd_days / TROPICAL_YEAR
    prior = np.diag([belief.mean_sd**-2, belief.swing_sd**-2, shift_sd**-2])
    if days is None or not days.known.any():
        return centre, np.linalg.inv(prior)
    at, mean, season = _blocks(days)
    columns = _season_columns(season, belief)
    precision = np.linalg.inv(_covariance(at, belief))
    inverse = np.asarray(np.linalg.inv(prior + columns.T @ precision @ columns), np.float64)
    return inverse @ (prior @ centre + columns.T @ precision @ mean), inverse


def _blocks(days: Days, length: int = 10) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Means of ten days each: position [d], temperature, day of the year."""
    known = days.known
    at = days.start_ms[known] / DAY_MS
    block = ((at - at[0]) // length).astype(np.intp)
    count = np.bincount(block)
    there = count > 0
    middle, temp = (
        np.bincount(block, weights=w)[there] / count[there] for w in (at, days.value[known])
    )
    # of the middle, as days of the year must not be averaged over New Year
    return middle, temp, day_of_year(((middle + 0.5) * DAY_MS).astype(np.int64))


def _covariance(at_days: FloatArray, belief: Belief, length: float = 10.0) -> FloatArray:
    """Covariance of ten-day means: months that wander slowly, and what is left of the spells."""
    apart = np.abs(at_days[:, None] - at_days[None, :])
    spell = belief.spells_k**2 * min(2 * belief.spells_days / length, 1.0)
    slow = belief.months_k**2 * np.exp(-apart / belief.months_days)
    return slow + spell * np.eye(len(at_days))


def _wander(rng: np.random.Generator, number: int, spread: float, memory: float) -> FloatArray:
    keep = np.exp(-1.0 / memory)
    kick = rng.standard_normal((number, YEAR_DAYS)) * spread * np.sqrt(1 - keep * keep)
    kick[:, 0] = rng.standard_normal(number) * spread
    return np.asarray(lfilter([1.0], [1.0, -keep], kick, axis=1))


def day_numbers(start_ms: IntArray) -> IntArray:
    """Running number of local days, from their midnights."""
    return np.asarray((start_ms + DAY_MS // 2) // DAY_MS, np.int64)


def first_day_of_year(time_ms: int, timezone: str) -> int:
    """Day of the year, from 0, of the local day in which a moment lies."""
    midnight = int(local_day_edges(Span(time_ms, time_ms + 1), timezone)[0])
    return int(day_of_year(midnight + DAY_MS // 2))


_SUN_LEADS = 2 * np.pi * 30.0 / TROPICAL_YEAR
"""The sun's year runs a month ahead of the temperature's."""


def sun_of_year(first_day: float, belief: Belief) -> FloatArray:
    """Height of the sun's year on its 365 days, 0 in midwinter, 1 in midsummer."""
    turn = 2 * np.pi * (first_day + np.arange(YEAR_DAYS) - belief.coldest_day) / TROPICAL_YEAR
    return np.asarray(0.5 - 0.5 * np.cos(turn + _SUN_LEADS))
