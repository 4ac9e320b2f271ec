"""How a boiler may fire over the weather: possibilities drawn, and weighed by the days seen.

The load grows with what outdoors lacks to the heating limit. While heat is called for, a burner
whose least flame is more than the load fires and rests: N = v (1 - v) / E starts, with v the load
over that flame and E the seconds of it that a cycle lays up in water and metal; one whose least
flame is less than the load runs through. So starts rise from nothing at the limit to a peak at
part load and fall again in the cold, where that is depends on how the house calls for heat.
"""

from typing import NamedTuple

import numpy as np
from scipy.special import expit, ndtr

from analysis.firing.full_load_hours import HEATING_H, SPREAD
from analysis.firing.heat_per_cycle import Flame
from analysis.readings.readings import FloatArray, IntArray

NUMBER = 2000
"""Possibilities drawn."""
_LIMIT_C = (15.8, 1.6)
"""Heating limits lie at 14 to 18 Cel (common practice, no source)."""
_SUN_K = (1.5, 1.0)
"""Kelvin by which midsummer's sun lowers the limit, as in `analysis.energy.use_patterns`."""
_CALLS = (3.0, 0.8)
"""Calls for heat a day, by room and clock (common practice, no source)."""
_LEAST_FLAME = (0.15, 0.40)
_WHOLE, _WHOLE_MODULATING = 0.3, 0.1
"""Least load at which a room calls all day: water led by the weather is hardly warmer than the
house needs, so that a modulating boiler's room may call all day at any load."""
_SWITCH_K = 0.5
"""Kelvin about the limit within which a day is part heated, part not."""
_BASE, _BASE_MODULATING, _BASE_SPREAD = 0.075, 0.025, 0.55
"""Share of the rated input that jacket, flue and pipes lose while water is kept hot for a call: 2
to 20 %, of a modulating boiler, small and cool, 1 to 6 % (common practice, no source). It makes an
old boiler fire about as often on mild days as on cool ones, as long as heat is called for."""
_ALWAYS, _ALWAYS_OLD, _BY_ROOM = 0.5, 0.65, 0.8
"""Chances that a modulating or an old boiler is kept warm by its own thermostat, not called by the
room; and from where on the room's call decides alone (common practice, no source)."""
_SCATTER = (0.35, 0.4)
_EVEN, _EVEN_KEPT = (0.35, 0.4), 0.15
"""Scatter of the hours of demand of a boiler called by the room, and the share of it that is left
where its own thermostat or clock calls, or the room wants all that the clock allows: then the same
hours every day, whatever the weather."""
_RUNS_ON = (1.3, 0.6)
"""By how much a modulating burner's starts fall behind the law of part load as its share of firing
grows: part of the day it runs through, and its rests crowd in the rest (the logarithm falls by 1.3
a share of 1, spread 0.6, in 31 rehearsed houses; a model, no measurement)."""
_LIFT = (0.3, 1.0)
"""By how much its flame stands above the least at short firings, as each begins high and its
control has no time to lower it: mean flame 1.2 to 2 times the least (rehearsed houses; a model)."""
_WORTH = 1.0 / 5.0
"""Weather and habits hang together for days: five days are worth one."""
_HEATS = np.arange(6.0, 26.0, 2.0)
_NODES = (np.array([0.6, 1.0, 1.4]), np.array([0.25, 0.5, 0.25]))
"""Loads within a day, as shares of its mean, and their weights."""


class Seen(NamedTuple):
    """Days seen, one an entry: outdoors [Cel], shape (n,) or (k, n); sun 0 to 1; what was counted.

    `slow_c` is the same weather as `damped` leaves it. `on_h` and `demand_h` are hours of firing
    and of heat demand; NaN where unknown.
    """

    temp_c: FloatArray
    slow_c: FloatArray
    sun: FloatArray
    starts: FloatArray
    on_h: FloatArray
    demand_h: FloatArray


class _Ways(NamedTuple):
    """Possibilities, each of shape (k, 1); see `_ways`."""

    limit_c: FloatArray
    sun_k: FloatArray
    soft_k: FloatArray
    full_k: FloatArray
    called: FloatArray
    whole: FloatArray
    most: FloatArray
    least: FloatArray
    stroke_s: FloatArray
    calls: FloatArray
    scatter: FloatArray
    base: FloatArray
    even: FloatArray
    runs_on: FloatArray
    lift: FloatArray


class _Brought(NamedTuple):
    """What a day brings: starts, hours of firing, hours of demand, each of shape (k, n).

    `is_on` is the chance that heating is not shut off for the season, `loose` how far the room
    calls for less than the clock allows, 0 to 1.
    """

    starts: FloatArray
    on_h: FloatArray
    demand_h: FloatArray
    is_on: FloatArray
    loose: FloatArray


_KEPT = float(np.exp(-1.0))


