"""What the compiled march reads and writes: parameters, drivers, state, output."""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Array32 = NDArray[np.float32]
Ints = NDArray[np.int64]

EMITTERS: Final = 0
CHARGING: Final = 1
RECIRCULATION: Final = 2
"""Kinds of loop."""

NODES: Final = 7
"""Water nodes of a loop: two of flow pipe, three of emitter or coil, two of return pipe."""
LAYERS: Final = 4
STEP_S: Final = 5.0
MINUTE_STEPS: Final = 12

IDLE: Final = 0
PREHEAT: Final = 1
PURGE: Final = 2
IGNITION: Final = 3
FIRING: Final = 4
POST_PURGE: Final = 5
LOCK: Final = 6
LOCK_OUT: Final = 7
"""Phases of the burner sequence."""


class House(NamedTuple):
    """Two heat capacities [J/K] and their conductances [W/K]; valve sensor lag [s]."""

    air_j_k: float
    mass_j_k: float
    ua_w_k: float
    ua_mass_w_k: float
    valve_lag_s: float


class BoilerBody(NamedTuple):
    """Boiler body, burner and their controls.

    Heat capacities [J/K], conductances [W/K], times [s], temperatures [Cel],
    `input_w` the rated heat input on net calorific value [W], `least` the
    smallest share of it while modulating (1 for an on/off burner).
    """

    capacity_j_k: float
    header_j_k: float
    loss_w_k: float
    draught_w_k: float
    header_loss_w_k: float
    input_w: float
    least: float
    efficiency: float
    dew_point_c: float
    condensing: float
    hysteresis_k: float
    limit_c: float
    preheat_s: float
    purge_s: float
    ignition_s: float
    post_s: float
    lock_s: float
    tries: float
    reset_s: float
    room_controlled: float


class StoreBody(NamedTuple):
    """Hot-water store in four layers; `layer_j_k` 0 where there is none."""

    layer_j_k: float
    loss_w_k: float
    mixing_w_k: float
    hysteresis_k: float
    charge_flow_c: float
    coil_w_k: float
    cold_c: float


class Loops(NamedTuple):
    """Loops and their pumps; every array has the loop as its first axis.

    The arrays ``set_...`` have the setting as their second axis: a hand on the
    knob, or another pump, is another setting. Heads [m], flows [m3/h],
    resistances [m/(m3/h)2], capacities [J/K].
    """

    kind: Ints
    pipe_k: Array
    kv_open: Array
    least_opening: Array
    node_j_k: Array
    pipe_loss_w_k: Array
    emitter_w: Array
    exponent: Array
    height_m: Array
    standing_k: Array
    yields: Ints
    overrun_s: Array
    pump_in_return: Ints
    set_induction: Ints
    set_h0: Array
    set_b: Array
    set_a: Array
    set_rated_flow: Array
    set_heat_w: Array
    set_mode: Ints
    set_speed: Array
    set_head: Array
    set_flow: Array
    set_night: Ints
    set_auto: Ints


class Drivers(NamedTuple):
    """What acts on the plant, minute by minute: axis 0 (or 1, after the loop) is the minute."""

    outdoor_c: Array32
    cellar_c: Array32
    gain_w: Array32
    wood_w: Array32
    room_set_c: Array32
    air_change: Array32
    heat_on: NDArray[np.int8]
    flow_set_c: Array32
    charge_on: NDArray[np.int8]
    charge_set_c: Array32
    draw_kg_s: Array32
    burner_supply: NDArray[np.int8]
    ignition_fail: Array32
    heat_factor: Array32
    boiler_loss: Array32
    store_loss: Array32
    hysteresis: Array32
    command: NDArray[np.int8]
    mains: NDArray[np.int8]
    timer: NDArray[np.int8]
    setting: NDArray[np.int8]
    mix_set_c: Array32
    resistance: Array32
    extra_k: Array32
    head: Array32
    turning: NDArray[np.int8]
    direction: NDArray[np.int8]
    check_open: NDArray[np.int8]
    speed_light: Array32
    speed_full: Array32
    valve_shift_k: Array32
    night_stuck: NDArray[np.int8]


class State(NamedTuple):
    """Everything that changes; arrays are written in place."""

    boiler: Array  # body, flow header, return header [Cel]
    nodes: Array  # loop x node [Cel]
    layers: Array  # store, bottom to top [Cel]
    room: Array  # air, mass [Cel]
    valve: Array  # sensor of each loop's valves [Cel]
    opening: Array
    flow: Array  # signed [m3/h]
    speed: Array
    on: Array
    overrun: Array  # [s left]
    burner: Array  # phase, s left, tries, level, integral, s since flame, draws used, tripped
    call: Array  # heating, charging, boiler target [Cel], room
    auto_head: Array  # set head of the adapting curve [m]
    reduced: Array  # 1 while at night reduction
    night: Array  # loop x (least since reduced [Cel],)
    memory: Array  # loop x 120 pump-water temperatures, one a minute [Cel]


LEDGER = (
    "flame",
    "wood",
    "pumps",
    "draws",
    "boiler_loss",
    "pipe_loss",
    "store_loss",
    "house_loss",
    "gains",
    "fuel",
    "starts",
)
"""Columns of the ledger: heat since the beginning [J]; then fuel heat [J] and ignitions."""

STEM = ("boiler", "flow", "return", "room", "store_top", "store_bottom", "level", "target")
BRANCH = ("flow", "return", "rate", "speed", "on", "opening", "reduced")
"""Columns of the trajectory: of the plant, then of each loop."""


class Output(NamedTuple):
    """What the march leaves behind.

    `trajectory` holds a row every `stride` steps, `phases` pairs of seconds
    and burner phase entered, `ledger` a row a day, `stored_j` the heat held at
    the same moments.
    """

    trajectory: Array32
    phases: Array
    ledger: Array
    stored_j: Array
