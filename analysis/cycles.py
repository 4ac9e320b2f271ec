"""Burner cycles: firings and rests, from the boiler's power or its fuel counter."""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from analysis.estimate import plain
from analysis.levels import Runs, runs_above, two_levels
from analysis.plant import Boiler, Channel, Plant
from analysis.readings import (
    Holds,
    IntArray,
    Readings,
    Record,
    covered_hours,
    hold_limit_ms,
    holds,
    usual_step_ms,
)
from analysis.timebase import HOUR_MS, SECOND_MS, Span, format_rfc3339, local_day_edges

Method = Literal["power", "temperature", "fuel"]


@dataclass(frozen=True, slots=True)
class Cycle:
    """One firing and the rest that follows it.

    `off_s` is None where the rest's end was not seen; `is_complete` is False
    where a gap hides an edge of the firing.
    """

    start_ms: int
    end_ms: int
    off_s: float | None
    is_complete: bool

    @property
    def on_s(self) -> float:
        """Length of the firing [s]."""
        return (self.end_ms - self.start_ms) / SECOND_MS


@dataclass(frozen=True, slots=True)
class ShortCycling:
    """Whether a boiler fires too often and too briefly; None where it cannot be said."""

    is_short: bool | None
    why: str


@dataclass(frozen=True, slots=True)
class CycleSummary:
    """Figures of the complete cycles within the covered time."""

    starts: int
    starts_per_day: float | None
    on_hours: float
    median_on_s: float | None
    median_off_s: float | None
    duty: float | None
    short_cycling: ShortCycling


@dataclass(frozen=True, slots=True)
class BoilerCycles:
    """Cycles of one boiler; `coverage` is the share of the span with readings."""

    boiler: str
    method: Method | None
    channel: str | None
    cycles: tuple[Cycle, ...]
    summary: CycleSummary
    coverage: float

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        s = self.summary
        return {
            "boiler": self.boiler,
            "method": self.method,
            "channel": self.channel,
            "cycles": [_cycle_document(c) for c in self.cycles],
            "summary": {
                "starts": s.starts,
                "starts_per_day": plain(s.starts_per_day, 4),
                "on_hours": plain(s.on_hours),
                "median_on_s": plain(s.median_on_s),
                "median_off_s": plain(s.median_off_s),
                "duty": plain(s.duty, 4),
                "short_cycling": {"is": s.short_cycling.is_short, "why": s.short_cycling.why},
            },
            "coverage": plain(self.coverage, 4),
        }


def _cycle_document(cycle: Cycle) -> dict[str, Any]:
    return {
        "start": format_rfc3339(cycle.start_ms),
        "end": format_rfc3339(cycle.end_ms),
        "on_s": plain(cycle.on_s),
        "off_s": plain(cycle.off_s),
        "complete": cycle.is_complete,
    }


def boiler_cycles(plant: Plant, boiler: Boiler, record: Record, span: Span) -> BoilerCycles:
    """Cycles of a boiler from the best source there is: its power, else its fuel counter.

    Parameters
    ----------
    plant : Plant
        Where the boiler's channels are named and the local day is known.
    boiler : Boiler
        Which boiler.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Time to look at.
    """
    for quantity, source in (("power", _from_power), ("fuel_volume", _from_fuel)):
        for channel in plant.select(boiler.id, quantity):
            readings = record.get(channel.id)
            if readings is None or len(readings) < 3:
                continue
            if found := source(readings, channel, span):
                return _result(plant, boiler, channel, found=found, span=span)
    summary = CycleSummary(
        0, None, 0.0, None, None, None, ShortCycling(None, "no channel shows the firing")
    )
    return BoilerCycles(boiler.id, None, None, (), summary, 0.0)


@dataclass(frozen=True, slots=True)
class _Found:
    method: Method
    runs: Runs
    covered_h: float


LEAST_STEP_W = 8.0
"""A burner adds at least its valve's power; common practice, no source."""


