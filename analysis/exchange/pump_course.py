"""A pump's course by the minute, and the few figures that the checks of a fitting read off it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from analysis.base.time import DAY_MS, MINUTE_MS, Span
from analysis.plant.plant import Channel
from analysis.readings.power_levels import run_state
from analysis.readings.readings import (
    FloatArray,
    IntArray,
    Readings,
    Record,
    hold_limit_ms,
    summarise,
)
from analysis.readings.two_levels import BoolArray

_LEAST_CURVE = 0.07
"""The least curve of an electronic pump takes more of its greatest power than this; what is
below is standby. Seen on rehearsed pumps, no source."""
ROOM_CEL = 20.0
_EMITTER_EXPONENT = 1.3
"""Heat of radiators against their excess temperature (EN 442's exponent, from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """A stretch step by step: power [W], flow and return temperature [Cel]; NaN is unknown.

    The pump runs while it takes more than `above_w`.
    """

    start_ms: IntArray
    power_w: FloatArray
    low_w: FloatArray
    high_w: FloatArray
    flow_c: FloatArray
    return_c: FloatArray
    above_w: float

    def __len__(self) -> int:
        return len(self.start_ms)

    def part(self, span: Span) -> "Course":
        """The minutes that begin within a span."""
        a, b = np.searchsorted(self.start_ms, (span.start_ms, span.end_ms))
        names = ("start_ms", "power_w", "low_w", "high_w", "flow_c", "return_c")
        return replace(self, **{name: getattr(self, name)[a:b] for name in names})

    def blocks(self, minutes: int) -> "Course":
        """Means, least and greatest of blocks of so many minutes; half of each must be known."""
        rows = len(self) // minutes

        def folded(column: FloatArray) -> FloatArray:
            return column[: rows * minutes].reshape(rows, minutes)

        def mean(column: FloatArray) -> FloatArray:
            known = ~np.isnan(folded(column))
            total = np.where(known, folded(column), 0.0).sum(axis=1)
            count = known.sum(axis=1)
            return np.where(count * 2 >= minutes, total / np.maximum(count, 1), np.nan)

        low = np.where(np.isnan(folded(self.low_w)), np.inf, folded(self.low_w)).min(axis=1)
        high = np.where(np.isnan(folded(self.high_w)), -np.inf, folded(self.high_w)).max(axis=1)
        return Course(
            start_ms=self.start_ms[: rows * minutes : minutes],
            power_w=mean(self.power_w),
            low_w=low,
            high_w=high,
            flow_c=mean(self.flow_c),
            return_c=mean(self.return_c),
            above_w=self.above_w,
        )


def course_of(
    channels: Sequence[Channel | None], record: Record, span: Span, *, step_ms: int = MINUTE_MS
) -> Course:
    """What channels of power, flow and return temperature show of a span, step by step.

    Parameters
    ----------
    channels : sequence of Channel or None
        The three, None where there is none.
    record : mapping of str to Readings
        What was measured.
    span : Span
        What is looked at.
    step_ms : int
        Length of a step; by the hour a year is read a good deal sooner.
    """
    edges = np.arange(span.start_ms, span.end_ms + 1, step_ms, dtype=np.int64)
    if len(edges) < 2:
        edges = np.array([span.start_ms, span.start_ms], np.int64)
    power, flow, back = (_summary(channel, record, edges) for channel in channels)
    return Course(
        start_ms=edges[:-1],
        power_w=power[0],
        low_w=power[1],
        high_w=power[2],
        flow_c=flow[0],
        return_c=back[0],
        above_w=run_state(power[0], np.ones(len(power[0]))).above_w,
    )


def _summary(
    channel: Channel | None, record: Record, edges: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    readings = record.get(channel.id, Readings.empty()) if channel else Readings.empty()
    if channel is None or not len(readings):
        nothing = np.full(len(edges) - 1, np.nan)
        return nothing, nothing, nothing
    hold_ms = max(hold_limit_ms(readings, channel), 2 * MINUTE_MS)
    found = summarise(readings, edges, hold_ms)
    return found.mean, found.low, found.high


# figures


def quantile(values: FloatArray, q: float) -> float | None:
    """Quantile of what is known, None of nothing."""
    known = values[np.isfinite(values)]
    return float(np.quantile(known, q)) if len(known) else None


class Levels(NamedTuple):
    """Power of the running pump by ten-minute means [W], and hours seen running."""

    low_w: float
    middle_w: float
    high_w: float
    hours: float


_MIXED = 0.5
"""A running pump's power hardly halves within ten minutes (domain notes: a fixed speed falls by a
third, a held pressure by a half, from all valves open to all shut)."""


def levels(course: Course) -> Levels | None:
    """Low, middle and high running power; None where it was hardly seen running.

    What lies below a third of the usual high is standby or night reduction. Ten minutes in which
    it starts or stops mix both, where its standby is above the power that counts as running.
    """
    block = course.blocks(10)
    whole = (block.low_w > course.above_w) & (block.low_w > _MIXED * block.high_w)
    running = block.power_w[whole & ~np.isnan(block.power_w)]
    running = running[running > 0.35 * np.quantile(running, 0.8)] if len(running) else running
    if len(running) < 18:
        return None
    low, middle, high = np.quantile(running, (0.05, 0.5, 0.8))
    return Levels(float(low), float(middle), float(high), len(running) / 6.0)


def restlessness(course: Course, step_w: float, interval_ms: int) -> FloatArray:
    """Span of the power within short stretches, over its mean; NaN while not running.

    The lesser of two neighbouring stretches counts, so that one step is no
    unrest, nor is one display step. A stretch holds two readings at least.
    """
    half = max(5, round(2 * interval_ms / MINUTE_MS))
    block = course.blocks(half)
    running = (block.low_w > course.above_w) & ~np.isnan(block.power_w)
    spread = np.maximum(block.high_w - block.low_w - step_w, 0.0)
    share = np.where(running, spread / np.maximum(block.power_w, 1e-9), np.nan)
    return np.minimum(share[1:], share[:-1])


def spread_k(course: Course) -> FloatArray:
    """Flow less return temperature by the hour while the pump runs and heat is there [K]."""
    block = course.blocks(60)
    running = (block.low_w > course.above_w) & ((block.flow_c + block.return_c) / 2 > ROOM_CEL + 4)
    return np.where(running, block.flow_c - block.return_c, np.nan)


def water_index(course: Course) -> FloatArray:
    """Index of the water that goes round, by the hour; only its ratio to itself means anything.

    Radiators give heat by the power 1.3 of their excess over the room, and the
    same heat is the water times its spread; so the water goes with the excess
    to that power over the spread, whatever the weather asks for. It says
    nothing in units: without a flow meter there is no heat.
    """
    block = course.blocks(60)
    excess = (block.flow_c + block.return_c) / 2 - ROOM_CEL
    spread = np.abs(block.flow_c - block.return_c)
    known = (block.low_w > course.above_w) & (excess > 4.0) & (spread > 0.7)
    index = np.maximum(excess, 0.1) ** _EMITTER_EXPONENT / np.maximum(spread, 0.1)
    return np.where(known, index, np.nan)


class OpenLoop(NamedTuple):
    """Water index of the upper tenth of hours; and each day's best hour over the usual hour."""

    water: float
    throttled: float


