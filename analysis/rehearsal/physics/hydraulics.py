"""Where pump and pipework meet: the operating point of a loop for every control mode."""

import math
from typing import Final

from analysis.rehearsal.physics.compiled import compiled

CONSTANT_SPEED: Final = 0
CONSTANT_PRESSURE: Final = 1
PROPORTIONAL_PRESSURE: Final = 2
INDUCTION: Final = 3

VALVE_M: Final = 10.197
"""Metres of water in a bar: Kv is the flow [m3/h] at one bar."""


@compiled
def loop_resistance(pipe: float, kv_open: float, opening: float) -> float:
    """Resistance of a loop with valves partly open [m/(m3/h)2].

    Parameters
    ----------
    pipe : float
        Resistance of boiler, pipes and emitters [m/(m3/h)2].
    kv_open : float
        Flow coefficient of all valves together, open [m3/h at 1 bar].
    opening : float
        Share of it that is open now.
    """
    kv = kv_open * opening
    return pipe + VALVE_M / (kv * kv)


@compiled
def flow_at_speed(h0: float, b: float, a: float, speed: float, resistance: float) -> float:
    """Flow of a pump with curve H = h0 n2 + b n Q - a Q2 on a loop H = K Q2 [m3/h].

    The curve obeys the affinity laws; a head of buoyancy is added by giving
    `h0` with it.
    """
    bn = b * speed
    steep = resistance + a
    return (bn + math.sqrt(bn * bn + 4.0 * steep * max(h0 * speed * speed, 0.0))) / (2.0 * steep)


@compiled
def speed_for(h0: float, b: float, a: float, flow: float, head: float) -> float:
    """Speed ratio at which the pump gives this flow and head."""
    bq = b * flow
    return (-bq + math.sqrt(bq * bq + 4.0 * h0 * (a * flow * flow + head))) / (2.0 * h0)


@compiled
def wanted_flow(mode: int, set_head: float, set_flow: float, resistance: float) -> float:
    """Flow at which the control curve meets the loop [m3/h].

    Proportional pressure runs from half of `set_head` at rest to the whole of
    it at `set_flow`.
    """
    if mode == CONSTANT_PRESSURE:
        return math.sqrt(set_head / resistance)
    half = 0.5 * set_head / set_flow
    return (half + math.sqrt(half * half + 2.0 * resistance * set_head)) / (2.0 * resistance)


@compiled
def electronic_point(
    mode: int,
    set_speed: float,
    set_head: float,
    set_flow: float,
    h0: float,
    b: float,
    a: float,
    resistance: float,
) -> tuple[float, float]:
    """Flow [m3/h] and speed ratio of an electronic pump; 0.28 is its least speed."""
    if mode == CONSTANT_SPEED:
        return flow_at_speed(h0, b, a, set_speed, resistance), set_speed
    flow = wanted_flow(mode, set_head, set_flow, resistance)
    speed = speed_for(h0, b, a, flow, resistance * flow * flow)
    if speed > 1.0 or speed < 0.28:
        speed = min(max(speed, 0.28), 1.0)
        flow = flow_at_speed(h0, b, a, speed, resistance)
    return flow, speed