def _from_power(readings: Readings, channel: Channel, span: Span) -> _Found | None:
    """Firings as runs of the boiler's electric power above its rest level."""
    hold_ms = hold_limit_ms(readings, channel)
    known = holds(readings, hold_ms, span)
    levels = two_levels(known, LEAST_STEP_W)
    if levels is None:
        return None
    known = _without_glitches(known, levels.on, rest=levels.low)
    runs = runs_above(known, levels.on, levels.off)
    if channel.reports != "change":
        runs = _between_samples(runs, readings)
    return _Found("power", runs, covered_hours(known))


def _without_glitches(known: Holds, on: float, *, rest: float) -> Holds:
    """Leave out single zeros amid firing, which plugs report now and then.

    Common practice, no source: a plug's lone 0 W between two firing values is
    its own fault where the boiler at rest draws more than 0 W.
    """
    value = known.value
    if len(value) < 3 or rest < 0.5:
        return known
    zero = np.flatnonzero(value[1:-1] == 0) + 1
    lone = zero[(value[zero - 1] >= on) & (value[zero + 1] >= on)]
    lone = lone[known.end_ms[lone] - known.start_ms[lone] <= 120 * SECOND_MS]
    if not len(lone):
        return known
    filled = value.copy()
    filled[lone] = value[lone - 1]
    return known._replace(value=filled)


def _between_samples(runs: Runs, readings: Readings) -> Runs:
    """Move edges to the middle between the readings that enclose them."""
    start = runs.start_ms - _half_step(readings, runs.start_ms) * runs.opens
    end = runs.end_ms - _half_step(readings, runs.end_ms) * runs.closes
    rest = runs.rest_until_ms
    moved = np.where(rest > runs.end_ms, rest - _half_step(readings, rest), end)
    return runs._replace(start_ms=start, end_ms=end, rest_until_ms=moved)


def _half_step(readings: Readings, time_ms: IntArray) -> IntArray:
    """Half the distance to the reading before, where one was taken at that moment."""
    at = np.clip(np.searchsorted(readings.time_ms, time_ms), 1, len(readings) - 1)
    apart = readings.time_ms[at] - readings.time_ms[at - 1]
    step = np.minimum(apart, usual_step_ms(readings)) // 2
    return np.where(readings.time_ms[at] == time_ms, step, 0)


_LEAST_GAP_MS, _MOST_GAP_MS = 120 * SECOND_MS, 600 * SECOND_MS


def _from_fuel(readings: Readings, channel: Channel, span: Span) -> _Found | None:
    """Firings as runs of counter steps that follow each other closely.

    A step tells that fuel flowed since the step before; the firing is taken to
    begin and end half a usual step distance outside its first and last step.
    """
    inside = readings.known().within(span)
    moved = np.flatnonzero(np.diff(inside.value) > 0) + 1
    if len(moved) and moved[0] == 1 and _reports_steps_only(inside):
        moved = np.append([0], moved)
    step_ms = inside.time_ms[moved]
    if len(step_ms) < 3:
        return None
    apart = np.diff(step_ms)
    usual = float(np.median(apart[apart <= np.quantile(apart, 0.75)]))
    gap_ms = float(np.clip(2.5 * usual, _LEAST_GAP_MS, _MOST_GAP_MS))
    split = np.flatnonzero(apart > gap_ms)
    half = int(usual / 2)
    start = step_ms[np.append([0], split + 1)] - half
    end = step_ms[np.append(split, [len(step_ms) - 1])] + half
    seen = np.ones(len(start), bool)
    rest = np.append(start[1:], end[-1:])
    runs = Runs(start, end, seen, seen, rest)
    return _fuel_coverage(runs, inside, channel, span)


def _reports_steps_only(readings: Readings) -> bool:
    """Whether every reading is a step, as from a pulse output."""
    return bool(np.mean(np.diff(readings.value) > 0) > 0.95)


def _fuel_coverage(runs: Runs, inside: Readings, channel: Channel, span: Span) -> _Found:
    if _reports_steps_only(inside) or channel.reports == "change":
        hours = (int(inside.time_ms[-1]) - int(inside.time_ms[0])) / HOUR_MS
        return _Found("fuel", runs, hours)
    known = holds(inside, hold_limit_ms(inside, channel), span)
    broken = known.end_ms[:-1][known.start_ms[1:] > known.end_ms[:-1]]
    hidden = np.searchsorted(broken, runs.start_ms) != np.searchsorted(broken, runs.end_ms)
    runs = runs._replace(opens=~hidden, closes=~hidden)
    return _Found("fuel", runs, covered_hours(known))


