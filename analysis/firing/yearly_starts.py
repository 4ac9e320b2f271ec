"""Burner starts of a year from any stretch of days: by outdoor temperature, so that March is March.

Starts are no straight line of the weather: a boiler starts seldom in frost, where it hardly rests,
and seldom in summer. Days that were not seen are taken from `analysis.firing.part_load_model`.
"""

from typing import NamedTuple

import numpy as np

from analysis.base.estimate import Estimate, plain
from analysis.base.time import DAY_MS
from analysis.firing.daily_firings import FireDays
from analysis.firing.heat_per_cycle import UNSEEN, Flame
from analysis.firing.part_load_model import NUMBER, Seen, damped, drawn_starts
from analysis.readings.readings import FloatArray
from analysis.readings.two_levels import BoolArray
from analysis.weather.degree_days import (
    YEAR_DAYS,
    Days,
    Years,
    belief_of_zone,
    day_numbers,
    day_of_year,
    drawn_years,
    sun_of_year,
)

_LEAST_DAYS = 5
_MOST_SEEN = 120
"""So many days tell all that a model this plain can learn."""
_MODEL_DOUBT, _MODEL_DOUBT_MODULATING = 0.15, 0.25
"""Settings, sun and people differ between seasons, and a flame's control adds to it (tried on
rehearsed houses)."""
_CHARGES_DOUBT = 0.15


def starts_of_year(days: FireDays, timezone: str, flame: Flame = UNSEEN) -> Estimate:
    """Starts in the year that begins with the days, measured ones as they were.

    Of more than a year of days the last 365 count.

    Parameters
    ----------
    days : FireDays
        A boiler's days; those without any firing known count as measured.
    timezone : str
        The plant's zone, for its climate.
    flame : Flame
        What is known of the burner, see `analysis.firing.heat_per_cycle.flame_of`.
    """
    days = days.last(YEAR_DAYS)
    known = np.isfinite(days.starts) & days.is_whole
    total = (days.starts + days.charges)[known]
    if known.sum() < _LEAST_DAYS:
        return Estimate.unknown("1", f"only {int(known.sum())} whole days; {_LEAST_DAYS} needed")
    if known.sum() >= YEAR_DAYS - 5:
        year = float(total.mean() * YEAR_DAYS)
        doubt = 0.01 + (YEAR_DAYS - int(known.sum())) / YEAR_DAYS
        return Estimate(year, year * (1 - doubt), year * (1 + doubt), "1", "a whole year measured")
    rest = _rest_of_year(days, known, timezone, flame)
    unseen = np.exp(flame.brief * np.random.default_rng(19).random(len(rest)))
    low, middle, high = np.quantile((total.sum() + rest) * unseen, (0.025, 0.5, 0.975))
    words = f"{int(known.sum())} of {YEAR_DAYS} days measured, the rest from days of like weather"
    if not np.isfinite(days.outdoor_c[known]).any():
        words += "; no outdoor temperature, so the season is a guess"
    return Estimate(float(middle), float(low), float(high), "1", words)


