"""Automatic night reduction of electronic pumps: when it engages, and whether that fits.

The pump watches the water it moves: after a fall of the flow temperature by 10 to 15 K within
one or two hours it goes to its least curve in one step, and back in one step when the
temperature has risen by some kelvin. It shows as a level of a few watts, held for long.
"""

from dataclasses import dataclass

import numpy as np

from analysis.base.time import DAY_MS, MINUTE_MS, Span, local_minute_of_day
from analysis.plant.plant import Plant, Pump
from analysis.pump.running_power import Steps, channel_steps, even_edges, power_steps
from analysis.readings.readings import FloatArray, Record
from analysis.readings.worked_once import once

_LEAST_MIN = 20
_MOST_LEVEL_W = 4.6
"""The least curve of pumps of the four- and six-metre class stays below this."""
_STEP = 1.25
_RELEASE_K = 12.0
"""Pumps return to normal after a rise of 3 or of 10 K; some more for sensor and lag."""
_LATE_MIN = 60
_TRIGGER_K = 15.0
"""Every kind of pump takes a fall of this within two hours for the night."""
_FALL_K = 8.0
"""What must be seen of the 10 to 15 K on a strap-on sensor with its lag and offset."""
DAY_H = (8, 21)
"""Hours in which a house is meant to be warm, at the least."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reduction:
    """One stretch on the least curve.

    `fall_k` is the flow's fall in the two hours before, if known; `late_min` how long the
    stretch went on after the flow had risen again by what releases every kind of pump.
    """

    start_ms: int
    end_ms: int
    level_w: float
    before_w: float
    fall_k: float | None
    late_min: int


@once
def reductions(plant: Plant, pump: Pump, record: Record, span: Span) -> list[Reduction] | None:
    """Stretches of night reduction, None where the pump's power is not known or it has none.

    A stretch counts where the power steps down to a steady low level while the pump
    goes on running, and the flow, where measured, had fallen before.
    """
    steps = power_steps(plant, pump, record, span)
    if steps is None or pump.drive != "electronic" or pump.duty == "store":
        return None
    flow = channel_steps(
        plant.first(pump.id, "temperature", "flow"), record, even_edges(span, MINUTE_MS)
    )
    found: list[Reduction] = []
    for first, last in _low_stretches(steps):
        before = steps.power_w[max(first - 6, 0) : max(first - 1, 0)]
        entered = float(np.nanmax(before)) if np.isfinite(before).any() else np.nan
        level = float(np.nanmedian(steps.power_w[first:last]))
        fall = _fall(flow, first)
        goes_on = bool(found) and _rested_between(steps, found[-1].end_ms, first)
        steps_down = entered >= _STEP * level and (fall is None or fall >= _FALL_K)
        if not (goes_on or steps_down):
            continue
        found.append(
            Reduction(
                start_ms=int(steps.start_ms[first]),
                end_ms=int(steps.start_ms[last - 1]) + MINUTE_MS,
                level_w=level,
                before_w=entered,
                fall_k=fall,
                late_min=_late(flow, first, last),
            )
        )
    return found


def _low_stretches(steps: Steps) -> list[tuple[int, int]]:
    """Stretches of steady running at a few watts: first step and the one after the last."""
    power = np.nan_to_num(steps.power_w, nan=0.0)
    low = steps.runs & (power < _MOST_LEVEL_W)
    if low.sum() < _LEAST_MIN:
        return []
    lowest = float(np.quantile(power[low], 0.02))
    level = float(np.median(power[low & (power < 1.15 * lowest)]))
    flat = low & (np.abs(power - level) < max(0.12 * level, 0.3))
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flat, [False]))))
    pairs = edges.reshape(-1, 2)
    return [(int(a), int(b)) for a, b in pairs if b - a >= _LEAST_MIN]


def _rested_between(steps: Steps, since_ms: int, until: int) -> bool:
    """Whether the pump ran no other way between: switched off and on it stays reduced."""
    since = int(np.searchsorted(steps.start_ms, since_ms))
    power = steps.power_w[since + 2 : max(until - 2, since + 2)]
    return bool(np.nanmax(power, initial=0.0) < _MOST_LEVEL_W)


def _fall(flow: FloatArray | None, at: int) -> float | None:
    """Fall of the flow temperature in the two hours before [K]."""
    if flow is None:
        return None
    window = flow[max(at - 120, 0) : at + 3]
    if not np.isfinite(window).any():
        return None
    return (
        float(np.nanmax(window) - np.nanmin(window[-10:]))
        if np.isfinite(window[-10:]).any()
        else None
    )


def _late(flow: FloatArray | None, first: int, last: int) -> int:
    """Minutes a stretch went on after the flow had risen by `_RELEASE_K` from its least."""
    if flow is None:
        return 0
    within = flow[first:last]
    least = np.fmin.accumulate(np.nan_to_num(within, nan=np.inf))
    risen = np.flatnonzero(within > least + _RELEASE_K)
    return int(len(within) - risen[0]) if len(risen) else 0


@dataclass(frozen=True, slots=True, kw_only=True)
class NightHabit:
    """How night reduction behaved: hours a day on the least curve by day and by night.

    `days_with` counts days with half an hour of it by day, `raised_ms` ends the third.
    """

    reductions: tuple[Reduction, ...]
    days: float
    by_day_h: float
    by_night_h: float
    days_with: int
    first_by_day_ms: int | None
    raised_ms: int | None
    chances: int

    @property
    def kind(self) -> str:
        """What it comes to.

        ``never engages``: the flow fell by enough while the pump ran, at least three times, and
        it went on as before; it may be switched off. ``none seen``: there was no such fall.
        """
        if not self.reductions:
            return "never engages" if self.chances >= 3 else "none seen"
        if self.by_day_h > 0.5 and self.days_with >= 3:
            return "engages by day"
        return "stuck in the morning" if self.late_mornings >= 3 else "working"

    @property
    def late_mornings(self) -> int:
        """How often it stayed reduced for an hour after the flow had risen."""
        return sum(r.late_min > _LATE_MIN for r in self.reductions)


@once
def night_habit(plant: Plant, pump: Pump, record: Record, span: Span) -> NightHabit | None:
    """Sum up the reductions of a span by the plant's own clock."""
    found = reductions(plant, pump, record, span)
    if found is None:
        return None
    minutes = [np.arange(r.start_ms, r.end_ms, MINUTE_MS, dtype=np.int64) for r in found]
    moment = np.concatenate(minutes) if minutes else np.empty(0, np.int64)
    hour = local_minute_of_day(moment, plant.timezone) // 60
    by_day = (hour >= DAY_H[0]) & (hour < DAY_H[1])
    day, minutes_of = np.unique(moment[by_day] // DAY_MS, return_counts=True)
    with_it = day[minutes_of >= 30]
    days = max(span.days, 1.0)
    return NightHabit(
        reductions=tuple(found),
        days=days,
        by_day_h=float(by_day.sum() / 60 / days),
        by_night_h=float((~by_day).sum() / 60 / days),
        days_with=len(with_it),
        first_by_day_ms=int(moment[by_day][0]) if by_day.any() else None,
        chances=_chances(plant, pump, record, span),
        raised_ms=int(with_it[2] + 1) * DAY_MS if len(with_it) >= 3 else None,
    )


def _chances(plant: Plant, pump: Pump, record: Record, span: Span) -> int:
    """How often the flow fell by what triggers a reduction, while the pump ran."""
    steps = power_steps(plant, pump, record, span)
    edges = even_edges(span, MINUTE_MS)
    flow = channel_steps(plant.first(pump.id, "temperature", "flow"), record, edges)
    if steps is None or flow is None:
        return 0
    warm = np.where(steps.runs, flow, np.nan)
    ten = warm[: len(warm) // 10 * 10].reshape(-1, 10)
    means = np.array([np.nan if np.isnan(row).any() else row.mean() for row in ten])
    windows = np.lib.stride_tricks.sliding_window_view(means, 12)
    fell = windows[:, 0] - windows[:, -1] > _TRIGGER_K
    fell &= ~np.isnan(windows).any(axis=1)
    return int(np.count_nonzero(np.diff(np.concatenate(([False], fell)).astype(int)) > 0))
