"""A pump and what surrounds it on one grid of minutes, from channels of any rate."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.base.time import MINUTE_MS, SECOND_MS, Span, local_day_edges
from analysis.plant.plant import Channel, Plant, Pump
from analysis.readings.power_levels import run_state
from analysis.readings.readings import (
    FloatArray,
    Holds,
    IntArray,
    Readings,
    Record,
    hold_limit_ms,
    usual_step_ms,
    value_at,
)
from analysis.readings.two_levels import BoolArray, two_levels

COARSE_S = 150.0
"""Readings rarer than this say nothing of minutes; common practice, no source."""
_LENT_MS = 30 * MINUTE_MS
"""Mains voltage seen at another plug is taken to hold this long."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Minutes:
    """A pump minute by minute, NaN where unknown; every array of shape (n,).

    Attributes
    ----------
    time_ms : ndarray of int64
        Grid, from a local midnight on [ms].
    day_edge : ndarray of int64, shape (days + 1,)
        Index of each local midnight in the grid.
    power_w, voltage_v, factor : ndarray
        Power, mains voltage (of another plug where its own tells none), power factor.
    pressure_bar : ndarray
        Pressure of the system.
    flow_c, return_c, around_c, boiler_c, room_c, outdoor_c : ndarray
        Temperatures at the pump's pipes, around them, of the boiler's flow, of a room and outdoors.
    fires : ndarray
        1 where the burner fires, 0 where not.
    on : ndarray of bool
        Whether the pump was seen running.
    run_min : ndarray
        Minutes since the run or the rest began.
    step_s : float
        Usual time between power readings [s].
    reports : str
        ``periodic`` or ``change``.
    quantum_w : float
        Step in which the plug shows power [W].
    has : frozenset of str
        Which of the arrays above rest on a channel with readings.
    """

    time_ms: IntArray
    day_edge: IntArray
    power_w: FloatArray
    voltage_v: FloatArray
    factor: FloatArray
    pressure_bar: FloatArray
    flow_c: FloatArray
    return_c: FloatArray
    around_c: FloatArray
    boiler_c: FloatArray
    room_c: FloatArray
    outdoor_c: FloatArray
    fires: FloatArray
    on: BoolArray
    run_min: IntArray
    step_s: float
    reports: Literal["periodic", "change"]
    quantum_w: float
    has: frozenset[str]

    @property
    def is_coarse(self) -> bool:
        """Whether power is told too rarely to see what happens within minutes."""
        return self.reports == "periodic" and self.step_s > COARSE_S


def pump_minutes(plant: Plant, pump: Pump, record: Record, span: Span) -> Minutes | None:
    """Lay a pump's channels on a grid of minutes.

    Returns
    -------
    Minutes or None
        None where the pump has no power channel with readings.
    """
    channel = plant.first(pump.id, "power")
    if channel is None or not len(record.get(channel.id, Readings.empty())):
        return None
    edges = local_day_edges(span, plant.timezone)
    grid = np.arange(edges[0], edges[-1], MINUTE_MS, dtype=np.int64)
    grid = grid[grid < span.end_ms]
    lay = _Layer(plant, record, grid)
    power = lay.of(channel)
    power[grid < span.start_ms] = np.nan
    sources = {
        "flow_c": lay.first(pump.id, "temperature", "flow"),
        "return_c": lay.first(pump.id, "temperature", "return"),
        "around_c": lay.first("plant", "temperature", "ambient"),
        "boiler_c": lay.boiler("temperature", "flow"),
        "room_c": lay.first("plant", "temperature", "room"),
        "outdoor_c": lay.first("plant", "temperature", "outdoor"),
        "voltage_v": lay.voltage(pump.id),
        "pressure_bar": lay.first("plant", "pressure"),
        "factor": lay.factor(pump.id, power),
        "fires": lay.fires(),
    }
    on = np.nan_to_num(power) > run_state(power, np.ones(len(power)), pump).above_w
    readings = record[channel.id]
    unknown = np.full(len(grid), np.nan)
    return Minutes(
        time_ms=grid,
        day_edge=np.searchsorted(grid, edges).astype(np.int64),
        power_w=power,
        on=on,
        run_min=_since_change(on),
        step_s=usual_step_ms(readings) / SECOND_MS,
        quantum_w=1.0 if _is_whole(power[np.isfinite(power)]) else 0.1,
        reports="change" if channel.reports == "change" else "periodic",
        has=frozenset(name for name, array in sources.items() if array is not None),
        **{name: unknown if array is None else array for name, array in sources.items()},
    )


