"""Controls of the plant: calls for heat, pumps switched, night reduction, adapting curve."""

from analysis.rehearsal.physics.compiled import inlined
from analysis.rehearsal.physics.records import (
    CHARGING,
    EMITTERS,
    BoilerBody,
    Drivers,
    Loops,
    State,
    StoreBody,
)

HEATING, CHARGE, TARGET, ROOM = 0, 1, 2, 3
"""Places in `State.call`."""


@inlined
def make_calls(m: int, s: State, d: Drivers, body: BoilerBody, store: StoreBody) -> None:
    """Set the calls of room and store, and the boiler temperature they ask for."""
    if store.layer_j_k > 0.0:
        sensed = s.layers[2]
        if d.charge_on[m] == 0 or sensed >= d.charge_set_c[m]:
            s.call[CHARGE] = 0.0
        elif sensed < d.charge_set_c[m] - store.hysteresis_k:
            s.call[CHARGE] = 1.0
    if body.room_controlled > 0.0:
        if s.room[0] < d.room_set_c[m] - 0.25:
            s.call[ROOM] = 1.0
        elif s.room[0] > d.room_set_c[m] + 0.25:
            s.call[ROOM] = 0.0
    else:
        s.call[ROOM] = 1.0
    s.call[HEATING] = d.heat_on[m] * s.call[ROOM]
    target = 0.0
    if s.call[HEATING] > 0.0:
        target = d.flow_set_c[m]
    if s.call[CHARGE] > 0.0:
        target = max(target, store.charge_flow_c)
    s.call[TARGET] = target


@inlined
def switch_pumps(m: int, step_s: float, s: State, d: Drivers, loops: Loops) -> None:
    """Switch every pump by its call, its overrun, its timer and what is imposed on it."""
    for i in range(loops.kind.shape[0]):
        wanted = d.timer[i, m] > 0
        if loops.kind[i] == EMITTERS:
            wanted = wanted or s.call[HEATING] > 0.0
            if loops.yields[i] and s.call[CHARGE] > 0.0:
                wanted = False
                s.overrun[i] = 0.0
        elif loops.kind[i] == CHARGING:
            wanted = s.call[CHARGE] > 0.0 and s.boiler[0] > s.layers[0] + 3.0
        if wanted:
            s.overrun[i] = loops.overrun_s[i]
        elif s.overrun[i] > 0.0:
            s.overrun[i] -= step_s
            wanted = True
        if d.command[i, m] > 0:
            wanted = True
        if d.command[i, m] < 0 or d.mains[i, m] == 0:
            wanted = False
        if d.mains[i, m] == 0:
            s.reduced[i] = 0.0
        s.on[i] = 1.0 if wanted else 0.0


@inlined
def each_minute(m: int, s: State, d: Drivers, loops: Loops) -> None:
    """Advance what pumps decide once a minute: night reduction and the adapting curve."""
    for i in range(loops.kind.shape[0]):
        water = s.nodes[i, 6] if loops.pump_in_return[i] else s.nodes[i, 0]
        s.memory[i, m % 120] = water
        setting = d.setting[i, m]
        if loops.set_night[i, setting] > 0:
            night_reduction(i, m, water, s, loops.set_night[i, setting], d.night_stuck[i, m])
        else:
            s.reduced[i] = 0.0
        if loops.set_auto[i, setting] > 0 and s.on[i] > 0.0 and m % 60 == 0:
            adapt(i, s, loops, setting)


@inlined
def night_reduction(i: int, m: int, water_c: float, s: State, kind: int, stuck: int) -> None:
    """Go to the least curve after a fall of the water temperature, back after a rise.

    Kind 1 wants a fall of 13 K within two hours and 10 K to return, kind 2
    the same fall within one hour and 3 K; both at no less than 0.1 K/min.
    """
    window, release = (120, 10.0) if kind == 1 else (60, 3.0)
    if s.reduced[i] > 0.0:
        s.night[i, 0] = min(s.night[i, 0], water_c)
        if water_c > s.night[i, 0] + release + 12.0 * stuck:
            s.reduced[i] = 0.0
            s.memory[i, :] = water_c
        return
    if s.on[i] <= 0.0:
        s.memory[i, :] = water_c
        return
    for back in range(1, window):
        fall = s.memory[i, (m - back) % 120] - water_c
        if fall > 13.0 and fall > 0.1 * back:
            s.reduced[i] = 1.0
            s.night[i, 0] = water_c
            return


@inlined
def adapt(i: int, s: State, loops: Loops, setting: int) -> None:
    """Step the adapting curve: down where the loop needs less, slowly up at the ceiling."""
    highest = loops.set_head[i, setting]
    flow = abs(s.flow[i])
    demanded = flow / loops.set_flow[i, setting]
    if s.speed[i] >= 0.999:
        s.auto_head[i] = min(s.auto_head[i] * 1.01, highest)
    elif demanded < 0.7:
        s.auto_head[i] = max(s.auto_head[i] * 0.997, 0.35 * highest)
