"""How far a pump's power and water have gone from usual, as judges of wear and sludge see it."""

import numpy as np

from analysis.pump.baseline import Trend, flow_trend, level_trend, running_median
from analysis.pump.epochs import Epoch, PumpHistory
from analysis.readings.readings import FloatArray
from analysis.readings.two_levels import BoolArray
from analysis.readings.worked_once import once
from analysis.statistics.control_charts import cusum

RISE = {"induction": 0.025, "electronic": 0.06}
"""Rise of power that counts beside a second sign: drag of a fifth of the torque makes 4 % on an
induction pump and more on an electronic one (models, no measurement)."""
RESTLESS = 1.3
_FINEST = 0.15
"""Changes from minute to minute below this share of a plug's step come from its rounding."""
LINGER = 0.16
"""Rise of the loop's exponent that counts: a resistance doubled takes a quarter of the flow."""
WIDTH = 4
HIDES = 0.4
"""Three standard deviations beyond which the loss of a third of the water, ln 1.5, is no sign."""
_MANY_STEPS, _SHOWS = 5.0, 0.0055
"""A sound pump at a plug is restless by 0.003 to 0.004 of its level (models and a real pump); twice
as much must show for silence to say something."""
_UNSEEN_DAYS = 4
_SUM, _MOST_SIGMA, _MANY = 25.0, 4.0, 9
"""A sum of 25 sigma beyond one a day takes nine days at least, however far the power has gone."""
_LEAN = 0.35
_DEEP_SIGMA, _MOST_FALL, _CAPACITOR_FALL = 2.0, 0.04, 0.01
"""A loop four times as narrow takes at most some per cent of a capacitor motor's power (model)."""


def floor_above(history: PumpHistory, trend: Trend) -> FloatArray:
    """Rise of the lowest power of a day; drag lifts it too, opening valves do not."""
    floor = history.even.low_w
    usual = float(np.median(floor[trend.learned]))
    rise = np.log(floor[trend.rows] / usual) + trend.spread
    coarse = history.quantum_w / usual
    return np.where(coarse > 0.03, np.inf, rise)


def came_slowly(strength: FloatArray) -> BoolArray:
    """Whether a strength grew over days, not from one day to the next."""
    smooth = running_median(strength, 3)
    found = np.zeros(len(smooth), bool)
    for k in range(len(smooth)):
        under = np.flatnonzero(smooth[: k + 1] < 0.3)
        since = int(under[-1]) + 1 if len(under) else 0
        rising = smooth[since : k + 1]
        between = int((rising < 0.85).sum())
        goes_on = k >= 6 and bool((np.diff(smooth[k - 6 : k + 1 : 3]) > 0.3).all())
        found[k] = between >= 2 or goes_on or (k > 0 and found[k - 1] and smooth[k] >= 0.3)
    return found


def rose_unseen(history: PumpHistory, trend: Trend, strength: FloatArray) -> BoolArray:
    """Whether a strength grew on days of which no like ones were learned, and without a jump.

    The least power of those days tells that it went from one to the other by small steps.
    """
    floor = running_median(np.log(history.even.low_w), 2)
    smooth = running_median(strength, 3)
    found = np.zeros(len(smooth), bool)
    for k in range(len(smooth)):
        under = np.flatnonzero(strength[: k + 1] < 0.3)
        if not len(under) or not smooth[k] >= 0.3:
            continue
        first, last = trend.rows[under[-1]], trend.rows[k]
        steps = np.diff(floor[first : last + 1])
        unseen = (last - first) - (k - int(under[-1]))
        steps = steps[np.isfinite(steps)]
        rise = floor[last] - floor[first]
        found[k] = unseen >= _UNSEEN_DAYS and len(steps) > 0 and steps.max() < 0.5 * rise
    return found


def quantum(history: PumpHistory, trend: Trend) -> float:
    """Share of the level that the plug's resolution hides."""
    return 0.35 * history.quantum_w / max(trend.level, 1.0)


def unrest_ratio(history: PumpHistory, trend: Trend) -> FloatArray:
    """Restlessness of the last days against the baseline's; NaN where too fine for the plug.

    Where the baseline's own hides in the plug's rounding, so much of it as would show stands for
    it, if the power wanders over many steps of the plug: over those, rounding evens out.
    """
    days = history.days
    usual = float(np.nanmedian(days.restless[trend.learned]))
    shows = _FINEST * history.quantum_w / trend.level
    ratio = running_median(days.restless[trend.rows], WIDTH) / max(usual, shows, 1e-9)
    if usual > shows:
        return ratio
    wanders_w = float(np.nanmedian((days.high_w - days.low_w)[trend.learned]))
    tells = history.reports == "periodic" and wanders_w > _MANY_STEPS * history.quantum_w
    return np.where(tells & (shows < _SHOWS), ratio, np.nan)


def is_quiet_rise(history: PumpHistory, epoch: Epoch, trend: Trend) -> BoolArray:
    """Whether a rise of an electronic pump's power is laid to its water though that cannot tell.

    Worn bearings make the power restless; magnetite in a magnetic rotor and a narrowed loop leave
    it as quiet as ever. That decides where the water wanders too much to say either.
    """
    if epoch.drive != "electronic" or not _water_hides(history, epoch):
        return np.zeros(len(trend.rows), bool)
    with np.errstate(invalid="ignore"):
        return np.asarray(unrest_ratio(history, trend) <= RESTLESS)


