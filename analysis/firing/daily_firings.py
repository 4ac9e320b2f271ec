"""A boiler's firings day by day: what its judges and its report look at, worked out once."""

from dataclasses import dataclass, fields, replace

import numpy as np

from analysis.base.time import HOUR_MS, SECOND_MS, Span, local_day_edges
from analysis.firing.burner_cycles import BoilerCycles, boiler_cycles
from analysis.firing.cycle_statistics import demand_hours
from analysis.firing.heating_or_hot_water import charging
from analysis.plant.plant import Boiler, Plant
from analysis.readings.readings import FloatArray, IntArray, Record, hold_limit_ms, summarise
from analysis.readings.situation import Situation
from analysis.readings.two_levels import BoolArray
from analysis.readings.worked_once import once
from analysis.weather.degree_days import Days, outdoor_days


@dataclass(frozen=True, slots=True, eq=False)
class FireDays:
    """Figures of each local day of one boiler; NaN where nothing is known of a day.

    Attributes
    ----------
    start_ms : ndarray of int64, shape (n,)
        Local midnights [ms].
    starts : ndarray of float64
        Firings seen to begin for heating, of a whole day over the share of it that was watched.
    charges : ndarray of float64
        Firings seen to begin for charging a store, likewise.
    on_h, demand_h : ndarray of float64
        Hours of firing for heating, likewise, and hours of heat demand.
    median_on_s : ndarray of float64
        Median length of the complete heating firings.
    outdoor_c : ndarray of float64
        Daily mean outdoor temperature.
    is_whole : ndarray of bool
        Days of which at least nine tenths were watched.
    """

    start_ms: IntArray
    starts: FloatArray
    charges: FloatArray
    on_h: FloatArray
    demand_h: FloatArray
    median_on_s: FloatArray
    outdoor_c: FloatArray
    is_whole: BoolArray

    def __len__(self) -> int:
        return len(self.start_ms)

    def last(self, count: int) -> "FireDays":
        """The last so many days."""
        return FireDays(*(getattr(self, one.name)[-count:] for one in fields(self)))

    @property
    def per_demand_hour(self) -> FloatArray:
        """Starts per hour of heat demand; NaN on days with less than two such hours."""
        with np.errstate(invalid="ignore", divide="ignore"):
            rate = self.starts / self.demand_h
        return np.where(self.demand_h >= 2.0, rate, np.nan)


@dataclass(frozen=True, slots=True, eq=False)
class Fired:
    """One boiler's cycles, what each was for, and its days."""

    boiler: Boiler
    found: BoilerCycles
    is_charge: BoolArray
    days: FireDays

    @property
    def start_ms(self) -> IntArray:
        """Starts of all firings [ms]."""
        return np.array([c.start_ms for c in self.found.cycles], np.int64)

    @property
    def end_ms(self) -> IntArray:
        """Ends of all firings [ms]."""
        return np.array([c.end_ms for c in self.found.cycles], np.int64)


_LIKE_K = 4.0
"""Days are like each other where their outdoor temperatures part by no more than this."""


REMEMBERED_DAYS = 120
"""Days among which a change is looked for: what has lasted for a third of a year is the new usual
(common practice, no source)."""


def like_days(
    days: FireDays,
    value: FloatArray,
    asked: np.ndarray,
    among: np.ndarray,
    *,
    leave_out: bool = False,
) -> FloatArray:
    """Median of a daily value over the three days of most alike weather; NaN where none is alike.

    Parameters
    ----------
    days : FireDays
        Whose outdoor temperature tells what is alike; without any, all days are.
    value : ndarray, shape (n,)
        The daily value.
    asked, among : ndarray of int
        Numbers of the days asked about, and of those to compare with.
    leave_out : bool
        Whether a day is not compared with itself.
    """
    outdoor = days.outdoor_c
    if not np.isfinite(outdoor[among]).any():
        outdoor = np.zeros(len(days))
    apart = np.abs(outdoor[asked][:, None] - outdoor[among][None, :])
    apart = np.where(np.isfinite(apart), apart, np.inf)
    if leave_out:
        apart[asked[:, None] == among[None, :]] = np.inf
    nearest = np.argsort(apart, axis=1)[:, :3]
    is_like = np.take_along_axis(apart, nearest, axis=1) <= _LIKE_K
    found = np.full(len(asked), np.nan)
    for count in (1, 2, 3):  # nearest first: those that are alike stand before those that are not
        rows = is_like.sum(axis=1) == count
        found[rows] = np.median(value[among[nearest[rows, :count]]], axis=1)
    return found


