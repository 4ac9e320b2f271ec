"""Standing loss from cooling curves: stretches in which nothing heats or draws, fitted each.

A body that only loses heat cools as T(t) = Ta + (T0 - Ta) exp(-t / tau); its loss is UA = C / tau.
Each undisturbed stretch gives one rate; their median with a rank interval is the estimate.
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import binom

from analysis.base.estimate import Estimate
from analysis.base.time import HOUR_MS, MINUTE_MS, Span
from analysis.plant.plant import Boiler, Channel, Plant, Store
from analysis.readings.power_levels import pump_state
from analysis.readings.readings import (
    FloatArray,
    Holds,
    IntArray,
    Readings,
    Record,
    hold_limit_ms,
    holds,
    summarise,
)
from analysis.readings.two_levels import BoolArray, runs_above

WATER_KJ_L_K = 4.12
"""Heat capacity of a litre of water at 55 Cel [kJ/K] (985.7 kg/m3 times 4.183, IAPWS-IF97)."""
CELLAR_C, CELLAR_SPREAD_K = 15.0, 4.0
"""Surroundings where none are measured: a cellar (common practice, no source)."""

_STEP_MS = 10 * MINUTE_MS
_LEAST_ROWS = 12
"""Two hours: shorter stretches tell the sensor's step rather than the loss."""
_LEAST_ABOVE_K = 10.0
_STIR_K = 0.35
"""A change in ten minutes beyond this is a draw or a charge, no standing loss (a store of 120 L
that lost 250 W would cool by 0.3 K in that time)."""


@dataclass(frozen=True, slots=True, eq=False)
class Rates:
    """Cooling rates of undisturbed stretches.

    Attributes
    ----------
    middle_ms : ndarray of int64, shape (n,)
        Middle of each stretch [ms].
    per_h : ndarray of float64, shape (n,)
        Rate, one over the time constant [1/h].
    hours : ndarray of float64, shape (n,)
        Lengths of the stretches [h].
    """

    middle_ms: IntArray
    per_h: FloatArray
    hours: FloatArray

    def __len__(self) -> int:
        return len(self.per_h)

    def within(self, span: Span) -> "Rates":
        """Stretches whose middle lies in a span."""
        keep = (self.middle_ms >= span.start_ms) & (self.middle_ms < span.end_ms)
        return Rates(self.middle_ms[keep], self.per_h[keep], self.hours[keep])

    def estimate(self) -> Estimate:
        """Median rate with its interval by ranks [1/h]."""
        if len(self) < 3:
            return Estimate.unknown("h-1", f"only {len(self)} undisturbed stretches; 3 are needed")
        low, high = rank_interval(self.per_h)
        words = f"{len(self)} stretches without charge or draw, {self.hours.sum():.0f} h"
        return Estimate(float(np.median(self.per_h)), low, high, "h-1", words)


def rank_interval(values: FloatArray, confidence: float = 0.95) -> tuple[float, float]:
    """Interval of a median by ranks: it needs no assumption on how the values are spread.

    Of few values the least and the greatest bound it.
    """
    ordered = np.sort(values)
    n = len(ordered)
    k = int(binom.ppf((1 - confidence) / 2, n, 0.5))
    return float(ordered[max(k - 1, 0)]), float(ordered[min(n - k, n - 1)])


def cooling_rates(
    temp: Readings, channel: Channel, span: Span, *, around: FloatArray | float
) -> Rates:
    """Rates of all undisturbed stretches of a temperature.

    Parameters
    ----------
    temp : Readings
        Temperature of the body [Cel].
    channel : Channel
        Where it was measured.
    span : Span
        Time to look at.
    around : float or ndarray
        Temperature of the surroundings [Cel], one for all or one per ten minutes of the span.
    """
    edges = np.arange(span.start_ms, span.end_ms + 1, _STEP_MS)
    if len(edges) < _LEAST_ROWS:
        none = np.empty(0)
        return Rates(none.astype(np.int64), none, none)
    mean = summarise(temp, edges, hold_limit_ms(temp, channel)).mean
    above = mean - around
    quiet = np.append([False], (np.diff(mean) <= 0.12) & (np.diff(mean) >= -_STIR_K))
    quiet &= np.isfinite(above) & (above >= _LEAST_ABOVE_K)
    opens = np.flatnonzero(quiet & ~np.append([False], quiet[:-1]))
    closes = np.flatnonzero(quiet & ~np.append(quiet[1:], [False]))
    rows = [_fit(edges, above, a, b) for a, b in zip(opens.tolist(), closes.tolist(), strict=True)]
    fitted = [row for row in rows if row is not None]
    middle = np.array([row[0] for row in fitted], np.int64)
    return Rates(middle, *(np.array([row[k] for row in fitted]) for k in (1, 2)))