def damped(temp_c: FloatArray) -> FloatArray:
    """Daily means as a control with a lag of a day feels them: by these heating is shut off.

    Parameters
    ----------
    temp_c : ndarray, shape (..., n)
        Daily means of days in a row [Cel], none missing.
    """
    found = np.empty_like(temp_c)
    state = temp_c[..., 0].copy()
    for day in range(temp_c.shape[-1]):
        temp = temp_c[..., day]
        found[..., day] = temp + (state - temp) * (1.0 - _KEPT)
        state = temp + (state - temp) * _KEPT
    return found


def _ways(kicks: FloatArray, flame: Flame, heat_k: FloatArray) -> _Ways:
    """Turn standard normal numbers into possibilities.

    `called` is how far the house calls for heat by length of time (0: always while it is cool,
    1: only as long as needed), `whole` the load at which it calls all day.
    """
    even = ndtr(kicks)
    limit = _LIMIT_C[0] + _LIMIT_C[1] * kicks[:, 0]
    hours = HEATING_H * np.exp(SPREAD * kicks[:, 3])
    at = np.clip((limit - _HEATS[0]) / 2.0, 0.0, len(_HEATS) - 1.001)
    cell = at.astype(np.intp)
    row = np.arange(len(kicks))
    lack = heat_k[row, cell] + (heat_k[row, cell + 1] - heat_k[row, cell]) * (at - cell)
    usual, always = (_BASE_MODULATING, _ALWAYS) if flame.modulates else (_BASE, _ALWAYS_OLD)
    base = usual * np.exp(_BASE_SPREAD * kicks[:, 11])
    days = 0.5 * (heat_k[row, cell + 1] - heat_k[row, cell])
    hours = np.maximum(hours - 24.0 * days * base, 0.5 * hours)
    lowest = _WHOLE_MODULATING if flame.modulates else _WHOLE
    low, high = _LEAST_FLAME
    least = low + (high - low) * even[:, 7] if flame.modulates else np.ones(len(kicks))
    called = np.clip((even[:, 4] - always) / (_BY_ROOM - always), 0.0, 1.0)
    found = (
        limit,
        np.maximum(_SUN_K[0] + _SUN_K[1] * kicks[:, 1], 0.0),
        0.5 + 2.0 * even[:, 2],
        24.0 * lack / hours,
        called,
        lowest + (1.0 - lowest) * even[:, 5],
        np.minimum(0.6 + 0.6 * even[:, 6], 1.0),
        least,
        flame.stroke_s * np.exp(flame.spread * kicks[:, 8]),
        _CALLS[0] * np.exp(_CALLS[1] * kicks[:, 9]),
        _SCATTER[0] * np.exp(_SCATTER[1] * kicks[:, 10]),
        base,
        _EVEN[0] * np.exp(_EVEN[1] * kicks[:, 12]),
        *_of_flame(kicks[:, 13], even[:, 14], modulates=flame.modulates),
    )
    return _Ways(*(np.asarray(one[:, None], np.float64) for one in found))


def _of_flame(
    kick: FloatArray, even: FloatArray, *, modulates: bool
) -> tuple[FloatArray, FloatArray]:
    """How far a burner runs on, and lifts its flame at short firings; nothing of one flame."""
    if not modulates:
        return np.zeros(len(kick)), np.full(len(kick), 1e-3)
    low, high = _LIFT
    return np.maximum(_RUNS_ON[0] + _RUNS_ON[1] * kick, 0.0), low + (high - low) * even


_PARAMETERS = len(_Ways._fields)


def _brought(ways: _Ways, temp_c: FloatArray, slow_c: FloatArray, sun: FloatArray) -> _Brought:
    """What days bring in each possibility."""
    is_on = expit((ways.limit_c - slow_c) / _SWITCH_K)
    lack = (ways.limit_c - ways.sun_k * (sun - 0.3) - temp_c) / ways.soft_k
    needed = ways.soft_k * np.logaddexp(0.0, lack) / ways.full_k
    starts, on_h, demand_h, loose = (np.zeros(needed.shape) for _ in range(4))
    for part, weight in zip(*_NODES, strict=True):
        load = np.minimum(needed * part, 1.0)
        called = is_on * np.minimum(load / ways.whole, 1.0) ** ways.called * ways.most
        called = np.maximum(called, load)
        share = _share(np.minimum((load / called + ways.base) / ways.least, 1.0), ways.lift)
        stroke_s = ways.stroke_s * np.exp(ways.runs_on * share)
        starts += weight * 86_400.0 * called * share * (1.0 - share) / stroke_s
        on_h += weight * 24.0 * called * share
        demand_h += weight * 24.0 * called
        loose += weight * ways.called * np.clip(2.0 * (1.0 - load / ways.whole), 0.0, 1.0)
    starts += ways.calls * np.minimum(needed * ways.full_k / 2.0, 1.0)
    return _Brought(starts, on_h, demand_h, is_on, loose)


