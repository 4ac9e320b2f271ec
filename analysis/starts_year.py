"""Burner starts of a year from any stretch of days: by outdoor temperature, so that March is March.

Starts are no straight line of the weather: a boiler starts seldom in frost, where it hardly rests,
and seldom in summer. They are therefore read off days of like temperature; what lies outside of
the temperatures seen is taken from the nearest seen, the less sure the further away.
"""

from typing import NamedTuple

import numpy as np

from analysis.climate import (
    YEAR_DAYS,
    Days,
    belief_of_zone,
    day_of_year,
    drawn_years,
)
from analysis.estimate import Estimate, plain
from analysis.firedays import FireDays
from analysis.readings import FloatArray
from analysis.signature import Points, Prior, fit_signature
from analysis.strokes import Rhythm
from analysis.timebase import DAY_MS

_DRAWS = 1000
_LEAST_DAYS = 5
_WIDTH_K = 2.0
"""Days so far apart in temperature count little for each other."""
_DOUBT_PER_K = 0.09
"""Relative spread per kelvin outside of the temperatures seen (tried on rehearsed houses)."""
_MODEL_DOUBT = 0.12
"""Settings, sun and people differ between seasons (tried on rehearsed houses)."""
_LIMIT_C = (15.5, 1.5)
"""Outdoor temperature at which heating ends, mean and spread (common practice, no source)."""
_RAMP_K = 3.0


def starts_of_year(days: FireDays, timezone: str, rhythm: Rhythm | None = None) -> Estimate:
    """Starts in the year that begins with the days, measured ones as they were.

    Parameters
    ----------
    days : FireDays
        A boiler's days; those without any firing known count as measured.
    timezone : str
        The plant's zone, for its climate.
    rhythm : Rhythm, optional
        The burner's, for weather that was not seen.
    """
    known = np.isfinite(days.starts) & days.is_whole
    total = (days.starts + days.charges)[known]
    if known.sum() < _LEAST_DAYS:
        return Estimate.unknown("1", f"only {int(known.sum())} whole days; {_LEAST_DAYS} needed")
    if known.sum() >= YEAR_DAYS - 5:
        year = float(total[-YEAR_DAYS:].mean() * YEAR_DAYS)
        doubt = 0.01 + (YEAR_DAYS - min(int(known.sum()), YEAR_DAYS)) / YEAR_DAYS
        return Estimate(year, year * (1 - doubt), year * (1 + doubt), "1", "a whole year measured")
    sums = _draw_sums(days, known, timezone, rhythm)
    low, middle, high = np.quantile(sums, (0.025, 0.5, 0.975))
    words = f"{int(known.sum())} of {YEAR_DAYS} days measured, the rest from days of like weather"
    if not np.isfinite(days.outdoor_c[known]).any():
        words += "; no outdoor temperature, so the season is a guess"
    return Estimate(float(middle), float(low), float(high), "1", words)