def _result(
    plant: Plant, boiler: Boiler, channel: Channel, *, found: _Found, span: Span
) -> BoilerCycles:
    runs = found.runs
    columns = (column.tolist() for column in runs)
    cycles = tuple(
        Cycle(
            start,
            end,
            (rest - end) / SECOND_MS if rest > end else None,
            opens and closes,
        )
        for start, end, opens, closes, rest in zip(*columns, strict=True)
    )
    return BoilerCycles(
        boiler.id,
        found.method,
        channel.id,
        cycles,
        summarise_cycles(cycles, boiler, found.covered_h, timezone=plant.timezone),
        min(found.covered_h / span.hours, 1.0) if span.hours > 0 else 0.0,
    )


def summarise_cycles(
    cycles: tuple[Cycle, ...], boiler: Boiler, covered_h: float, *, timezone: str
) -> CycleSummary:
    """Figures of cycles; incomplete ones count for hours and starts, not for lengths.

    Parameters
    ----------
    cycles : tuple of Cycle
        In order.
    boiler : Boiler
        Its fuel decides what is short.
    covered_h : float
        Hours with readings.
    timezone : str
        Zone of the local day.
    """
    complete = [c for c in cycles if c.is_complete]
    on_hours = sum(c.on_s for c in cycles) / 3600
    on_s = [c.on_s for c in complete]
    off_s = [c.off_s for c in complete if c.off_s is not None]
    return CycleSummary(
        starts=len(cycles),
        starts_per_day=len(cycles) / covered_h * 24 if covered_h > 0 else None,
        on_hours=on_hours,
        median_on_s=float(np.median(on_s)) if on_s else None,
        median_off_s=float(np.median(off_s)) if off_s else None,
        duty=on_hours / covered_h if covered_h > 0 else None,
        short_cycling=judge_short_cycling(cycles, boiler, timezone=timezone),
    )


@dataclass(frozen=True, slots=True)
class CyclingLimits:
    """Rules of thumb for one fuel; they disagree in the trade and are settings, no standard."""

    shortest_median_s: float
    most_per_hour: int
    most_per_day: int
    days: int = 3


LIMITS = {
    "gas": CyclingLimits(180.0, 6, 50),
    "lpg": CyclingLimits(180.0, 6, 50),
    "oil": CyclingLimits(300.0, 6, 40),
}
"""Common practice, no source: trade texts give 3 to 15 min a firing and 3 to 8 starts an hour."""


def judge_short_cycling(
    cycles: tuple[Cycle, ...], boiler: Boiler, *, timezone: str
) -> ShortCycling:
    """Judge by rules of thumb whether a boiler cycles too often.

    Either the median firing is too short and some hour has too many starts, or
    several days have too many starts.
    """
    limits = LIMITS[boiler.fuel]
    complete = [c for c in cycles if c.is_complete]
    if len(complete) < 5:
        return ShortCycling(None, f"only {len(complete)} complete firings; at least 5 are needed")
    starts = np.array([c.start_ms for c in cycles])
    median_s = float(np.median([c.on_s for c in complete]))
    busiest = int((np.searchsorted(starts, starts + HOUR_MS) - np.arange(len(starts))).max())
    edges = local_day_edges(Span(int(starts[0]), int(starts[-1]) + 1), timezone)
    busy_days = int((np.histogram(starts, edges)[0] > limits.most_per_day).sum())
    said = (
        f"median firing {median_s / 60:.1f} min, {busiest} starts in the busiest hour, "
        f"{busy_days} days with more than {limits.most_per_day} starts "
        f"(rule of thumb: under {limits.shortest_median_s / 60:.0f} min and over "
        f"{limits.most_per_hour} an hour, or {limits.days} such days)"
    )
    brief = median_s < limits.shortest_median_s and busiest > limits.most_per_hour
    return ShortCycling(bool(brief or busy_days >= limits.days), said)
