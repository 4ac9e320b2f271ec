"""What each firing was for: heating the house or charging the store."""

import numpy as np

from analysis.base.time import MINUTE_MS, Span
from analysis.firing.cycle_statistics import Cycle
from analysis.plant.plant import Plant
from analysis.readings.power_levels import pump_state
from analysis.readings.readings import (
    FloatArray,
    IntArray,
    Readings,
    Record,
    hold_limit_ms,
    holds,
    value_at,
)
from analysis.readings.two_levels import BoolArray, runs_above

_STORE_RISE_K = 1.5
"""A charge warms the store by more than this; a draw only cools it (common practice, no source)."""


def charging(plant: Plant, record: Record, cycles: tuple[Cycle, ...], span: Span) -> BoolArray:
    """Whether each firing was spent on charging a store rather than on heating.

    The store's own pump tells, else a rise of the store's temperature. Where
    neither is measured every firing counts as heating.

    Parameters
    ----------
    plant : Plant
        Stores, pumps and channels.
    record : mapping of str to Readings
        What was measured.
    cycles : tuple of Cycle
        Firings in order.
    span : Span
        Time to look at.

    Returns
    -------
    ndarray of bool, one a firing
    """
    none = np.zeros(len(cycles), bool)
    if not plant.stores or not cycles:
        return none
    start = np.array([c.start_ms for c in cycles])
    end = np.array([c.end_ms for c in cycles])
    shares = _pump_share(plant, record, start, end, span=span)
    if shares is not None:
        return shares >= 0.5
    for channel in plant.select(quantity="temperature", place="top"):
        readings = record.get(channel.id, Readings.empty())
        if len(readings):
            hold_ms = hold_limit_ms(readings, channel)
            rise = value_at(readings, end + 5 * MINUTE_MS, hold_ms) - value_at(
                readings, start, hold_ms
            )
            return np.asarray(rise >= _STORE_RISE_K)
    return none


def _pump_share(
    plant: Plant, record: Record, start_ms: IntArray, end_ms: IntArray, *, span: Span
) -> FloatArray | None:
    """Share of each firing over which a store's charging pump ran; None where none is measured."""
    for pump in plant.pumps:
        channel = plant.first(pump.id, "power") if pump.duty == "store" else None
        readings = record.get(channel.id, Readings.empty()) if channel else Readings.empty()
        if channel is None or not len(readings):
            continue
        state = pump_state(plant, pump, record, span)
        if state is None or state.usual_w is None:
            continue
        known = holds(readings, hold_limit_ms(readings, channel), span)
        runs = runs_above(known, state.above_w, state.above_w)
        spent = _overlap(start_ms, end_ms, runs.start_ms, runs.end_ms)
        return np.asarray(spent / np.maximum(end_ms - start_ms, 1), np.float64)
    return None


def _overlap(start: IntArray, end: IntArray, from_ms: IntArray, to_ms: IntArray) -> FloatArray:
    """Time of each stretch that lies within any of the runs [ms]."""
    if not len(from_ms):
        return np.zeros(len(start))
    edges = np.column_stack((from_ms, to_ms)).ravel().astype(np.float64)
    run_time = np.column_stack((np.zeros(len(from_ms)), to_ms - from_ms)).ravel()
    passed = np.cumsum(run_time)
    at_end = np.interp(end.astype(np.float64), edges, passed)
    at_start = np.interp(start.astype(np.float64), edges, passed)
    return np.asarray(at_end - at_start)
