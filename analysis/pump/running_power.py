"""A pump's power in even steps while it runs: the ground for telling its setting and its habits."""

from typing import NamedTuple

import numpy as np

from analysis.base.time import MINUTE_MS, Span
from analysis.plant.plant import Channel, Plant, Pump
from analysis.readings.plant_minutes import NOMINAL_V, VOLTAGE_EXPONENT
from analysis.readings.power_levels import pump_state
from analysis.readings.readings import (
    FloatArray,
    IntArray,
    Readings,
    Record,
    hold_limit_ms,
    summarise,
)
from analysis.readings.two_levels import BoolArray
from analysis.readings.worked_once import once


class Steps(NamedTuple):
    """Values in even steps; NaN where unknown. `runs` where the pump ran through the step."""

    start_ms: IntArray
    power_w: FloatArray
    runs: BoolArray


@once
def power_steps(
    plant: Plant, pump: Pump, record: Record, span: Span, *, step_ms: int = MINUTE_MS
) -> Steps | None:
    """Mean power of a pump per step, None without a power channel that was heard.

    An induction motor's power is brought to 230 V where its voltage is measured.
    """
    channel = plant.first(pump.id, "power")
    readings = Readings.empty() if channel is None else record.get(channel.id, Readings.empty())
    if channel is None or not len(readings):
        return None
    edges = even_edges(span, step_ms)
    summary = summarise(readings, edges, hold_limit_ms(readings, channel))
    state = pump_state(plant, pump, record, span)
    runs = np.asarray(summary.low > (np.inf if state is None else state.above_w))
    power = summary.mean
    if pump.drive == "induction":
        power = power * _to_mains(plant, pump, record, edges)
    return Steps(edges[:-1], power, runs)


def even_edges(span: Span, step_ms: int) -> IntArray:
    """Edges of even steps over a span, on whole steps since 1970."""
    first = span.start_ms // step_ms * step_ms
    return np.arange(first, span.end_ms + step_ms, step_ms, dtype=np.int64)


def _to_mains(plant: Plant, pump: Pump, record: Record, edges: IntArray) -> FloatArray:
    """Factor that brings power to 230 V; 1 where the voltage is not known."""
    volts = channel_steps(plant.first(pump.id, "voltage"), record, edges)
    factor = np.ones(len(edges) - 1)
    if volts is not None:
        known = volts > 0.5 * NOMINAL_V
        factor[known] = (NOMINAL_V / volts[known]) ** VOLTAGE_EXPONENT
    return factor


def channel_steps(channel: Channel | None, record: Record, edges: IntArray) -> FloatArray | None:
    """Mean of a channel per step, None where there is no such channel or it was not heard."""
    readings = Readings.empty() if channel is None else record.get(channel.id, Readings.empty())
    if channel is None or not len(readings):
        return None
    return summarise(readings, edges, hold_limit_ms(readings, channel)).mean
