"""A pump's days as if it had always been set as it is now."""

from typing import NamedTuple

import numpy as np

from analysis.base.time import DAY_MS, Span
from analysis.plant.plant import Plant, Pump
from analysis.pump.setting_steps import SettingStep, setting_steps
from analysis.readings.readings import Record
from analysis.weather.degree_days import Days

_LEAST_CHANGE = 0.15
"""Change of the usual power, in its logarithm, that makes another year of it: beyond what mains
voltage and valves do to a pump that nobody touched (common practice, no source)."""
_LEAST_AFTER_MS = 3 * DAY_MS


class AsSet(NamedTuple):
    """Days brought to the present setting, and when it was chosen.

    `surplus_kwh` is what they hold more than was measured.
    """

    days: Days
    surplus_kwh: float
    since_ms: int


def as_set(plant: Plant, pump: Pump, record: Record, span: Span, days: Days) -> AsSet | None:
    """Days before each change of setting, by the ratio of usual powers; None without a change.

    A year goes on with the setting a hand has chosen last; what was used before tells of hours
    and weather, not of power. Days of a change itself are unknown.

    Parameters
    ----------
    plant, pump, record, span
        See `analysis.pump.setting_steps.setting_steps`.
    days : Days
        Energy of each day [kWh].
    """
    steps = [one for one in setting_steps(plant, pump, record, span) or [] if _counts(one, span)]
    if not steps:
        return None
    now_w = steps[-1].after_w
    factor = np.ones(len(days))
    for step in reversed(steps):
        factor[days.start_ms + DAY_MS <= step.time_ms] = now_w / step.before_w
    at = np.array([step.time_ms for step in steps])[:, None]
    changes = ((days.start_ms <= at) & (at < days.start_ms + DAY_MS)).any(axis=0)
    value = np.where(changes, np.nan, days.value * factor)
    surplus = float(np.nansum(value) - np.nansum(days.value))
    return AsSet(Days(days.start_ms, value), surplus, steps[-1].time_ms)


def _counts(step: SettingStep, span: Span) -> bool:
    is_large = abs(float(np.log(step.after_w / step.before_w))) > _LEAST_CHANGE
    return is_large and step.time_ms + _LEAST_AFTER_MS <= span.end_ms