def fired(situation: Situation, boiler: Boiler) -> Fired:
    """A boiler's firings of a situation."""
    return fired_in(situation.plant, boiler, situation.record, situation.span)


@once
def fired_in(plant: Plant, boiler: Boiler, record: Record, span: Span) -> Fired:
    """A boiler's firings with their purposes and days.

    Parameters
    ----------
    plant : Plant
        Where channels are named.
    boiler : Boiler
        Which boiler.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Time to look at.
    """
    found = boiler_cycles(plant, boiler, record, span)
    is_charge = charging(plant, record, found.cycles, span)
    edges = local_day_edges(span, plant.timezone)
    days = _days(found, is_charge, edges)
    if found.tells == "running":
        days = _without_firings(days, found, edges)
    watched = _watched(found, plant, record, span)
    whole = watched >= _WHOLE
    over = np.where(whole, 1.0 / np.maximum(watched, _WHOLE), 1.0)
    outdoor = _aligned(outdoor_days(plant, record, span), days.start_ms)
    days = replace(
        days,
        starts=days.starts * over,
        charges=days.charges * over,
        on_h=np.minimum(days.on_h * over, _DAY_H),
        outdoor_c=outdoor,
        is_whole=whole,
    )
    return Fired(boiler, found, is_charge, days)


def _days(found: BoilerCycles, is_charge: BoolArray, edges: IntArray) -> FireDays:
    """Figures of the days; weather and cover are still to come."""
    count = max(len(edges) - 1, 0)
    cycles = found.cycles
    start = np.array([c.start_ms for c in cycles], np.int64)
    end = np.array([c.end_ms for c in cycles], np.int64)
    is_complete = np.array([c.is_complete for c in cycles], bool)
    begins = np.array([c.begins for c in cycles], bool)
    day = np.searchsorted(edges, start, side="right") - 1
    starts, charges, on_h, demand_h, median = (np.zeros(count) for _ in range(5))
    median[:] = np.nan
    for k in range(count):
        own = (day == k) & begins
        heats = own & ~is_charge
        starts[k], charges[k] = heats.sum(), (own & is_charge).sum()
        # a firing may reach into the next day: clip it at midnight
        touching = ~is_charge & (start < edges[k + 1]) & (end > edges[k])
        a, b = np.maximum(start[touching], edges[k]), np.minimum(end[touching], edges[k + 1])
        on_h[k] = (b - a).sum() / HOUR_MS
        demand_h[k] = demand_hours(a, b)
        lengths = (end - start)[heats & is_complete] / SECOND_MS
        if len(lengths):
            median[k] = np.median(lengths)
    return FireDays(
        edges[:-1],
        starts,
        charges,
        on_h,
        demand_h,
        median,
        np.full(count, np.nan),
        np.zeros(count, bool),
    )


def _without_firings(days: FireDays, found: BoilerCycles, edges: IntArray) -> FireDays:
    """Days of which hours of running are known, and no firings."""
    unknown = np.full(len(days), np.nan)
    on_h = np.zeros(len(days))
    for one in found.running:
        inside = np.minimum(one.end_ms, edges[1:]) - np.maximum(one.start_ms, edges[:-1])
        on_h += np.maximum(inside, 0) / HOUR_MS
    return replace(days, starts=unknown, charges=unknown, demand_h=on_h, on_h=on_h)


_WHOLE, _DAY_H = 0.9, 25.0
"""Share of a day that makes it whole; hours of the longest local day."""


def _watched(found: BoilerCycles, plant: Plant, record: Record, span: Span) -> FloatArray:
    """Share of each day over which the firings' source was heard."""
    edges = local_day_edges(span, plant.timezone)
    channel = next((c for c in plant.channels if c.id == found.channel), None)
    if channel is None or len(edges) < 2:
        return np.zeros(max(len(edges) - 1, 0))
    readings = record[channel.id].within(span)
    heard = summarise(readings, edges, hold_limit_ms(readings, channel)).covered_s
    return np.asarray(np.minimum(heard / (np.diff(edges) / SECOND_MS), 1.0))


def _aligned(days: Days | None, start_ms: IntArray) -> FloatArray:
    value = np.full(len(start_ms), np.nan)
    if days is not None and len(days):
        at = np.searchsorted(days.start_ms, start_ms)
        inside = at < len(days)
        same = inside & (days.start_ms[np.minimum(at, len(days) - 1)] == start_ms)
        value[same] = days.value[at[same]]
    return value
