"""Flows of all loops: pumps, throttling valves, buoyancy, faults of the water path."""

import math

from analysis.rehearsal.physics.compiled import inlined
from analysis.rehearsal.physics.hydraulics import (
    CONSTANT_PRESSURE,
    CONSTANT_SPEED,
    electronic_point,
    flow_at_speed,
    loop_resistance,
)
from analysis.rehearsal.physics.records import EMITTERS, RECIRCULATION, Drivers, Loops, State
from analysis.rehearsal.physics.water import thermosiphon_head_m

LEAST_SPEED = 0.28


@inlined
def circulate(m: int, step_s: float, s: State, d: Drivers, loops: Loops) -> None:
    """Set valve opening, flow and speed of every loop."""
    for i in range(loops.kind.shape[0]):
        opening = 1.0
        if loops.kind[i] == EMITTERS:
            s.valve[i] += step_s / 1800.0 * (s.room[0] + d.valve_shift_k[i, m] - s.valve[i])
            gap = (d.room_set_c[m] + 1.0 - s.valve[i]) / 2.0
            opening = min(max(gap, loops.least_opening[i]), 1.0)
        s.opening[i] = opening
        k = loop_resistance(loops.pipe_k[i] * d.resistance[i, m], loops.kv_open[i], opening)
        k += d.extra_k[i, m]
        if s.on[i] > 0.0 and d.turning[i, m] > 0:
            _pumped(i, m, k, s, d, loops)
        else:
            s.speed[i] = 0.0
            s.flow[i] = _buoyant(i, m, k, s, d, loops)


@inlined
def _pumped(i: int, m: int, k: float, s: State, d: Drivers, loops: Loops) -> None:
    setting = d.setting[i, m]
    h0 = loops.set_h0[i, setting] * d.head[i, m]
    b, a = loops.set_b[i, setting], loops.set_a[i, setting]
    if h0 <= 1e-3:
        s.flow[i] = 0.0
        s.speed[i] = _dry_speed(i, setting, loops)
        return
    if loops.set_induction[i, setting] > 0:
        share = min(abs(s.flow[i]) / loops.set_rated_flow[i, setting], 1.0)
        light, full = d.speed_light[i, m], d.speed_full[i, m]
        speed = light + (full - light) * share
        flow = flow_at_speed(h0, b, a, speed, k)
        flow = 0.5 * (flow + abs(s.flow[i])) if s.flow[i] != 0.0 else flow
    else:
        mode, head = loops.set_mode[i, setting], loops.set_head[i, setting]
        speed = loops.set_speed[i, setting]
        if loops.set_auto[i, setting] > 0:
            head = s.auto_head[i]
        if s.reduced[i] > 0.0:
            mode, speed = CONSTANT_SPEED, LEAST_SPEED + 0.06
        flow, speed = electronic_point(mode, speed, head, loops.set_flow[i, setting], h0, b, a, k)
    s.flow[i] = flow * d.direction[i, m]
    s.speed[i] = speed


@inlined
def _dry_speed(i: int, setting: int, loops: Loops) -> float:
    """Speed without water: a pump that controls pressure takes it for a shut valve."""
    mode = loops.set_mode[i, setting]
    if loops.set_induction[i, setting] > 0 or mode == CONSTANT_SPEED:
        return float(loops.set_speed[i, setting])
    share = 1.0 if mode == CONSTANT_PRESSURE else 0.5
    speed = math.sqrt(share * loops.set_head[i, setting] / loops.set_h0[i, setting])
    return min(max(speed, LEAST_SPEED), 1.0)


@inlined
def _buoyant(i: int, m: int, k: float, s: State, d: Drivers, loops: Loops) -> float:
    """Flow that buoyancy drives through a standing pump whose check valve does not close."""
    if d.check_open[i, m] == 0 or loops.kind[i] == RECIRCULATION:
        return 0.0
    mean = 0.0
    for j in range(2, 7):
        mean += s.nodes[i, j] / 5.0
    head = thermosiphon_head_m(s.boiler[1], mean, loops.height_m[i])
    flow = math.sqrt(abs(head) / (k + loops.standing_k[i]))
    return flow if head > 0.0 else -flow
