"""How a pump is controlled, told from its power: constant speed, constant pressure and so on.

An electronic pump's power falls as valves close, by how much tells the control: at one speed it
keeps 0.67 to 0.81 of its greatest power, at constant pressure 0.52 to 0.58, at proportional
pressure 0.25 to 0.30 (a pump model, no measurement). It takes a week that saw valves open and shut.
A pump that adapts steps its curve down over days. A three-speed pump draws one of three levels.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.base.estimate import Estimate
from analysis.base.time import DAY_MS, Span
from analysis.plant.plant import Plant, Pump
from analysis.pump.setting_steps import running_levels, setting_steps
from analysis.readings.readings import FloatArray, IntArray, Record

_CONSTANT_SPEED, _CONSTANT_PRESSURE = 0.625, 0.42
"""Borders between the bands of floor over ceiling."""
_LEAST_CELLS = 72


@dataclass(frozen=True, slots=True, kw_only=True)
class Control:
    """What the power tells of a pump's control; `behaviour` None where it cannot be told."""

    behaviour: str | None
    confidence: float
    floor_w: float | None
    ceiling_w: float | None
    since_ms: int
    why: str

    def document(self) -> dict[str, Any]:
        """Return the JSON form of its figures."""
        return {
            "behaviour": self.behaviour,
            "confidence": self.confidence,
            "floor_w": self.floor_w,
            "ceiling_w": self.ceiling_w,
            "why": self.why,
        }


def control_of(plant: Plant, pump: Pump, record: Record, span: Span) -> Control:
    """Tell the control of a pump since its last change of setting."""
    steps = setting_steps(plant, pump, record, span)
    running = running_levels(plant, pump, record, span)
    if steps is None or running is None:
        return _unknown(span.start_ms, f"needs readings of a power channel of '{pump.id}'")
    since = steps[-1].time_ms if steps else span.start_ms
    here = running[0] >= since
    time_ms, power_w = running[0][here], running[1][here]
    if len(power_w) < _LEAST_CELLS:
        return _unknown(since, "needs twelve hours of running in this setting")
    if pump.drive == "induction":
        return _induction(pump, power_w, since)
    return _electronic(time_ms, power_w, since)


def _unknown(since_ms: int, why: str) -> Control:
    return Control(
        behaviour=None, confidence=0.0, floor_w=None, ceiling_w=None, since_ms=since_ms, why=why
    )


def _induction(pump: Pump, power_w: FloatArray, since_ms: int) -> Control:
    """One of three speeds, by the place of the level between the nameplate's least and greatest."""
    level = float(np.median(power_w))
    low, high = np.quantile(power_w, (0.05, 0.97))
    behaviour, confidence = "constant speed", 0.9
    why = f"{level:.0f} W, within {(high - low) / level:.0%}, whatever the valves do"
    if pump.rated_power_w and pump.rated_power_w[1] > 1.15 * pump.rated_power_w[0]:
        least, most = pump.rated_power_w
        place = np.log(level / least) / np.log(most / least)
        behaviour = f"speed {('I', 'II', 'III')[int(np.clip(place * 3, 0, 2))]}"
        border = min(abs(place - 1 / 3), abs(place - 2 / 3))
        confidence = float(np.clip(0.5 + 2.0 * border, 0.5, 0.9))
        why += f"; nameplate {least:.0f} to {most:.0f} W"
    return Control(
        behaviour=behaviour,
        confidence=round(confidence, 2),
        floor_w=float(low),
        ceiling_w=float(high),
        since_ms=since_ms,
        why=why,
    )


def _electronic(time_ms: IntArray, power_w: FloatArray, since_ms: int) -> Control:
    floor, ceiling = (float(q) for q in np.quantile(power_w, (0.03, 0.995)))
    days = (int(time_ms[-1]) - since_ms) / DAY_MS
    drift = _daily_drift(time_ms, power_w)
    ratio = floor / ceiling
    if drift is not None and drift < -0.012 and days >= 5:
        name, confidence = "automatic adaptation", 0.7
        why = f"the floor steps down by {-drift:.1%} a day"
    else:
        name, confidence = _by_ratio(ratio)
        why = f"the least power while running is {ratio:.0%} of the greatest"
        if days < 7:
            confidence = min(confidence, 0.4)
            why += "; less than a week seen"
        elif confidence < 0.8:
            why += "; a control that falls further is possible if the valves were never all shut"
    return Control(
        behaviour=name,
        confidence=round(confidence, 2),
        floor_w=floor,
        ceiling_w=ceiling,
        since_ms=since_ms,
        why=why,
    )


def _by_ratio(ratio: float) -> tuple[str, float]:
    """Control by floor over ceiling, and how sure.

    Valves that never shut leave the floor too high, never too low: only a low one is sure.
    """
    if ratio >= _CONSTANT_SPEED:
        return "constant speed", 0.4
    if ratio >= _CONSTANT_PRESSURE:
        return "constant or proportional pressure", 0.7
    return "proportional pressure", 0.8


def _daily_drift(time_ms: IntArray, power_w: FloatArray) -> float | None:
    """Change of the daily floor a day over the first two weeks, relative; None if too few days."""
    day = (time_ms - time_ms[0]) // DAY_MS
    floors = [float(np.quantile(power_w[day == d], 0.1)) for d in np.unique(day[day < 14])]
    if len(floors) < 5:
        return None
    slopes = np.diff(np.log(floors))
    falling = float((slopes < 0.005).mean())
    slope = float(np.median(slopes))
    return slope if falling > 0.75 else None


def spread(heat_k: FloatArray, unit: str, basis: str) -> Estimate:
    """Median of a set of differences with the range of nineteen in twenty."""
    if len(heat_k) < _LEAST_CELLS // 6:
        return Estimate.unknown(unit, "too few moments with the burner firing and the pump running")
    low, middle, high = (float(q) for q in np.quantile(heat_k, (0.05, 0.5, 0.95)))
    return Estimate(middle, low, high, unit, basis)