def _water_hides(history: PumpHistory, epoch: Epoch) -> bool:
    """Whether the loss of a third of the water would hide in what the pipes show."""
    trend = flow_trend(history, epoch)
    return trend is None or 3.0 * trend.spread > HIDES


def flow_strength(history: PumpHistory, epoch: Epoch) -> FloatArray:
    """Strength of the signs that less water flows, one a row of the table; 0 where unknown."""
    found = np.zeros(len(history.days))
    trend = flow_trend(history, epoch)
    if trend is not None and len(trend.rows):
        least = max(LINGER, 3.0 * trend.spread)
        found[trend.rows] = np.nan_to_num(running_median(trend.above, 5) / least)
    return found


# second opinion


@once
def second_opinion(history: PumpHistory, epoch: Epoch) -> tuple[FloatArray, FloatArray]:
    """Strengths of a plain cumulative sum over an electronic pump's rise, one a row of the table.

    A sum waits for days of a small shift where a median of a few is lost in a wide baseline. It
    names no cause: where the water lingers as well, and the power is as quiet as ever, the rise
    is laid to sludge, which magnetic rotors gather; else to drag.

    Returns
    -------
    tuple of ndarray
        Of drag and of sludge, 1 where they suffice.
    """
    drag, sludge = np.zeros(len(history.days)), np.zeros(len(history.days))
    trend = level_trend(history, epoch) if epoch.drive == "electronic" else None
    if trend is None or len(trend.rows) < _MANY:
        return drag, sludge
    if not np.isfinite(history.days.share[trend.learned]).all():
        return drag, sludge
    above = np.fmin(trend.above, floor_above(history, trend))
    sigma = max(trend.spread, quantum(history, trend))
    sums = cusum(np.clip(above / sigma, -_MOST_SIGMA, _MOST_SIGMA), slack=1.0).up
    strength = np.fmin(sums / _SUM, running_median(above, _MANY) / RISE["electronic"])
    slowly = came_slowly(above / RISE["electronic"])
    slowly |= rose_unseen(history, trend, above / RISE["electronic"])
    strength = np.where(slowly, np.nan_to_num(strength), 0.0)
    with np.errstate(invalid="ignore"):
        quiet = ~(unrest_ratio(history, trend) > RESTLESS)
    lingers = quiet & (water_lingers(history, epoch)[trend.rows] > _LEAN)
    lingers |= is_quiet_rise(history, epoch, trend)
    drag[trend.rows] = np.where(lingers, 0.0, strength)
    sludge[trend.rows] = np.where(lingers, strength, 0.0)
    return drag, sludge


def agreeing_fall(history: PumpHistory, epoch: Epoch) -> FloatArray:
    """Strength of an induction pump's fall of power where its water lingers too, one a row.

    Against a narrowed loop a capacitor motor takes a per cent less, which weather does as well:
    days count only in weather that was met while learning. Half of what each sign would want alone
    is enough where both agree. Air makes unrest, and a capacitor takes the power factor with it.
    """
    found = np.zeros(len(history.days))
    trend = level_trend(history, epoch) if epoch.drive == "induction" else None
    flow = flow_trend(history, epoch)
    if trend is None or flow is None:
        return found
    met = np.isin(trend.rows, flow.rows)
    rows, fall = trend.rows[met], -trend.above[met]
    if len(rows) < _MANY:
        return found
    sigma = max(trend.spread, quantum(history, trend))
    sums = cusum(np.clip(fall / sigma, -_MOST_SIGMA, _MOST_SIGMA), slack=1.0).up
    depth = running_median(fall, _MANY)
    strength = np.fmin(sums / (0.5 * _SUM), depth / (_DEEP_SIGMA * sigma))
    strength = np.fmin(strength, water_lingers(history, epoch)[rows] / 0.5)
    with np.errstate(invalid="ignore"):
        restless = unrest_ratio(history, trend)[met] > RESTLESS
        sound = came_slowly(fall / (_DEEP_SIGMA * sigma)) & (depth < _MOST_FALL) & ~restless
    factor = history.even.factor
    if np.isfinite(factor[trend.learned]).any():
        usual = float(np.nanmedian(factor[trend.learned]))
        with np.errstate(invalid="ignore"):
            sound &= ~(running_median(factor[rows], 5) < usual - _CAPACITOR_FALL)
    found[rows] = np.where(sound, np.nan_to_num(strength), 0.0)
    return found


def water_lingers(history: PumpHistory, epoch: Epoch) -> FloatArray:
    """Strength of the signs of less water as last seen, one a row of the table; 0 before any."""
    found = np.zeros(len(history.days))
    trend = flow_trend(history, epoch)
    if trend is None or len(trend.rows) < _MANY:
        return found
    seen = running_median(trend.above, _MANY) / max(LINGER, 3.0 * trend.spread)
    last = np.searchsorted(trend.rows, np.arange(len(found)), side="right") - 1
    return np.where(last >= 0, np.nan_to_num(seen[np.maximum(last, 0)]), 0.0)
