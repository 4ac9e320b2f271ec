"""How far a pump's power has risen, whatever the cause."""

import numpy as np

from analysis.faults.drift.power_and_flow import (
    RESTLESS,
    RISE,
    WIDTH,
    came_slowly,
    floor_above,
    is_quiet_rise,
    quantum,
    rose_unseen,
    unrest_ratio,
)
from analysis.pump.baseline import Trend, level_trend, running_median
from analysis.pump.epochs import Epoch, PumpHistory
from analysis.readings.readings import FloatArray

_ALONE = {"induction": 1.4, "electronic": 1.6}
"""Without restlessness beside it the power must rise this much further."""
_BLIND_FLOW = {"induction": 0.1, "electronic": 0.35}
"""Rise that opening valves can make alone, where the flow of water is not known: a capacitor
motor takes 4 to 12 % less against shut valves, an electronic one a third and more (models)."""
_BLIND = 1.8
"""Without the mains voltage an induction pump's power must rise this much further."""


def quiet_rise(history: PumpHistory, epoch: Epoch) -> FloatArray:
    """Strength of a rise that its quietness lays to sludge, one a row of the table; 0 elsewhere."""
    found = np.zeros(len(history.days))
    trend = level_trend(history, epoch)
    if trend is not None and len(trend.rows):
        quiet = is_quiet_rise(history, epoch, trend)
        strength = np.nan_to_num(rise_strength(history, epoch, trend))
        found[trend.rows] = np.where(quiet, strength, 0.0)
    return found


def rise_strength(history: PumpHistory, epoch: Epoch, trend: Trend) -> FloatArray:
    """Strength of a rise of power, 1 where it suffices, whatever its cause."""
    least = max(RISE[epoch.drive], 3.0 * trend.spread, quantum(history, trend))
    if epoch.drive == "induction" and "voltage_v" not in history.has:
        least *= _BLIND
    alone = _ALONE[epoch.drive] * least
    if not np.isfinite(history.days.share[trend.learned]).any():
        alone = max(alone, _BLIND_FLOW[epoch.drive])
    above = np.fmin(trend.above, floor_above(history, trend))
    with np.errstate(invalid="ignore"):
        seconded = unrest_ratio(history, trend) > RESTLESS
        strength = running_median(above, WIDTH) / np.where(seconded, least, alone)
        slowly = came_slowly(above / least) | rose_unseen(history, trend, above / least)
        return np.where(slowly, strength, np.fmin(strength, 0.9))
