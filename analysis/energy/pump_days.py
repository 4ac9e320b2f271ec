"""A pump's energy, running hours and running power by local day, from power or its counter."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.base.time import HOUR_MS, SECOND_MS, Span, local_day_edges
from analysis.energy.metered import metered_days, readings_of
from analysis.plant.plant import Plant, Pump
from analysis.readings.power_levels import pump_state
from analysis.readings.readings import (
    FloatArray,
    IntArray,
    Readings,
    Record,
    hold_limit_ms,
    summarise,
)
from analysis.weather.degree_days import LEAST_COVER, Days


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


def running_w(plant: Plant, pump: Pump, record: Record, span: Span) -> float:
    """Mean power while running over a span [W]; NaN where the pump was not seen running.

    Parameters as in `pump_days`; a span without a whole local day counts as it is.
    """
    by_day = pump_days(plant, pump, record, span).mean_running_w
    if np.isfinite(by_day) or span.end_ms <= span.start_ms:
        return by_day
    edges = np.array([span.start_ms, span.end_ms], np.int64)
    return float(_running(plant, pump, record, edges)[1][0])


def pump_days(plant: Plant, pump: Pump, record: Record, span: Span) -> PumpDays:
    """Energy, hours and power of a pump by day.

    Energy is that of `analysis.energy.metered`. Days whose power is not covered, as of
    a plug that is silent while its load rests, take their hours from their
    energy and the usual running power.

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
    metered = metered_days(plant, pump, record, Span(int(edges[0]), int(edges[-1])))
    hours = np.diff(edges) / HOUR_MS
    run_h, running_w = _running(plant, pump, record, edges)
    kwh = np.full(len(hours), np.nan) if metered is None else metered.days.value
    days = PumpDays(start_ms=edges[:-1], hours=hours, kwh=kwh, run_h=run_h, running_w=running_w)
    usual = days.mean_running_w
    if np.isnan(usual) and np.isfinite(running_w).any():
        usual = float(np.nanmean(running_w))
    guessed = np.minimum(kwh * 1000.0 / usual, hours) if usual > 0 else run_h
    return replace(days, run_h=np.where(np.isfinite(run_h), run_h, guessed))


def _running(
    plant: Plant, pump: Pump, record: Record, edges: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Running hours of each day and mean power while running [W]; NaN where unknown."""
    hours = np.diff(edges) / HOUR_MS
    found = readings_of(plant, pump, "power", record=record)
    state = pump_state(plant, pump, record, Span(int(edges[0]), int(edges[-1])))
    if found is None or state is None:
        return np.full(len(hours), np.nan), np.full(len(hours), np.nan)
    (channel, readings), above_w = found, state.above_w
    hold_ms = hold_limit_ms(readings, channel)
    above = np.where(readings.value > above_w, readings.value, np.nan)
    power = summarise(readings, edges, hold_ms)
    running = summarise(Readings(readings.time_ms, above), edges, hold_ms)
    enough = power.covered_s >= LEAST_COVER * hours * HOUR_MS / SECOND_MS
    share = running.covered_s / np.maximum(power.covered_s, 1.0)
    return np.where(enough, share * hours, np.nan), running.mean
