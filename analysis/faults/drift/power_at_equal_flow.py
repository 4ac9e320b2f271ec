"""An induction pump's power at the same flow of water, hour by hour, and its slow fall.

A day's median mixes hours with valves shut and open; an hour is one or the other. Beside learned
hours of like flow the power of a sound pump stays within two thousandths for months (models at
known mains voltage), so that what sludge takes of it can be seen though valves give the water back.
"""

import numpy as np

from analysis.faults.drift.power_and_flow import RESTLESS, came_slowly, unrest_ratio, water_lingers
from analysis.pump.baseline import Trend, baseline_rows, line_over, met_weather, running_median
from analysis.pump.epochs import Epoch, PumpHistory
from analysis.readings.readings import FloatArray, IntArray
from analysis.readings.two_levels import BoolArray
from analysis.readings.worked_once import once
from analysis.statistics.control_charts import cusum

_LEAST_SPREAD = 0.0008
_CELL, _REACH = 0.02, 0.07
"""Hours are alike whose transfer units differ by less than this share."""
_ROUGH_K = 2.0
"""Water that hardly varied while learning tells nothing of its warmth."""
_PASSES = 2
_LEAST_HOURS, _LEAST_LIKE, _LEAST_DAY = 40, 8, 4
_SUM, _MOST_SIGMA, _MANY = 25.0, 4.0, 9
_ALONE, _ALONE_SIGMA = 0.003, 4.0
"""A fall that weather, voltmeter and water do not make of a sound pump (a model)."""
_BESIDE, _BESIDE_SIGMA = 0.0018, 2.5
_LEAN, _LIVELY = 0.5, -0.5
_OPEN = 0.9
"""Keeps a finding that is there and begins none."""
_MOST_FALL, _CAPACITOR_FALL = 0.04, 0.01
"""A loop four times as narrow takes at most some per cent of a capacitor motor's power (model)."""


@once
def power_at_like_flow(history: PumpHistory, epoch: Epoch) -> Trend | None:
    """Power of each day above that of learned hours with about the same flow of water.

    Returns
    -------
    Trend or None
        None while learning, or where pipes tell too few hours.
    """
    learned = baseline_rows(history, epoch)
    units, power, row = _told_hours(history)
    in_base = np.isin(row, learned)
    if in_base.sum() < _LEAST_HOURS:
        return None
    daily, warmth = np.full(len(history.days), np.nan), np.zeros(len(history.days))
    for _ in range(_PASSES):
        own = power - warmth[row]
        above = own - _usual_at(units, units[in_base], own[in_base])
        daily = np.array([_middle(above[row == k]) for k in range(len(daily))])
        left = _of_warmth(history.days.flow_k, daily, learned)
        daily, warmth = daily - left, warmth + left
    daily[: epoch.first] = daily[epoch.last + 1 :] = np.nan
    within = daily[learned][np.isfinite(daily[learned])]
    if len(within) < _LEAST_DAY:
        return None
    shift = float(np.median(within))
    rows = np.arange(learned[-1] + 1, epoch.last + 1)
    rows = rows[np.isfinite(daily[rows]) & history.days.is_whole[rows]]
    rows = rows[met_weather(history, learned)[rows]]
    return Trend(
        rows=rows,
        above=daily[rows] - shift,
        spread=max(1.4826 * float(np.median(np.abs(within - shift))), _LEAST_SPREAD),
        learned=learned,
        level=float(np.median(history.even.level_w[learned])),
    )


def _told_hours(history: PumpHistory) -> tuple[FloatArray, FloatArray, IntArray]:
    """Logarithms of transfer units and of power, and the row, of hours that tell both."""
    hours, days = history.hours, history.days
    row = np.searchsorted(days.start_ms, hours.start_ms, side="right") - 1
    with np.errstate(invalid="ignore", divide="ignore"):
        units = np.log(hours.lingers)
        power = np.log(hours.fed_w) + np.log(history.even.level_w / days.level_w)[row]
    told = np.isfinite(units) & np.isfinite(power)
    return units[told], power[told], row[told]


def _usual_at(units: FloatArray, known: FloatArray, power: FloatArray) -> FloatArray:
    """Median of the learned hours about each hour's flow; NaN where they are too few."""
    order = np.argsort(known)
    known, power = known[order], power[order]
    cell = np.round((units - known[0]) / _CELL).astype(np.int64)
    places, back = np.unique(cell, return_inverse=True)
    middle = known[0] + places * _CELL
    first, end = np.searchsorted(known, middle - _REACH), np.searchsorted(known, middle + _REACH)
    usual = [
        float(np.median(power[a:b])) if b - a >= _LEAST_LIKE else np.nan
        for a, b in zip(first, end, strict=True)
    ]
    return np.array(usual)[back]


def _of_warmth(flow_k: FloatArray, daily: FloatArray, learned: IntArray) -> FloatArray:
    """What hotter water makes of the power, as a line learned: copper resists more when warm."""
    known = learned[np.isfinite(daily[learned]) & np.isfinite(flow_k[learned])]
    if len(known) < _LEAST_DAY:
        return np.zeros(len(daily))
    return line_over(flow_k, daily, known, rough=_ROUGH_K, reach=0.0)


def _middle(value: FloatArray) -> float:
    known = value[np.isfinite(value)]
    return float(np.median(known)) if len(known) >= _LEAST_DAY else float("nan")


def steady_fall(history: PumpHistory, epoch: Epoch) -> FloatArray:
    """Strength of a slow fall of power at the same flow, 1 where it suffices, one a row.

    Rotors and vanes that gather magnetite take less (models: 2 to 6 % of the hydraulic torque). Air
    makes unrest, a capacitor takes the power factor with it, and open valves make lively water:
    none of them may be seen. A smaller fall is enough where the water lingers too.
    """
    found = np.zeros(len(history.days))
    if epoch.drive != "induction" or "voltage_v" not in history.has:
        return found
    trend = power_at_like_flow(history, epoch)
    if trend is None or len(trend.rows) < _MANY:
        return found
    fall, sigma = -trend.above, trend.spread
    sums = cusum(np.clip(fall / sigma, -_MOST_SIGMA, _MOST_SIGMA), slack=1.0).up
    depth = running_median(fall, _MANY)
    water = water_lingers(history, epoch)[trend.rows]
    least = np.where(
        water > _LEAN,
        max(_BESIDE, _BESIDE_SIGMA * sigma),
        max(_ALONE, _ALONE_SIGMA * sigma),
    )
    strength = np.nan_to_num(np.fmin(sums / _SUM, depth / least))
    may = came_slowly(fall / least) & (water > _LIVELY)
    strength = np.where(may, strength, np.fmin(strength, _OPEN))
    explained = (depth > _MOST_FALL) | ~_is_smooth(history, trend)
    strength = np.where(explained, 0.0, strength)
    # Days without like hours change nothing of what was seen before.
    last = np.searchsorted(trend.rows, np.arange(len(found)), side="right") - 1
    return np.where(last >= 0, strength[np.maximum(last, 0)], 0.0)


def _is_smooth(history: PumpHistory, trend: Trend) -> BoolArray:
    """Whether neither unrest nor a falling power factor goes along."""
    with np.errstate(invalid="ignore"):
        smooth = ~(unrest_ratio(history, trend) > RESTLESS)
        factor = history.even.factor
        if np.isfinite(factor[trend.learned]).any():
            usual = float(np.nanmedian(factor[trend.learned]))
            smooth &= ~(running_median(factor[trend.rows], 5) < usual - _CAPACITOR_FALL)
    return np.asarray(smooth)