_FALLS_K = 2.5
_HOURS_A_DAY = 4
_MOSTLY_OPEN = 0.9


def open_loop(course: Course) -> OpenLoop | None:
    """The water that goes round while the loop stands open; None of less than two days.

    Radiator valves stand open at a day's best hour, as in the morning's warming up. Hours in which
    the water cools are left out: what it gives then was put in before, and the spread is no heat
    of theirs.
    """
    water = np.where(_falls(course), np.nan, water_index(course))
    day = course.start_ms[: len(water) * 60 : 60] // DAY_MS
    seen = [water[(day == one) & np.isfinite(water)] for one in np.unique(day)]
    best = [float(hours.max()) for hours in seen if len(hours) >= _HOURS_A_DAY]
    if len(best) < 2:
        return None
    usual, most = (float(q) for q in np.nanquantile(water, (0.5, _MOSTLY_OPEN)))
    return OpenLoop(most, float(np.median(best)) / usual)


def _falls(course: Course) -> BoolArray:
    """Hours over which the water's mean temperature falls, within them or from the one before."""
    first, *_, last = np.moveaxis(_middles(course, 10).reshape(-1, 6), 1, 0)
    whole = _middles(course, 60)[: len(first)]
    over = np.diff(whole, prepend=whole[:1])
    return np.asarray(~(first - last < _FALLS_K) | (over < -0.6 * _FALLS_K))


