"""Steps of a pump's setting: where a hand on the knob changed its level for good.

A new setting moves the level a pump keeps from one moment to the next, and for good; weather,
valves and wear move it slowly, or not both ends of it. So a step counts where the power jumps
between two hours of running, and both the least and the greatest power of the days after differ
from those before: what valves do stays between the same two ends. A swap is no setting, and a
pump that adapts moves by small stairs.
"""

from dataclasses import dataclass

import numpy as np

from analysis.base.time import MINUTE_MS, Span
from analysis.plant.installed_pump import placed_pumps
from analysis.plant.plant import Plant, Pump
from analysis.pump.night_reduction import reductions
from analysis.pump.running_power import power_steps
from analysis.readings.readings import FloatArray, IntArray, Readings, Record
from analysis.readings.worked_once import once

CELL_MS = 10 * MINUTE_MS
_HOUR_CELLS = 6
_DAY_CELLS, _LEAST_CELLS = 72, 180
_BEFORE_CELLS, _AFTER_CELLS = 7 * 144, 2 * 144
_NEAR_CELLS, _KNOWN_CELLS = 2 * 144, 2 * 144
LEAST_STEP = 0.14
"""Least lasting change of the floor, in the logarithm of the power: neighbouring settings of an
induction pump lie 1.3 to 1.7 apart (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingStep:
    """A change of setting: the usual power before and after, the floors and the ceilings [W].

    `told_ms` is when enough had been seen of it.
    """

    time_ms: int
    told_ms: int
    before_w: float
    after_w: float
    floor_before_w: float
    floor_after_w: float
    ceiling_before_w: float
    ceiling_after_w: float


@once
def setting_steps(plant: Plant, pump: Pump, record: Record, span: Span) -> list[SettingStep] | None:
    """Changes of setting within a span, in order; None where the power is not known.

    Each pump that was in place is looked at alone: a swap is no change of setting.
    """
    placed = placed_pumps(plant, pump, span)
    parts = [steps_of_one(plant, one, record, part) for part, one in placed]
    known = [steps for steps in parts if steps is not None]
    return [step for steps in known for step in steps] if known else None


@once
def steps_of_one(plant: Plant, pump: Pump, record: Record, span: Span) -> list[SettingStep] | None:
    """Changes of setting while one pump was in place; None where the power is not known."""
    running = running_levels(plant, pump, record, span)
    if running is None:
        return None
    time_ms, power_w = running
    channel = plant.first(pump.id, "power")
    plug_w = plug_step_w(record[channel.id]) if channel else 0.0
    found = _found(time_ms, np.log(np.maximum(power_w, 0.1)))
    return [s for s in found if _shows(s, plug_w)]


def _shows(step: SettingStep, plug_w: float) -> bool:
    """Whether a step is more than a plug's own steps."""
    apart_w = (
        step.after_w - step.before_w,
        step.floor_after_w - step.floor_before_w,
        step.ceiling_after_w - step.ceiling_before_w,
    )
    return max(abs(one) for one in apart_w) > 1.5 * plug_w


def running_levels(
    plant: Plant, pump: Pump, record: Record, span: Span
) -> tuple[IntArray, FloatArray] | None:
    """Ten-minute means of the pump's power while it runs and is not at night reduction.

    Returns
    -------
    tuple of ndarray, or None
        Moments [ms] and power [W]; None where the power is not known.
    """
    steps = power_steps(plant, pump, record, span, step_ms=CELL_MS)
    if steps is None:
        return None
    whole = steps.runs & np.isfinite(steps.power_w)
    whole[1:-1] &= whole[:-2] & whole[2:]
    reduced = reductions(plant, pump, record, span)
    if reduced:
        # The least curve is no setting, nor where the pump comes from one. Its power differs from
        # night to night: what its higher ones take is left out of all.
        level = float(np.quantile([one.level_w for one in reduced], 0.9))
        whole &= steps.power_w > level + max(0.12 * level, 0.4)
    return steps.start_ms[whole], steps.power_w[whole]


def plug_step_w(readings: Readings) -> float:
    """Smallest step in which a plug tells power [W], from its first ten thousand readings."""
    seen = np.unique(np.round(readings.known().value[:10_000], 3))
    return float(np.min(np.diff(seen))) if len(seen) > 1 else 0.0


def _found(time_ms: IntArray, level: FloatArray) -> list[SettingStep]:
    """Steps, the clearest first: those found bound the stretches the others are judged by."""
    found: dict[int, SettingStep] = {}
    for at in _places(level):
        since = max((k for k in found if k < at), default=0)
        until = min((k for k in found if k > at), default=len(level))
        step = _lasting(time_ms[since:until], level[since:until], at - since)
        if step is not None:
            found[at] = step
    return [found[at] for at in sorted(found)]


def _places(level: FloatArray) -> list[int]:
    """Where a step may be, clearest first: within two days the place the floor moved most."""
    jump = _change(level, _HOUR_CELLS, 0.5)
    floor = _change(level, _DAY_CELLS, 0.1)
    moved = np.where(jump * floor > 0, np.minimum(np.abs(jump) * 2, np.abs(floor)), 0.0)
    moved += 0.01 * np.abs(np.diff(level, prepend=level[:1])) * (moved > 0)
    places: list[int] = []
    for at in np.argsort(-moved, kind="stable"):
        if moved[at] < LEAST_STEP:
            break
        if all(abs(int(at) - other) > 2 * _DAY_CELLS for other in places):
            places.append(int(at))
    return places


def _change(level: FloatArray, size: int, quantile: float) -> FloatArray:
    """Change of a quantile from the cells before each place to those from it on."""
    change = np.zeros(len(level))
    if len(level) >= 2 * size:
        windows = np.lib.stride_tricks.sliding_window_view(level, size)
        height = np.quantile(windows, quantile, axis=1)
        change[size : len(level) - size + 1] = height[size:] - height[:-size]
    return change


def _lasting(time_ms: IntArray, level: FloatArray, at: int) -> SettingStep | None:
    """The step at a place, if both ends of what the pump draws moved with it and stayed there.

    Valves move the power between the ends of a curve; another curve has other ends. Stairs
    of a pump that adapts add up over a week, but are small from day to day.
    """
    before = level[max(at - _BEFORE_CELLS, 0) : at]
    after = level[at : at + _AFTER_CELLS]
    if len(before) < _KNOWN_CELLS or len(after) < _LEAST_CELLS:
        return None
    far = _ends(after) - _ends(before)
    near = _ends(after) - _ends(before[-_NEAR_CELLS:])
    if np.abs(far).max() < LEAST_STEP or np.abs(far).min() < 0.5 * LEAST_STEP:
        return None
    if (near * far < 0.5 * far**2).any():
        return None
    (floor_w, ceiling_w), (floor_after_w, ceiling_after_w) = (
        np.exp(_ends(part)).tolist() for part in (before, after)
    )
    return SettingStep(
        time_ms=int(time_ms[at]),
        told_ms=int(time_ms[at + len(after) - 1]) + CELL_MS,
        before_w=float(np.exp(np.median(before))),
        after_w=float(np.exp(np.median(after))),
        floor_before_w=floor_w,
        floor_after_w=floor_after_w,
        ceiling_before_w=ceiling_w,
        ceiling_after_w=ceiling_after_w,
    )


def _ends(level: FloatArray) -> FloatArray:
    """Least and greatest level, but for one in fifty."""
    return np.quantile(level, (0.02, 0.98))
