"""A rehearsal house as records: what was drawn from the seed, before it is set in motion."""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from analysis.plant.plant import Drive, Duty, Fuel, Tariff
from analysis.rehearsal.house.weather import Climate
from analysis.rehearsal.physics.electronic import ElectronicPump
from analysis.rehearsal.physics.motor import Motor
from analysis.rehearsal.physics.records import NODES, BoilerBody, House, Loops, StoreBody

Control = Literal["weather", "fixed", "room"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One position of a pump's knob.

    `mode` as in `hydraulics`; `speed` a speed ratio, for an induction pump the
    share of mains voltage its winding tap amounts to; `head` and `flow` of the
    control curve [m, m3/h]; `night` 0, or the kind of night reduction switched on.
    """

    label: str
    mode: int
    speed: float = 1.0
    head: float = 2.0
    flow: float = 1.2
    night: int = 0
    auto: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpSpec:
    """A pump: its drive with model, its settings, its nameplate and ways of failing."""

    drive: Drive
    h0: float
    b: float
    a: float
    rated_flow: float
    settings: tuple[Setting, ...]
    rated_power_w: tuple[float, float]
    electronic: ElectronicPump | None = None
    motor: Motor | None = None
    port_to_port_mm: int = 180
    cut_out: bool = False
    dry_protection: bool = False
    standby_w: float = 1.5
    retry_s: float = 20.0
    lock_out_min: float = 120.0

    @property
    def heat_w(self) -> float:
        """Heat into the water while running, about 70 % of the power [W] (from memory)."""
        if self.electronic is not None:
            return 0.7 * 8.0
        return 0.7 * 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopSpec:
    """A loop with its pumps over time: the second, where there is one, from the swap on."""

    id: str
    kind: int
    duty: Duty
    pumps: tuple[PumpSpec, ...]
    starts_at: tuple[int, ...] = (0,)
    pipe_k: float = 0.8
    kv_open: float = 2.5
    least_opening: float = 0.03
    pipe_node_kg: float = 4.0
    emitter_node_j_k: float = 150e3
    pipe_loss_w_k: float = 1.0
    emitter_w: float = 0.0
    exponent: float = 1.3
    height_m: float = 3.0
    yields: bool = False
    overrun_s: float = 180.0
    pump_in_return: bool = False
    mixed_by: float = 0.0
    always_on: bool = False
    hours: tuple[tuple[float, float], ...] = ()

    def all_settings(self) -> list[tuple[PumpSpec, Setting]]:
        """Settings of all pumps in the order the setting index counts them."""
        return [(pump, one) for pump in self.pumps for one in pump.settings]

    def first_setting(self, pump: int) -> int:
        """Index of a pump's first setting."""
        return sum(len(p.settings) for p in self.pumps[:pump])


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnerWatts:
    """Electric power of a boiler by phase [W]."""

    standby: float
    preheat: float
    purge: float
    spark: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HouseSpec:
    """A whole house, drawn from the seed."""

    seed: int
    name: str
    timezone: str
    tariff: Tariff
    climate: Climate
    house: House
    fuel: Fuel
    boiler_id: str
    body: BoilerBody
    watts: BurnerWatts
    store: StoreBody
    loops: tuple[LoopSpec, ...]
    control: Control
    room_c: float
    setback_k: float
    day_h: tuple[float, float]
    slope_margin_k: float
    fixed_flow_c: float
    heating_limit_c: float
    gain_w: float
    window_m2: float
    daily_draw_l: float
    kick: str
    cellar_c: float
    pressure_bar: float
    height_m: float = field(default=5.0)

    @property
    def store_volume_l(self) -> float:
        """Volume of the store, 0 where there is none [L]."""
        return round(self.store.layer_j_k * 4 / 4182.0 / 0.99, -1)

    def loop(self, pump: str) -> LoopSpec:
        """Loop of a pump id."""
        return next(one for one in self.loops if one.id == pump)

    def index(self, pump: str) -> int:
        """Place of a pump's loop among the loops."""
        return next(i for i, one in enumerate(self.loops) if one.id == pump)


def loop_arrays(loops: tuple[LoopSpec, ...]) -> Loops:
    """Arrays of the loops for the compiled march."""
    tables = [one.all_settings() for one in loops]
    most = max(len(table) for table in tables)
    padded = [table + [table[-1]] * (most - len(table)) for table in tables]

    def of_loops(values: list[float]) -> np.ndarray:
        return np.array(values, float)

    def of_settings(name: str, *, of_pump: bool) -> np.ndarray:
        return np.array(
            [[float(getattr(p if of_pump else s, name)) for p, s in table] for table in padded]
        )

    nodes = np.empty((len(loops), NODES))
    for row, one in zip(nodes, loops, strict=True):
        row[:] = one.pipe_node_kg * 4182.0
        row[2:5] = one.emitter_node_j_k
    return Loops(
        kind=np.array([one.kind for one in loops]),
        pipe_k=of_loops([one.pipe_k for one in loops]),
        kv_open=of_loops([one.kv_open for one in loops]),
        least_opening=of_loops([one.least_opening for one in loops]),
        node_j_k=nodes,
        pipe_loss_w_k=of_loops([one.pipe_loss_w_k for one in loops]),
        emitter_w=of_loops([one.emitter_w for one in loops]),
        exponent=of_loops([one.exponent for one in loops]),
        height_m=of_loops([one.height_m for one in loops]),
        standing_k=of_loops([0.6 for _ in loops]),
        yields=np.array([int(one.yields) for one in loops]),
        overrun_s=of_loops([one.overrun_s for one in loops]),
        pump_in_return=np.array([int(one.pump_in_return) for one in loops]),
        set_induction=np.array([[int(p.drive == "induction") for p, _ in t] for t in padded]),
        set_h0=of_settings("h0", of_pump=True),
        set_b=of_settings("b", of_pump=True),
        set_a=of_settings("a", of_pump=True),
        set_rated_flow=of_settings("rated_flow", of_pump=True),
        set_heat_w=of_settings("heat_w", of_pump=True),
        set_mode=of_settings("mode", of_pump=False).astype(np.int64),
        set_speed=of_settings("speed", of_pump=False),
        set_head=of_settings("head", of_pump=False),
        set_flow=of_settings("flow", of_pump=False),
        set_night=of_settings("night", of_pump=False).astype(np.int64),
        set_auto=of_settings("auto", of_pump=False).astype(np.int64),
    )