def _rest_of_year(days: FireDays, known: BoolArray, timezone: str, flame: Flame) -> FloatArray:
    """Starts on the days of the year that were not seen, one sum for each possibility."""
    first = float(day_of_year(np.int64(days.start_ms[0] + DAY_MS // 2)))
    belief = belief_of_zone(timezone)
    measured = Days(days.start_ms, days.outdoor_c)
    outdoor = measured if measured.known.sum() >= _LEAST_DAYS else None
    years = drawn_years(outdoor, belief, first, number=NUMBER, seed=5)
    sun = sun_of_year(first, belief)
    year_c = years.as_measured(measured, int(day_numbers(days.start_ms[:1])[0]))
    seen = _seen(days, known, years if outdoor is None else None, sun)
    missing = np.ones(YEAR_DAYS, bool)
    missing[: len(days)] = ~known
    every = drawn_starts(seen, flame, year_c, sun)
    held = every[:, : len(days)][:, known]
    heating = every[:, missing].sum(axis=1) * as_lived(days.starts[known], held)
    kick = np.random.default_rng(23).standard_normal((2, len(heating)))
    charging = float(days.charges[known].mean()) * missing.sum()
    doubt = _MODEL_DOUBT_MODULATING if flame.modulates else _MODEL_DOUBT
    return np.asarray(
        heating * np.exp(doubt * kick[0]) + charging * np.exp(_CHARGES_DOUBT * kick[1])
    )


_SPELL_DAYS = 10
_USUAL = 100.0
_BELIEVED_DAYS = 180.0
"""What is known of a year beforehand, that people are away some weeks of it and valves are seldom
shut for long, is worth so many days: of two months' departure from the law three quarters are taken
for the window's own, of a long record's less."""


def as_lived(told: FloatArray, held: FloatArray) -> FloatArray:
    """Starts counted over those held of the same days, one ratio a possibility.

    Absence, shut valves and guests move starts by factors for a week or two, whatever the weather:
    spells drawn anew from those seen (a block bootstrap after Kuensch 1989) say how far what comes
    may differ. Some starts are added to both, as hardly any tell nothing.
    """
    spell = np.arange(len(told)) // _SPELL_DAYS
    count = int(spell[-1]) + 1
    first = np.arange(count) * _SPELL_DAYS
    lived = np.add.reduceat(told, first)
    ours = np.add.reduceat(held, first, axis=1)
    at = np.random.default_rng(37).integers(0, count, (len(held), count))
    row = np.arange(len(held))[:, None]
    ratio = (lived[at].sum(1) + _USUAL) / (ours[row, at].sum(1) + _USUAL)
    passing = _BELIEVED_DAYS / (_BELIEVED_DAYS + len(told))
    return np.asarray(ratio / np.median(ratio) ** passing)


def _seen(days: FireDays, known: BoolArray, years: Years | None, sun: FloatArray) -> Seen:
    """The days to learn from; where the weather was not measured, that usual in each year."""
    usable = known if years is not None else known & np.isfinite(days.outdoor_c)
    at = np.flatnonzero(usable)
    at = at[np.linspace(0, len(at) - 1, min(len(at), _MOST_SEEN)).astype(np.intp)]
    temp_c = _without_holes(days.outdoor_c) if years is None else years.usual_c
    slow_c = damped(temp_c)[..., at]
    counted = days.starts[at], days.on_h[at], days.demand_h[at]
    return Seen(temp_c[..., at], slow_c, sun[at], *counted)


def _without_holes(temp_c: FloatArray) -> FloatArray:
    """Daily means, days without one between others."""
    known = np.isfinite(temp_c)
    every = np.arange(len(temp_c))
    return np.asarray(np.interp(every, every[known], temp_c[known]), np.float64)


class StartsAt(NamedTuple):
    """Starts per day at outdoor temperatures of a class: days seen, median and its quartiles."""

    from_c: float
    to_c: float
    days: int
    per_day: float
    low: float
    high: float

    def document(self) -> dict[str, float | int | None]:
        """Return the JSON form."""
        return {
            "from_c": self.from_c,
            "to_c": self.to_c,
            "days": self.days,
            "per_day": plain(self.per_day, 4),
            "low": plain(self.low, 4),
            "high": plain(self.high, 4),
        }


def starts_by_outdoor(days: FireDays, width_k: float = 3.0) -> tuple[StartsAt, ...]:
    """Starts per day by class of outdoor temperature, coldest first."""
    known = days.is_whole & np.isfinite(days.outdoor_c)
    at = np.floor(days.outdoor_c / width_k)
    total = days.starts + days.charges
    found = []
    for cell in np.unique(at[known]):
        own = total[known & (at == cell)]
        low, middle, high = np.quantile(own, (0.25, 0.5, 0.75))
        begin = float(cell * width_k)
        found.append(
            StartsAt(begin, begin + width_k, len(own), float(middle), float(low), float(high))
        )
    return tuple(found)