def _fit(
    edges: IntArray, above: FloatArray, first: int, last: int
) -> tuple[int, float, float] | None:
    """Middle, rate and length of one stretch, after the quarter hour in which a charge settles."""
    first = first + 2
    if last - first + 1 < _LEAST_ROWS:
        return None
    hours = np.arange(last - first + 1) * (_STEP_MS / HOUR_MS)
    slope = float(np.polyfit(hours, np.log(above[first : last + 1]), 1)[0])
    middle = int(edges[(first + last) // 2])
    return middle, -slope, float(hours[-1])


def surroundings(plant: Plant, record: Record, span: Span) -> tuple[FloatArray | float, bool]:
    """Temperature about store and boiler per ten minutes, and whether it was measured."""
    channel = plant.first("plant", "temperature", "ambient")
    readings = record.get(channel.id, Readings.empty()) if channel else Readings.empty()
    if channel is None or not len(readings):
        return CELLAR_C, False
    edges = np.arange(span.start_ms, span.end_ms + 1, _STEP_MS)
    if len(edges) < 2:
        return CELLAR_C, False
    mean = summarise(readings, edges, hold_limit_ms(readings, channel)).mean
    return np.where(np.isfinite(mean), mean, np.nanmedian(mean)), True


def store_rates(plant: Plant, store: Store, record: Record, span: Span) -> Rates | None:
    """Cooling rates of a store, from its upper sensor: one at the bottom hardly follows."""
    around, _ = surroundings(plant, record, span)
    for place in ("top", "body"):
        channel = plant.first(store.id, "temperature", place)
        readings = record.get(channel.id, Readings.empty()) if channel else Readings.empty()
        if channel is not None and len(readings):
            return cooling_rates(readings, channel, span, around=around)
    return None


def boiler_rates(
    plant: Plant, boiler: Boiler, record: Record, span: Span, *, busy: Holds
) -> Rates | None:
    """Cooling rates of a boiler at rest, seen at its flow pipe; None where that is not measured.

    `busy` are its firings; a pump that runs carries heat away, so such times are left out too.
    """
    around, _ = surroundings(plant, record, span)
    channel = plant.first(boiler.id, "temperature", "flow")
    readings = record.get(channel.id, Readings.empty()) if channel else Readings.empty()
    if channel is None or not len(readings):
        return None
    moving = [busy, *_pumping(plant, record, span)]
    hidden = np.logical_or.reduce([_between(readings, stretch) for stretch in moving])
    value = np.where(hidden, np.nan, readings.value)
    return cooling_rates(Readings(readings.time_ms, value), channel, span, around=around)


def _pumping(plant: Plant, record: Record, span: Span) -> list[Holds]:
    """Stretches over which each measured pump runs."""
    found = []
    for pump in plant.pumps:
        channel = plant.first(pump.id, "power")
        readings = record.get(channel.id, Readings.empty()) if channel else Readings.empty()
        state = pump_state(plant, pump, record, span)
        if channel is not None and state is not None and state.usual_w is not None:
            known = holds(readings, hold_limit_ms(readings, channel), span)
            runs = runs_above(known, state.above_w, state.above_w)
            found.append(Holds(runs.start_ms, runs.end_ms, np.ones(len(runs.start_ms))))
    return found


def _between(readings: Readings, stretch: Holds) -> BoolArray:
    """Readings taken within any stretch."""
    begun = np.searchsorted(stretch.start_ms, readings.time_ms, side="right")
    ended = np.searchsorted(stretch.end_ms, readings.time_ms, side="right")
    return np.asarray(begun > ended)


def loss_of_store(rates: Rates, store: Store, *, is_measured: bool) -> Estimate:
    """Standing loss of a store [W/K] from its cooling rates and its volume.

    Where the surroundings are not measured the interval is wider: 4 K of 35 K.
    """
    rate = rates.estimate()
    if store.volume_l is None:
        return Estimate.unknown("W/K", "no volume of the store in the plant file")
    if rate.value is None or rate.low is None or rate.high is None:
        return Estimate.unknown("W/K", rate.reason or "")
    factor = store.volume_l * WATER_KJ_L_K * 1000 / 3600
    doubt = 0.03 if is_measured else CELLAR_SPREAD_K / 35
    words = rate.basis + ("" if is_measured else ", surroundings taken as 15 °C")
    return Estimate(
        max(rate.value * factor, 0.0),
        max(rate.low * factor * (1 - doubt), 0.0),
        max(rate.high * factor * (1 + doubt), 0.0),
        "W/K",
        words,
    )
