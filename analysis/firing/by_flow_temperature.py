"""Firings from the boiler's flow temperature alone: turning points, then the kink of each rise.

The water warms from the moment the burner starts and goes on warming for a while after it stops,
because the heat has still to reach the sensor: the rise then bends. A firing therefore begins at a
low turning point and ends where the rise bends, or, where the temperature stood at its set point
meanwhile, where it begins to fall away. What turns by less than the sensor's own unrest is not
seen: a modulating boiler whose water swings by less than a sensor step cannot be counted this way,
which is then told, with the time over which it worked.
"""

from typing import NamedTuple

import numpy as np

from analysis.base.time import HOUR_MS, MINUTE_MS, SECOND_MS, Span
from analysis.firing.cycle_statistics import DEMAND_PAUSE_MS
from analysis.firing.firings import Firings
from analysis.plant.plant import Channel
from analysis.readings.readings import (
    FloatArray,
    Holds,
    IntArray,
    Readings,
    covered_hours,
    hold_limit_ms,
    holds,
    usual_step_ms,
)
from analysis.readings.two_levels import BoolArray, Runs, rejoined

_FINEST_MS = 20 * SECOND_MS
_LEAST_SWING_K, _MOST_SWING_K = 0.5, 2.0
"""A swing counts from what the sensor shows apart from its unrest, within these bounds."""
_LEAST_RATE_K_MIN = 0.15
"""Warming slower than this is a drift (common practice: burners give 1 to 40 K/min; less remains
of it behind pipes and a strapped sensor)."""
_SENSOR_LAG_MS = 20 * SECOND_MS
"""A strapped sensor follows its pipe by 20 to 60 s (from memory); the least is taken."""
_PLATEAU_MS = 10 * MINUTE_MS
_SLOPE_MS = 3 * MINUTE_MS
_FREE_FALL, _SLOW = 0.5, 0.3
"""Shares of the steepest fall: water without flame cools by half of it at least; what sinks by less
than a third on average is held by a small flame (tried on rehearsed houses)."""
_QUICK_TURN_MS = 4 * MINUTE_MS
_LEAP_K = 4.0
_LEAST_DIPS = 20
_ROOM_C, _LEAST_ABOVE_K = 20.0, 5.0
_LONG_DIP_MS, _LONGEST_DIP_MS = 10 * MINUTE_MS, 12 * HOUR_MS
_HELD, _DEEPEST_HELD_K = 0.4, 8.0
"""Share of the usual fall without flame below which a long dip was held by a flame, if it is not
deep, as in still water that cools for hours (tried on rehearsed houses that modulate)."""
_SPIKE_K = 15.0


