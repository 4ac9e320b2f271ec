"""A plant's minutes as its judges need them: each pump's power and pipes, the boiler's heat."""

from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any, Self

import numpy as np

from analysis.base.time import MINUTE_MS, Span, local_minute_of_day
from analysis.plant.plant import Boiler, Channel, Plant, Pump
from analysis.readings.minute_grid import Grid, held
from analysis.readings.readings import FloatArray, IntArray, Record
from analysis.readings.two_levels import BoolArray

NOMINAL_V = 230.0
VOLTAGE_EXPONENT = 1.65
"""Power of a capacitor-run motor against mains voltage, 5 to 95 %: 1.43 to 1.80 (model of 300
parameter sets, no measurement)."""
_BRIDGE_MIN = 5
_VOLTS_BRIDGE_MIN = 60
_OUTDOOR_BRIDGE_MIN = 60


class Sliced:
    """A record of arrays over minutes, of which a part can be taken."""

    def part(self, rows: slice) -> Self:
        """The same over some of the minutes."""
        changes = {f.name: _part(getattr(self, f.name), rows) for f in fields(self)}  # type: ignore[arg-type]  # subclasses are dataclasses
        return replace(self, **changes)  # type: ignore[type-var]


def _part(value: Any, rows: slice) -> Any:
    if isinstance(value, np.ndarray):
        return value[rows]
    if isinstance(value, Sliced):
        return value.part(rows)
    if isinstance(value, Mapping):
        return {name: _part(one, rows) for name, one in value.items()}
    assert not is_dataclass(value) or isinstance(value, Pump | Plant | Boiler)
    return value


@dataclass(frozen=True, slots=True, eq=False)
class MachineMinutes(Sliced):
    """Power of one machine [W].

    `power_w` is the mean of each minute, of an induction pump brought to 230 V where voltage is
    measured; `low_w` and `high_w` the least and greatest reading as it came; NaN unknown.
    """

    power_w: FloatArray
    low_w: FloatArray
    high_w: FloatArray

    @property
    def is_steady(self) -> BoolArray:
        """Minutes on one level: no start, stop or try within them."""
        return np.asarray(self.high_w - self.low_w <= 0.3 + 0.15 * self.high_w)


@dataclass(frozen=True, slots=True, eq=False)
class PumpMinutes(Sliced):
    """What is known of one pump and its loop, NaN where unknown.

    `power_age_min` and `flow_age_min` tell for how many minutes the power's and the flow pipe's
    value has been held without a reading: one that reports on change may have fallen silent.
    `power_count` is the number of the power's readings within each minute.
    """

    pump: Pump
    has_voltage: bool
    drawn: MachineMinutes
    factor: FloatArray
    flow_c: FloatArray
    return_c: FloatArray
    body_c: FloatArray
    power_age_min: FloatArray
    power_count: IntArray
    flow_age_min: FloatArray

    @property
    def water_c(self) -> FloatArray:
        """Warmer of the loop's pipes [Cel]; unknown while the flow pipe's sensor is silent."""
        if np.isnan(self.flow_c).all():
            return self.return_c
        return np.where(np.isnan(self.flow_c), np.nan, np.fmax(self.flow_c, self.return_c))