def _middles(course: Course, minutes: int) -> FloatArray:
    """Middle of flow and return temperature by blocks, up to the last whole hour [Cel]."""
    hours = len(course) // 60
    block = course.blocks(minutes)
    return ((block.flow_c + block.return_c) / 2)[: hours * 60 // minutes]


class Starts(NamedTuple):
    """How often the loop began to warm with the flow pipe first, and with the return first."""

    flow_first: int
    return_first: int


_RISE_K = 2.0
_STEEP_K = 4.0
_WARMING_MIN = 40


def starts(course: Course) -> Starts:
    """Order of warming: which pipe gains 2 K first when the loop warms by 4 K in ten minutes."""
    begun = _onsets(course)
    first = [_leads(course, at) for at in begun]
    return Starts(first.count(1), first.count(-1))


def _onsets(course: Course) -> list[int]:
    """Minutes at which either pipe begins a steep rise after half an hour without one."""
    rise = np.fmax(_rise(course.flow_c, 10), _rise(course.return_c, 10))
    steep = np.flatnonzero(rise >= _STEEP_K)
    if not len(steep):
        return []
    is_first = np.append([True], np.diff(steep) > 30)
    return [int(at) for at in steep[is_first]]


def _rise(value: FloatArray, minutes: int) -> FloatArray:
    later = np.append(value[minutes:], np.full(min(minutes, len(value)), np.nan))
    return later - value


def _leads(course: Course, at: int) -> int:
    """1 where the flow pipe warms first, -1 where the return does, 0 where it cannot be said."""
    since = [_gained(pipe[at : at + _WARMING_MIN]) for pipe in (course.flow_c, course.return_c)]
    if since[0] == since[1]:
        return 0
    return 1 if since[0] < since[1] else -1


def _gained(pipe: FloatArray) -> int:
    """Minutes until a pipe has gained 2 K, the whole window where it never does."""
    if not len(pipe) or np.isnan(pipe[0]):
        return _WARMING_MIN
    warm = np.flatnonzero(pipe - pipe[0] >= _RISE_K)
    return int(warm[0]) if len(warm) else _WARMING_MIN


class Reduced(NamedTuple):
    """A stretch at the least curve, entered in one step after the water cooled [ms]."""

    start_ms: int
    end_ms: int


_COOLED_K = 9.0
_COOLING_MIN = 120
_STEP_DOWN = 0.78
_STEP_UP = 1.2
_LEAST_REDUCED_MIN = 20
_LEAST_TURNING_W = 2.15
"""Electronics, bearings and wheel at the least speed, some 2.3 W by the domain notes' model, read
by a plug that shows a twentieth too little. What is below is a pump that rests, in standby."""


def reductions(course: Course, most_w: float | None, step_w: float = 0.0) -> list[Reduced]:
    """Stretches of night reduction: one step down after a fall of the flow pipe, one step up.

    A plug that shows steps of `step_w` [W] may have rounded both powers: 4 to 3 W may be no fall.
    """
    half = step_w / 2
    power = course.power_w
    least = max(_LEAST_TURNING_W, _LEAST_CURVE * (most_w or 0.0))
    known = ~np.isnan(power)
    if known.sum() < 60:
        return []
    found: list[Reduced] = []
    at, last = 3, len(power) - 3
    cooled = _cooled(course.flow_c)
    while at < last:
        before, after = power[at - 3], power[at + 2]
        is_down = least < after and after + half <= _STEP_DOWN * (before - half)
        if not (is_down and cooled[at]):
            at += 1
            continue
        end = _step_up(power, at + 2)
        turns = np.nanmedian(power[at + 2 : end + 1]) >= _LEAST_TURNING_W
        if end - at >= _LEAST_REDUCED_MIN and turns:
            found.append(Reduced(int(course.start_ms[at]), int(course.start_ms[end])))
            at = end
        at += 1
    return found


def _cooled(flow_c: FloatArray) -> FloatArray:
    """Whether the pipe is colder than it was at its warmest within two hours, by 9 K or more."""
    padded = np.concatenate((np.full(_COOLING_MIN, np.nan), flow_c))
    windows = np.lib.stride_tricks.sliding_window_view(padded, _COOLING_MIN + 1)
    warmest = np.where(np.isnan(windows), -np.inf, windows).max(axis=1)
    return np.asarray(warmest - flow_c >= _COOLED_K)


def _step_up(power: FloatArray, at: int) -> int:
    """First minute after `at` that leaves the reduced level, upwards or to rest."""
    level = power[at]
    for minute in range(at + 1, len(power)):
        if np.isnan(power[minute]):
            continue
        if power[minute] > _STEP_UP * level + 0.3 or power[minute] < 0.5 * level:
            return minute
    return len(power) - 1