def _share(part: FloatArray, lift: FloatArray) -> FloatArray:
    """Share of a call over which the burner fires, from the load over its least flame.

    The flame stands ``1 + lift (1 - share)`` times above the least, and the load is their product.
    """
    whole = 1.0 + lift
    return np.asarray((whole - np.sqrt(whole**2 - 4.0 * lift * part)) / (2.0 * lift))


def _log_chance(ways: _Ways, seen: Seen) -> FloatArray:
    """Log likelihood of the days in each possibility, of roots, by which counts scatter evenly.

    By Student's t with four degrees of freedom, as single days are not lived by the weather.
    """
    given = _brought(ways, seen.temp_c, seen.slow_c, seen.sun)
    total = np.zeros(len(ways.limit_c))
    even = ways.even * (_EVEN_KEPT + (1.0 - _EVEN_KEPT) * given.loose)
    pairs = ((seen.starts, given.starts, 0.25, ways.scatter),
             (seen.on_h, given.on_h, 0.25, ways.scatter),
             (seen.demand_h, given.demand_h, 0.02, even))  # fmt: skip
    for told, held, least, scatter in pairs:
        known = np.isfinite(told)
        mean, on = held[:, known], given.is_on[:, known]
        part = scatter[:, known] if scatter.shape[1] > 1 else scatter
        variance = least + ((0.5 * part) ** 2 + 1.0 - on) * mean
        off = (np.sqrt(told[known]) - np.sqrt(on * mean)) ** 2 / variance
        total -= 0.5 * (np.log(variance) + 5.0 * np.log1p(off / 4.0)).sum(axis=1)
    return np.asarray(_WORTH * total)


_STEPS = np.array([0.02, 0.06, 0.15, 0.3, 0.55, 0.8, 1.0, 1.0, 1.0, 1.0])
"""Shares of the evidence taken in, one after another, so that few possibilities die at once."""
_MOVES = (0.7, 0.35)


def drawn_starts(seen: Seen, flame: Flame, year_c: FloatArray, sun: FloatArray) -> FloatArray:
    """Heating starts of every day of the year, one row a possibility that the days seen allow.

    Parameters
    ----------
    seen : Seen
        Days to weigh the possibilities by.
    flame : Flame
        What is known of the burner.
    year_c : ndarray, shape (k, days)
        Years of daily outdoor temperature [Cel], one a possibility.
    sun : ndarray, shape (days,)
        Height of the sun's year, 0 in midwinter, 1 in midsummer.

    Notes
    -----
    A sequential Monte Carlo sampler after Del Moral, Doucet and Jasra (2006): possibilities are
    drawn beforehand, weighed by growing shares of the evidence, picked by weight, and moved about
    by Metropolis steps.
    """
    rng = np.random.default_rng(17)
    count = len(year_c)
    heat_k = np.stack([np.maximum(h - year_c, 0.0).sum(axis=1) for h in _HEATS], axis=1)
    cloud = _Cloud(seen, flame, heat_k)
    kicks, row = rng.standard_normal((count, _PARAMETERS)), np.arange(count)
    chance = cloud.chance(kicks, row)
    for step, more in zip(_STEPS, np.diff(_STEPS, prepend=0.0), strict=True):
        pick = _picked(more * chance, rng)
        kicks, row, chance = kicks[pick], row[pick], chance[pick]
        root = np.linalg.cholesky(np.cov(kicks.T) + 0.01 * np.eye(_PARAMETERS))
        for scale in _MOVES:
            tried = kicks + scale * rng.standard_normal(kicks.shape) @ root.T
            new = cloud.chance(tried, row)
            gain = step * (new - chance) + 0.5 * ((kicks**2).sum(1) - (tried**2).sum(1))
            taken = np.log(rng.random(count)) < gain
            kicks[taken], chance[taken] = tried[taken], new[taken]
    year_c = year_c[row]
    return _brought(_ways(kicks, flame, heat_k[row]), year_c, damped(year_c), sun).starts


class _Cloud(NamedTuple):
    """What possibilities are weighed by."""

    seen: Seen
    flame: Flame
    heat_k: FloatArray

    def chance(self, kicks: FloatArray, row: IntArray) -> FloatArray:
        """Log likelihood of possibilities, each in the weather of a row."""
        seen = self.seen
        own = seen
        if seen.temp_c.ndim == 2:
            own = seen._replace(temp_c=seen.temp_c[row], slow_c=seen.slow_c[row])
        return _log_chance(_ways(kicks, self.flame, self.heat_k[row]), own)


def _picked(log_weight: FloatArray, rng: np.random.Generator) -> IntArray:
    """Possibilities picked by weight, evenly spaced through the sum of weights."""
    count = len(log_weight)
    reach = np.cumsum(np.exp(log_weight - log_weight.max()))
    points = (rng.random() + np.arange(count)) / count * reach[-1]
    return np.asarray(np.minimum(np.searchsorted(reach, points), count - 1), np.int64)