def firings_from_temperature(
    readings: Readings, channel: Channel, span: Span, *, modulates: bool = False
) -> Firings | None:
    """Firings as rises of the flow temperature; None where there are fewer than three.

    Parameters
    ----------
    readings : Readings
        Flow temperature near the boiler [Cel].
    channel : Channel
        Where it was measured.
    span : Span
        Time to look at.
    modulates : bool
        Whether a smaller flame may hold the water while it sinks.
    """
    known = readings.within(span).known()
    if len(known) < 10:
        return None
    series = _thinned(_without_spikes(known))
    swing = least_swing_k(series.value)
    rises = _steep(_rises(series, swing), series)
    if len(rises.low) < 3:
        return None
    step_ms = usual_step_ms(series)
    start = series.time_ms[rises.low] - min(step_ms // 2, MINUTE_MS // 2) - _SENSOR_LAG_MS
    end = series.time_ms[_ends(rises, series)] - _SENSOR_LAG_MS
    joins = _passed_by(rises, series)
    if modulates:
        joins |= _held_by_flame(rises, series)
    start, end, peak_at = _joined(start, end, series.time_ms[rises.high], joins)
    held = holds(known, hold_limit_ms(readings, channel), span)
    runs = _runs(start, np.maximum(end, start + step_ms), peak_at, held)
    why = _why_blind(rises, series, swing)
    return Firings(
        "temperature",
        channel.id,
        _spells(runs) if why else runs,
        covered_hours(held),
        usual_step_ms(readings) / SECOND_MS,
        tells="running" if why else "firings",
        note=why,
    )


def _without_spikes(readings: Readings) -> Readings:
    """Leave out lone values far from both neighbours, such as a probe's power-on 85 Cel."""
    v = readings.value
    off = np.zeros(len(v), bool)
    off[1:-1] = (np.abs(v[1:-1] - v[:-2]) > _SPIKE_K) & (np.abs(v[1:-1] - v[2:]) > _SPIKE_K)
    return Readings(readings.time_ms[~off], v[~off]) if off.any() else readings


def _thinned(readings: Readings) -> Readings:
    """Means of some readings each where they come faster than needed."""
    every = _FINEST_MS // max(usual_step_ms(readings), 1)
    if every < 2:
        return readings
    n = len(readings) // every * every
    time = readings.time_ms[:n].reshape(-1, every).mean(axis=1).astype(np.int64)
    return Readings(time, readings.value[:n].reshape(-1, every).mean(axis=1))


def least_swing_k(value: FloatArray) -> float:
    """Swing that stands out from a sensor's step and unrest [K], learned from its readings."""
    moved = np.abs(np.diff(value))
    moved = moved[moved > 1e-9]
    step = float(np.quantile(moved, 0.02)) if len(moved) else 0.1
    bend = np.abs(value[2:] - 2 * value[1:-1] + value[:-2])
    # 30 % of normal deviates lie within 0.385 sigma; a second difference has sqrt(6) sigma
    unrest = float(np.quantile(bend, 0.3)) / 0.385 / 6**0.5 if len(bend) else 0.0
    wanted = max(2.0 * step if step >= 0.2 else 4.0 * step, 8.0 * unrest)
    return float(np.clip(wanted, _LEAST_SWING_K, _MOST_SWING_K))


class _Rises(NamedTuple):
    """Rows of the low point before each rise, of its high point, and of the next low point."""

    low: IntArray
    high: IntArray
    after: IntArray


def _rises(series: Readings, swing_k: float) -> _Rises:
    turns = turning_points(series.value, swing_k)
    lows = [k for k in range(len(turns) - 1) if turns[k][1] < 0]
    last = len(series) - 1
    low = [turns[k][0] for k in lows]
    high = [turns[k + 1][0] for k in lows]
    after = [turns[k + 2][0] if k + 2 < len(turns) else last for k in lows]
    return _Rises(*(np.array(x, np.int64) for x in (low, high, after)))


def turning_points(value: FloatArray, swing: float) -> list[tuple[int, int]]:
    """Rows where a series turns by at least a swing, with +1 for a high and -1 for a low.

    Of a level low the last row is given, of a level high the first. Only local
    extremes are walked through, one by one.

    Parameters
    ----------
    value : ndarray of float64, shape (n,)
        Evenly or unevenly taken, without NaN.
    swing : float
        Least difference between a high and the next low.
    """
    step = np.diff(value)
    moving = np.flatnonzero(step)
    if not len(moving):
        return []
    sign = np.sign(step[moving])
    turns = np.flatnonzero(sign[1:] != sign[:-1])
    rows = np.where(sign[turns] > 0, moving[turns] + 1, moving[turns + 1])
    kinds = sign[turns].astype(np.int64)
    found: list[tuple[int, int]] = []
    # +1 while rising towards a high, -1 while falling towards a low
    heading = int(sign[0])
    best = 0 if heading < 0 else int(moving[0])
    for row, kind in zip(rows.tolist(), kinds.tolist(), strict=True):
        away = (value[best] - value[row]) * heading
        if kind == heading:
            if away <= 0:
                best = row
        elif away >= swing:
            found.append((best, heading))
            heading, best = -heading, row
    if (value[best] - value[-1]) * heading >= swing:
        found.append((best, heading))
    first = int(moving[0])
    if found and found[0][1] > 0 and value[found[0][0]] - value[first] >= swing:
        found.insert(0, (first, -1))
    return found


def _rates(series: Readings) -> FloatArray:
    """Rate between neighbouring readings [K/min]."""
    rate: FloatArray = np.diff(series.value) / (np.diff(series.time_ms) / MINUTE_MS)
    return rate


def _steep(rises: _Rises, series: Readings) -> _Rises:
    """Rises that are anywhere as fast as a burner makes them."""
    if not len(rises.low):
        return rises
    keep = _steepest(_rates(series), rises.low, rises.high) >= _LEAST_RATE_K_MIN
    return _Rises(*(column[keep] for column in rises))


def _steepest(rate: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """Greatest rate between two rows, `last` after `first`."""
    pairs = np.column_stack((first, np.minimum(last, len(rate)))).ravel()
    most: FloatArray = np.maximum.reduceat(np.append(rate, rate[-1:]), pairs)[::2]
    return most


def _ends(rises: _Rises, series: Readings) -> IntArray:
    """Row at which each firing ended: where the rise bends, or where a plateau falls away."""
    rate = _rates(series)
    slope = _slopes(series)
    ends = rises.high.copy()
    for k, (low, high, after) in enumerate(zip(*(c.tolist() for c in rises), strict=True)):
        falls = _falls_away(series, slope, high, after)
        if falls is not None:
            ends[k] = falls
            continue
        rise = rate[low:high]
        ends[k] = low + 1 + int(np.flatnonzero(rise >= 0.5 * rise.max())[-1])
    return ends


def _falls_away(series: Readings, slope: FloatArray, high: int, after: int) -> int | None:
    """Row at which a plateau ends: held, or let down slowly, and then cooled as without flame.

    None where the fall begins within minutes of the highest point, as heat
    still reaches the sensor then.
    """
    fall = slope[high:after]
    if not len(fall) or fall.min() >= 0:
        return None
    falls = high + int(np.argmax(fall <= _FREE_FALL * fall.min()))
    minutes = (series.time_ms[falls] - series.time_ms[high]) / MINUTE_MS
    if minutes * MINUTE_MS <= _PLATEAU_MS:
        return None
    sinking = (series.value[high] - series.value[falls]) / minutes
    return falls if sinking <= _SLOW * -fall.min() else None


def _slopes(series: Readings) -> FloatArray:
    """Rate of each row towards some minutes later [K/min]: one sensor step is no fall yet."""
    later = np.searchsorted(series.time_ms, series.time_ms + _SLOPE_MS)
    later = np.minimum(np.maximum(later, np.arange(len(series)) + 1), len(series) - 1)
    minutes = np.maximum((series.time_ms[later] - series.time_ms) / MINUTE_MS, 1e-6)
    return np.asarray((series.value[later] - series.value) / minutes, np.float64)


def _joined(
    start: IntArray, end: IntArray, peak_at: IntArray, joins: BoolArray
) -> tuple[IntArray, IntArray, IntArray]:
    """Join rises where the dip between one and the next was no rest."""
    opens, closes = np.append([True], ~joins), np.append(~joins, [True])
    return start[opens], end[closes], peak_at[closes]


def _passed_by(rises: _Rises, series: Readings) -> BoolArray:
    """Dips, one between each rise and the next, of what passes by: quick, then warmer than before.

    Where the store takes over while the burner runs, its cold water passes the
    sensor for a minute or two, and the water then warms beyond where it was.
    """
    peak = series.value[rises.high]
    quick = series.time_ms[rises.low[1:]] - series.time_ms[rises.high[:-1]] < _QUICK_TURN_MS
    return np.asarray(quick & (peak[1:] > peak[:-1] + _LEAP_K))


def _held_by_flame(rises: _Rises, series: Readings) -> BoolArray:
    """Long dips, one between each rise and the next, in which a smaller flame went on burning.

    Water without flame falls by a share of what it lies above the room (Newton's law of cooling),
    and does so soon: what in many minutes never falls nearly so fast is held.
    """
    high, low = rises.high[:-1], rises.low[1:]
    length = series.time_ms[low] - series.time_ms[high]
    brief = length <= DEMAND_PAUSE_MS
    if brief.sum() < _LEAST_DIPS:
        return np.zeros(len(high), bool)
    above = np.maximum(series.value[high] - _ROOM_C, _LEAST_ABOVE_K)
    fall = _steepest(-_slopes(series), high, low) / above
    usual = float(np.median(fall[brief]))
    is_long = (length >= _LONG_DIP_MS) & (length <= _LONGEST_DIP_MS)
    is_shallow = series.value[high] - series.value[low] <= _DEEPEST_HELD_K
    return np.asarray(is_long & is_shallow & (fall < _HELD * usual), bool)


def _runs(start: IntArray, end: IntArray, peak_at: IntArray, held: Holds) -> Runs:
    """Runs with the rests between them, incomplete where a gap lies at an edge."""
    broken = held.end_ms[:-1][held.start_ms[1:] > held.end_ms[:-1]]
    first, last = held.start_ms[0], held.end_ms[-1]
    gap_before = np.searchsorted(broken, start) != np.searchsorted(broken, peak_at)
    opens, closes = ~gap_before & (start > first), ~gap_before & (peak_at < last)
    rest = np.append(start[1:], end[-1:])
    parted = np.searchsorted(broken, end) != np.searchsorted(broken, rest)
    return Runs(start, np.minimum(end, rest), opens, closes, np.where(parted, end, rest))


# what cannot be told


_CLEAR = 2.75
_LEAST_STEPS = 4.0
_NEAR, _MOST_NEAR = 1.6, 0.065
"""Of swings less than 2.75 times what counts as one, or with one in fifteen less than 1.6 times, or
of firings less than four readings apart, so many go unseen that their number is no figure (tried on
rehearsed houses: F1 below 0.95)."""


def _why_blind(rises: _Rises, series: Readings, swing_k: float) -> str:
    """Why single firings cannot be told from this temperature; empty where they can."""
    usual_k = float(np.median(series.value[rises.high] - series.value[rises.low]))
    apart = np.diff(series.time_ms[rises.low])
    apart = apart[apart <= DEMAND_PAUSE_MS]
    steps = float(np.median(apart)) / usual_step_ms(series) if len(apart) else _LEAST_STEPS
    runs_s = "; it counts as running from firing to firing while rests are short"
    dips_k = series.value[rises.high[:-1]] - series.value[rises.low[1:]]
    near = float(np.mean(dips_k < _NEAR * swing_k))
    if near > _MOST_NEAR and usual_k >= _CLEAR * swing_k:
        return (
            f"{near:.0%} of the swings are hardly more than the {swing_k:.1f} K that this sensor "
            f"shows at all, so others go unseen: it cannot tell single firings{runs_s}"
        )
    if usual_k < _CLEAR * swing_k:
        return (
            f"the water swings by {usual_k:.1f} K only, too little for this sensor: it cannot tell "
            f"single firings{runs_s}"
        )
    if steps < _LEAST_STEPS:
        return f"firings follow faster than readings: they cannot tell single firings{runs_s}"
    return ""


def _spells(runs: Runs) -> Runs:
    """Firings joined over short rests: the time over which the boiler was at work."""
    rest = runs.start_ms[1:] - runs.end_ms[:-1]
    return rejoined(runs, rest > DEMAND_PAUSE_MS)