def _is_whole(value: FloatArray) -> bool:
    """Whether a plug shows whole watts only."""
    return bool(np.all(value == np.round(value)))


def _since_change(on: BoolArray) -> IntArray:
    """Minutes since the state last changed."""
    place = np.arange(len(on))
    changed = np.append([True], on[1:] != on[:-1]) if len(on) else np.empty(0, bool)
    return np.asarray(place - np.maximum.accumulate(np.where(changed, place, 0)), np.int64)


class _Layer:
    """Lays channels of a record on a grid, None for what there is not."""

    def __init__(self, plant: Plant, record: Record, grid: IntArray) -> None:
        self.plant, self.record, self.grid = plant, record, grid

    def of(self, channel: Channel, least_hold_ms: int = 0) -> FloatArray:
        readings = self.record[channel.id]
        hold_ms = max(hold_limit_ms(readings, channel), least_hold_ms, 2 * MINUTE_MS)
        return value_at(readings, self.grid, hold_ms)

    def first(self, of: str, quantity: str, place: str | None = None) -> FloatArray | None:
        for channel in self.plant.select(of, quantity, place):
            if len(self.record.get(channel.id, Readings.empty())):
                value = self.of(channel)
                return _plausible(value) if quantity == "temperature" else value
        return None

    def boiler(self, quantity: str, place: str | None = None) -> FloatArray | None:
        for boiler in self.plant.boilers:
            if (found := self.first(boiler.id, quantity, place)) is not None:
                return found
        return None

    def voltage(self, pump: str) -> FloatArray | None:
        """Own voltage, gaps filled from any other plug: the mains are the same."""
        channels = sorted(self.plant.select(quantity="voltage"), key=lambda c: c.of != pump)
        found: FloatArray | None = None
        for channel in channels:
            if not len(self.record.get(channel.id, Readings.empty())):
                continue
            value = self.of(channel, _LENT_MS)
            value[~((value > 180.0) & (value < 270.0))] = np.nan
            found = value if found is None else np.where(np.isnan(found), value, found)
        return found

    def factor(self, pump: str, power_w: FloatArray) -> FloatArray | None:
        """Power factor told by the plug, or that of power, voltage and current."""
        if (told := self.first(pump, "power_factor")) is not None:
            return told
        current, voltage = self.first(pump, "current"), self.first(pump, "voltage")
        if current is None or voltage is None:
            return None
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(current > 0.02, power_w / (voltage * current), np.nan)

    def fires(self) -> FloatArray | None:
        """Whether the burner fires, by its power, else by the rise of the boiler's flow."""
        power = self.boiler("power")
        if power is not None:
            known = np.isfinite(power)
            held = Holds(self.grid[known], self.grid[known] + MINUTE_MS, power[known])
            if (levels := two_levels(held, 3.0)) is not None:
                return np.where(known, (power > levels.on) * 1.0, np.nan)
        hot = self.boiler("temperature", "flow")
        if hot is None:
            return None
        rise = np.full(len(hot), np.nan)
        rise[2:-2] = hot[4:] - hot[:-4]
        return np.where(np.isnan(rise), np.nan, (rise > 1.5) * 1.0)


def _plausible(value: FloatArray) -> FloatArray:
    """Leave out marks of digital sensors in trouble (85 and -127) that stand alone."""
    odd = (value < -60.0) | (value > 130.0)
    jump = np.abs(np.diff(value, prepend=value[:1]))
    odd |= (value == 85.0) & (jump > 10.0)
    return np.where(odd, np.nan, value)
