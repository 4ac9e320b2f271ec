"""A pump's energy, running hours and running power by local day, from power or its counter."""

from dataclasses import dataclass

import numpy as np

from analysis.climate import LEAST_COVER, Days
from analysis.energy import energy_from_counter, most_power_w
from analysis.levels import two_levels
from analysis.plant import Channel, Plant, Pump
from analysis.readings import (
    FloatArray,
    IntArray,
    Readings,
    Record,
    hold_limit_ms,
    holds,
    summarise,
)
from analysis.timebase import HOUR_MS, SECOND_MS, Span, local_day_edges

LEAST_RUNNING_W = 2.0
"""Below this a pump rests, where its readings show one level only (common practice, no source)."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PumpDays:
    """One row for each local day that lies wholly within a span; NaN where unknown.

    Attributes
    ----------
    start_ms : ndarray of int64, shape (n,)
        Local midnights [ms].
    hours : ndarray
        Length of each day [h].
    kwh : ndarray
        Energy of the whole day [kWh]; unknown where under three quarters of it is covered.
    run_h : ndarray
        Running hours of the whole day.
    running_w : ndarray
        Mean power while running [W]; unknown on days of rest.
    """

    start_ms: IntArray
    hours: FloatArray
    kwh: FloatArray
    run_h: FloatArray
    running_w: FloatArray

    def __len__(self) -> int:
        return len(self.start_ms)

    @property
    def energy(self) -> Days:
        """Energy per day, as the season's model takes it."""
        return Days(self.start_ms, self.kwh)

    @property
    def known(self) -> int:
        """Number of days with a figure."""
        return int(np.isfinite(self.kwh).sum())

    @property
    def mean_running_w(self) -> float:
        """Mean power while running, by running time [W]; NaN where it never ran."""
        there = np.isfinite(self.running_w) & (self.run_h > 0)
        weight = self.run_h[there]
        return float(self.running_w[there] @ weight / weight.sum()) if there.any() else np.nan

    @property
    def run_share(self) -> float:
        """Share of the known days' time in which it ran; NaN where none is known."""
        there = np.isfinite(self.run_h)
        return float(self.run_h[there].sum() / self.hours[there].sum()) if there.any() else np.nan


def pump_days(plant: Plant, pump: Pump, record: Record, span: Span) -> PumpDays:
    """Energy, hours and power of a pump by day.

    Days that the power does not cover, as of a plug that is silent while its
    load rests, are taken from the counter, and their hours from the usual
    running power.

    Parameters
    ----------
    plant : Plant
        Where the channels are named.
    pump : Pump
        Whose days.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Only days wholly within it count.
    """
    edges = local_day_edges(span, plant.timezone)
    edges = edges[(edges >= span.start_ms) & (edges <= span.end_ms)]
    if len(edges) < 2:
        none = np.empty(0)
        return PumpDays(start_ms=edges[:0], hours=none, kwh=none, run_h=none, running_w=none)
    days = _from_power(plant.first(pump.id, "power"), record, edges)
    counter = plant.first(pump.id, "energy")
    if counter is None or counter.id not in record:
        return days
    return _filled(days, record[counter.id], most_power_w(pump), edges)


def _from_power(channel: Channel | None, record: Record, edges: IntArray) -> PumpDays:
    hours = np.diff(edges) / HOUR_MS
    readings = record.get(channel.id) if channel else None
    unknown = np.full(len(hours), np.nan)
    if channel is None or readings is None or not len(readings):
        return PumpDays(
            start_ms=edges[:-1], hours=hours, kwh=unknown, run_h=unknown, running_w=unknown
        )
    hold_ms = hold_limit_ms(readings, channel)
    span = Span(int(edges[0]), int(edges[-1]))
    threshold = running_threshold_w(readings, hold_ms, span)
    power = summarise(readings, edges, hold_ms)
    runs = readings.value >= threshold
    running = summarise(
        Readings(readings.time_ms, np.where(runs, readings.value, np.nan)), edges, hold_ms
    )
    enough = power.covered_s >= LEAST_COVER * hours * HOUR_MS / SECOND_MS
    share = running.covered_s / np.maximum(power.covered_s, 1.0)
    return PumpDays(
        start_ms=edges[:-1],
        hours=hours,
        kwh=np.where(enough, power.mean * hours / 1000.0, np.nan),
        run_h=np.where(enough, share * hours, np.nan),
        running_w=running.mean,
    )


def running_threshold_w(readings: Readings, hold_ms: int, span: Span) -> float:
    """Power above which the pump runs within a span [W], learned from two levels."""
    levels = two_levels(holds(readings, hold_ms, span), LEAST_RUNNING_W)
    if levels and levels.low < 0.3 * levels.high:
        return levels.on
    return LEAST_RUNNING_W


def _filled(days: PumpDays, counter: Readings, most_w: float, edges: IntArray) -> PumpDays:
    """Days without power from the counter, where it spans nearly the whole day."""
    kwh, run_h = days.kwh.copy(), days.run_h.copy()
    usual = days.mean_running_w
    known = counter.known()
    for k in np.flatnonzero(np.isnan(kwh)):
        found = _counted(known, Span(int(edges[k]), int(edges[k + 1])), most_w)
        if found is not None:
            kwh[k] = found
            run_h[k] = min(found * 1000.0 / usual, days.hours[k]) if usual > 0 else np.nan
    return PumpDays(
        start_ms=days.start_ms, hours=days.hours, kwh=kwh, run_h=run_h, running_w=days.running_w
    )


def _counted(counter: Readings, day: Span, most_w: float) -> float | None:
    """Energy of a day between the counter's nearest readings about it [kWh]."""
    a = max(int(np.searchsorted(counter.time_ms, day.start_ms, side="right")) - 1, 0)
    b = int(np.searchsorted(counter.time_ms, day.end_ms, side="left")) + 1
    about = Readings(counter.time_ms[a:b], counter.value[a:b])
    found = energy_from_counter(about, most_w=most_w)
    if not 0.9 * day.hours <= found.covered_h <= 1.5 * day.hours:
        return None
    return found.kwh * day.hours / found.covered_h
