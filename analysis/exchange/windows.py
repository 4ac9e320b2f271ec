"""What the days before and after a swap show of a pump, as the few figures its checks need."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, Span
from analysis.exchange.pump_course import ROOM_CEL, Course, course_of
from analysis.plant.plant import Channel, Plant
from analysis.readings.readings import FloatArray, Readings, Record, usual_step_ms

BEFORE_MS = 14 * DAY_MS
"""How far back the days before the swap are looked at."""
HEAT_DAYS = 14
"""So many days with heat tell of a fitting what a first month without any cannot."""
_HEAT_HOURS = 3
_LOOK_BACK_MS = 365 * DAY_MS
SETTLED_MS = 3 * HOUR_MS
"""Filling, venting and heating up are over by then."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitting:
    """A swap with its days: `before` it and `after` it up to the end of what is looked at.

    `most_w` is the new pump's greatest power [W]; `step_w` the plug's display
    step and `interval_ms` its usual interval after the swap; ids are None where
    the channel is not there.
    """

    pump: str
    time_ms: int
    timezone: str
    before: Course
    after: Course
    most_w: float | None
    step_w: float
    interval_ms: int
    power_id: str | None
    flow_id: str | None
    return_id: str | None

    @property
    def settled(self) -> Course:
        """What was seen after filling and venting."""
        if not len(self.after):
            return self.after
        end = int(self.after.start_ms[-1]) + MINUTE_MS
        return self.after.part(Span(self.time_ms + SETTLED_MS, end))


class Swapped(NamedTuple):
    """Which pump was swapped when, and the new one's greatest power [W] where known."""

    pump: str
    time_ms: int
    most_w: float | None


def fitting(plant: Plant, swapped: Swapped, record: Record, until_ms: int) -> Fitting:
    """The days before and after a swap.

    Parameters
    ----------
    plant : Plant
        Where the pump's channels are named.
    swapped : Swapped
        The swap.
    record : mapping of str to Readings
        What was measured.
    until_ms : int
        End of what is looked at.
    """
    pump, time_ms = swapped.pump, swapped.time_ms
    power, flow, back = channels = _channels(plant, pump)
    after = Span(time_ms, max(until_ms, time_ms))
    return Fitting(
        pump=pump,
        time_ms=time_ms,
        timezone=plant.timezone,
        before=course_of(channels, record, Span(time_ms - BEFORE_MS, time_ms)),
        after=course_of(channels, record, after),
        most_w=swapped.most_w,
        **_shown(power, record, after),
        power_id=power.id if power else None,
        flow_id=flow.id if flow else None,
        return_id=back.id if back else None,
    )


def _channels(plant: Plant, pump: str) -> tuple[Channel | None, ...]:
    """Power, flow and return temperature."""
    flow, back = (plant.first(pump, "temperature", place) for place in ("flow", "return"))
    return plant.first(pump, "power"), flow, back


class Heated(NamedTuple):
    """A swap between its nearest days with heat, and the end of the last of them [ms]."""

    seen: Fitting
    until_ms: int


def fitting_with_heat(plant: Plant, swapped: Swapped, record: Record, end_ms: int) -> Heated | None:
    """The last days with heat before a swap and the first after it, whatever lies between.

    A pump exchanged in summer rests for months, and what its first month shows tells nothing.

    Parameters
    ----------
    plant, swapped, record
        See `fitting`.
    end_ms : int
        End of the readings.

    Returns
    -------
    Heated or None
        None until two weeks of days have had heat.
    """
    channels, at = _channels(plant, swapped.pump), swapped.time_ms
    days = _days_with_heat(channels, record, Span(at, max(end_ms, at)))
    if len(days) < HEAT_DAYS:
        return None
    until = days[HEAT_DAYS - 1] + DAY_MS
    earlier = _days_with_heat(channels, record, Span(at - _LOOK_BACK_MS, at))
    last = earlier[-1] + DAY_MS if earlier else at
    seen = fitting(plant, swapped, record, at)
    return Heated(
        replace(
            seen,
            time_ms=days[0],  # air shows where the pump first runs warm
            before=course_of(channels, record, Span(last - BEFORE_MS, last)),
            after=course_of(channels, record, Span(days[0], until)),
            **_shown(channels[0], record, Span(days[0], until)),
        ),
        until,
    )


def _days_with_heat(channels: Sequence[Channel | None], record: Record, span: Span) -> list[int]:
    """Beginnings [ms] of the days, counted from the span's own, with heat for some hours.

    Read by the hour, as this looks through months every night. Without pipe temperatures running
    alone stands for it.
    """
    hourly = course_of(channels, record, span, step_ms=HOUR_MS)
    warm = ~((hourly.flow_c + hourly.return_c) / 2 <= ROOM_CEL + 4)
    heated = (hourly.low_w > hourly.above_w) & ~np.isnan(hourly.power_w) & warm
    hours = heated[: len(heated) // 24 * 24].reshape(-1, 24).sum(axis=1)
    return [span.start_ms + int(k) * DAY_MS for k in np.flatnonzero(hours >= _HEAT_HOURS)]


def _shown(power: Channel | None, record: Record, span: Span) -> dict[str, Any]:
    """How the plug shows power over a span: its display step and usual interval."""
    readings = record.get(power.id, Readings.empty()).within(span) if power else Readings.empty()
    return {
        "step_w": _display_step(readings.known().value),
        "interval_ms": usual_step_ms(readings),
    }


def _display_step(value: FloatArray) -> float:
    """Display step of a plug [W]: least distance of its values, at most 1 W."""
    if len(value) < 2:
        return 0.0
    shown = np.unique(np.round(value[:: 1 + len(value) // 100_000], 3))
    return min(float(np.diff(shown).min()), 1.0) if len(shown) > 1 else 0.0