def _draw_sums(
    days: FireDays, known: np.ndarray, timezone: str, rhythm: Rhythm | None
) -> FloatArray:
    """Starts of the year, one sum for each possibility."""
    rng = np.random.default_rng(11)
    first = float(day_of_year(np.int64(days.start_ms[0] + DAY_MS // 2)))
    has_weather = bool(np.isfinite(days.outdoor_c).sum() >= _LEAST_DAYS)
    outdoor = Days(days.start_ms, days.outdoor_c) if has_weather else None
    years = drawn_years(outdoor, belief_of_zone(timezone), first, number=_DRAWS, seed=5)
    number = min(int(known.sum()), YEAR_DAYS)
    usual = years.usual_c.mean(axis=0)[: len(known)]
    seen_c = np.where(np.isfinite(days.outdoor_c), days.outdoor_c, np.resize(usual, len(known)))
    temp, heat, charge = seen_c[known], days.starts[known], days.charges[known]
    measured = float((heat + charge)[-number:].sum())
    rest = years.temp_c[:, len(known) :] if len(known) < YEAR_DAYS else years.temp_c[:, :0]
    sums = np.empty(_DRAWS)
    by_load = _by_load(days, known, rhythm, rng) if rhythm else None
    brief = rhythm.brief if rhythm else 0.0
    for k in range(_DRAWS):
        rows = _resampled(rng, len(temp))
        load = None if by_load is None else by_load[k]
        heating = _heating_starts(rest[k], temp[rows], heat[rows], rng=rng, by_load=load)
        charging = charge[rows].mean() * np.exp(0.15 * rng.standard_normal())
        factor = np.exp(_MODEL_DOUBT * rng.standard_normal())
        holes = (YEAR_DAYS - number - rest.shape[1]) * (heat + charge)[rows].mean()
        sums[k] = heating.sum() * factor + charging * rest.shape[1] + max(holes, 0.0)
    unseen = np.exp(brief * rng.random(_DRAWS))
    return np.asarray((measured + sums) * unseen)


_SIGNATURE = Prior(change_c=15.5, change_sd=2.0, base_use=0.0, base_sd=0.5)
"""Firings for heating alone leave nothing for warm days."""
_SATURATED = 0.85
_FEWEST = 10


def _by_load(
    days: FireDays, known: np.ndarray, rhythm: Rhythm, rng: np.random.Generator
) -> FloatArray | None:
    """Starts a day over the grid of temperatures as the load would have it, one row a draw.

    Hours of firing follow the signature up to the hours of demand D, and N = 3600 h (1 - h / D) / E
    starts keep E seconds of full flame each. A burner that modulates runs through where its least
    flame is needed all the time: there h = D and N = 0.
    """
    usable = known & np.isfinite(days.outdoor_c) & np.isfinite(days.demand_h)
    longest = float(np.quantile(days.demand_h[usable], 0.95)) if usable.any() else 0.0
    free = usable & (days.on_h < _SATURATED * longest)
    if free.sum() < _FEWEST or np.ptp(days.outdoor_c[free]) < _RAMP_K:
        return None
    number = (days.start_ms + DAY_MS // 2) // DAY_MS
    points = Points.of(days.outdoor_c[free], days.on_h[free], at=number[free], unit="h")
    drawn = fit_signature(points, prior=_SIGNATURE).draws
    _, slope, change = drawn[rng.integers(0, len(drawn), _DRAWS)].T
    demand = np.minimum(longest + (24.0 - longest) * rng.random(_DRAWS), 24.0)[:, None]
    hours = np.minimum(slope[:, None] * np.maximum(change[:, None] - _GRID_C, 0.0), 0.98 * demand)
    return np.asarray(3600.0 * hours * (1.0 - hours / demand) / rhythm.stroke_s, np.float64)


def _resampled(rng: np.random.Generator, count: int, length: int = 4) -> np.ndarray:
    """Days drawn with replacement in spells of some days, for they hang together."""
    spells = rng.integers(0, count, count // length + 1)
    rows = (spells[:, None] + np.arange(length)[None, :]).ravel() % count
    return np.asarray(rows[:count])


_GRID_C = np.arange(-25.0, 35.0, 1.0)
_FARTHEST = (0.4, 2.5)
"""Bounds of how far the days seen may part from their load's starts at the edge of them."""
_LOAD_DOUBT_PER_K = 0.04


def _heating_starts(
    at_c: FloatArray,
    temp: FloatArray,
    starts: FloatArray,
    *,
    rng: np.random.Generator,
    by_load: FloatArray | None,
) -> FloatArray:
    """Starts for heating on days of given temperatures, for one possibility."""
    if not len(at_c):
        return np.zeros(0)
    inside = np.clip(_GRID_C, temp.min(), temp.max())
    weight = np.exp(-0.5 * ((inside[:, None] - temp[None, :]) / _WIDTH_K) ** 2) + 1e-9
    level = np.asarray((weight * starts[None, :]).sum(axis=1) / weight.sum(axis=1))
    cold, warm = np.maximum(temp.min() - _GRID_C, 0.0), np.maximum(_GRID_C - temp.max(), 0.0)
    doubt = rng.standard_normal(2)
    limit = rng.normal(*_LIMIT_C)
    if by_load is None:
        per_k = _DOUBT_PER_K
        heats = np.clip((limit - _GRID_C) / _RAMP_K, 0.0, 1.0)
        level = np.where(warm > 0, level * heats, level)
    else:
        per_k = _LOAD_DOUBT_PER_K
        level = _beyond(level, by_load, inside)
    level = level * np.exp(np.clip(per_k * (doubt[0] * cold + doubt[1] * warm), -1.5, 1.2))
    return np.asarray(np.interp(at_c, _GRID_C, level))


def _beyond(level: FloatArray, by_load: FloatArray, inside: FloatArray) -> FloatArray:
    """Starts outside of the temperatures seen by the load, scaled to what was seen at its edge."""
    at_edge = np.interp(inside, _GRID_C, by_load)
    with np.errstate(invalid="ignore", divide="ignore"):
        scale = np.clip(level / at_edge, *_FARTHEST)
    scaled = np.where(at_edge > 1.0, by_load * scale, by_load)
    return np.asarray(np.where(inside == _GRID_C, level, scaled), np.float64)


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