@dataclass(frozen=True, slots=True, eq=False)
class PlantMinutes(Sliced):
    """A plant minute by minute.

    Attributes
    ----------
    start_ms : ndarray
        Beginning of each minute [ms].
    quarter : ndarray
        Quarter hour of the local day, 0 to 95.
    pumps, boilers : mapping
        By id.
    boiler_flow_c : ndarray
        Flow temperature of the hottest boiler [Cel].
    pressure_bar : ndarray
        System pressure [bar].
    store_top_c : ndarray
        Top of the first store [Cel].
    outdoor_c : ndarray
        Outdoor temperature, held for an hour [Cel].
    """

    plant: Plant
    start_ms: IntArray
    quarter: IntArray
    pumps: Mapping[str, PumpMinutes]
    boilers: Mapping[str, MachineMinutes]
    boiler_flow_c: FloatArray
    pressure_bar: FloatArray
    store_top_c: FloatArray
    outdoor_c: FloatArray

    def __len__(self) -> int:
        return len(self.start_ms)

    def source_c(self, pump: Pump) -> FloatArray:
        """Temperature of what the pump's loop is fed from: the store for recirculation [Cel]."""
        return self.store_top_c if pump.duty == "recirculation" else self.boiler_flow_c

    @classmethod
    def over(cls, plant: Plant, record: Record, span: Span) -> "PlantMinutes":
        """Lay out the readings of a span."""
        grid = Grid.over(plant, record, span)
        flow = np.full(len(grid), np.nan)
        for boiler in plant.boilers:
            flow = np.fmax(flow, _temperature(grid, boiler.id, "flow"))
        pressure = np.full(len(grid), np.nan)
        for channel in plant.select(quantity="pressure")[:1]:
            found = grid.of_channel(channel)
            pressure = pressure if found is None else held(found.mean, _BRIDGE_MIN)
        top = np.full(len(grid), np.nan)
        for store in plant.stores[:1]:
            top = _temperature(grid, store.id, "top")
        return cls(
            plant=plant,
            start_ms=grid.start_ms,
            quarter=local_minute_of_day(grid.start_ms, plant.timezone) // 15,
            pumps={p.id: _pump_minutes(grid, p) for p in plant.pumps},
            boilers={b.id: _drawn(grid, b.id) for b in plant.boilers},
            boiler_flow_c=flow,
            pressure_bar=pressure,
            store_top_c=top,
            outdoor_c=held(grid.mean("plant", "temperature", "outdoor"), _OUTDOOR_BRIDGE_MIN),
        )


def _temperature(grid: Grid, of: str, place: str) -> FloatArray:
    return held(grid.mean(of, "temperature", place), _BRIDGE_MIN)


def _pump_minutes(grid: Grid, pump: Pump) -> PumpMinutes:
    drawn = _drawn(grid, pump.id)
    volts = _volts(grid, pump.id)
    power_age_min, power_count = _heard(grid, grid.plant.first(pump.id, "power"))
    if pump.drive == "induction" and volts is not None:
        normal = drawn.power_w * (NOMINAL_V / volts) ** VOLTAGE_EXPONENT
        drawn = replace(drawn, power_w=normal)
    return PumpMinutes(
        pump=pump,
        has_voltage=volts is not None,
        drawn=drawn,
        factor=grid.mean(pump.id, "power_factor"),
        flow_c=_temperature(grid, pump.id, "flow"),
        return_c=_temperature(grid, pump.id, "return"),
        body_c=_temperature(grid, pump.id, "body"),
        power_age_min=power_age_min,
        power_count=power_count,
        flow_age_min=_heard(grid, grid.plant.first(pump.id, "temperature", "flow"))[0],
    )


def _heard(grid: Grid, channel: Channel | None) -> tuple[FloatArray, IntArray]:
    """Minutes since a channel's last reading, and how many readings each minute brought.

    Where there is no reading yet, that is longer ago than any.
    """
    readings = None if channel is None else grid.record.get(channel.id)
    if readings is None or not len(readings) or not len(grid):
        return np.full(len(grid), np.inf), np.zeros(len(grid), np.int64)
    edges = np.searchsorted(readings.time_ms, grid.edges_ms)
    ends, at = grid.edges_ms[1:], edges[1:] - 1
    age = (ends - readings.time_ms[np.maximum(at, 0)]) / MINUTE_MS
    return np.where(at < 0, np.inf, age), np.diff(edges)


def _drawn(grid: Grid, of: str) -> MachineMinutes:
    found = grid.summary(of)
    if found is None:
        unknown = np.full(len(grid), np.nan)
        return MachineMinutes(unknown, unknown, unknown)
    return MachineMinutes(found.mean, found.low, found.high)


def _volts(grid: Grid, of: str) -> FloatArray | None:
    """Mains voltage at the pump's plug or, failing that, at any other; held over silence."""
    channels = grid.plant.select(of=of, quantity="voltage")
    channels += grid.plant.select(quantity="voltage")
    for channel in channels:
        found = grid.of_channel(channel)
        if found is None or not (found.mean > 0.6 * NOMINAL_V).any():
            continue
        live = np.where(found.mean > 0.6 * NOMINAL_V, found.mean, np.nan)
        known = held(live, _VOLTS_BRIDGE_MIN)
        return np.where(np.isnan(known), float(np.nanmedian(live)), known)
    return None
