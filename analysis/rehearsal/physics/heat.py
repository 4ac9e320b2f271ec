"""Heat: boiler, loops, store and house through one step, every joule entered in a ledger."""

from analysis.rehearsal.physics.compiled import inlined
from analysis.rehearsal.physics.records import (
    CHARGING,
    EMITTERS,
    LAYERS,
    NODES,
    Array,
    BoilerBody,
    Drivers,
    House,
    Loops,
    State,
    StoreBody,
)
from analysis.rehearsal.physics.water import HEAT_CAPACITY_J_KG_K, KG_S_PER_M3_H

FLAME, WOOD, PUMPS, DRAWS, BOILER_LOSS, PIPE_LOSS, STORE_LOSS, HOUSE_LOSS, GAINS, FUEL = range(10)
W_K_PER_M3_H = KG_S_PER_M3_H * HEAT_CAPACITY_J_KG_K
INVERSION_W_K = 2500.0
"""Conductance by which a layer below a colder one turns over (model, no source)."""


@inlined
def efficiency(body: BoilerBody, return_c: float) -> float:
    """Share of the fuel's net heat that reaches the water while firing.

    A condensing boiler gains up to 9 % below the dew point of its flue gas.
    """
    if body.condensing <= 0.0:
        return body.efficiency
    cool = min(max((body.dew_point_c - return_c) / 25.0, 0.0), 1.0)
    return body.efficiency + 0.09 * cool


@inlined
def step_heat(
    m: int,
    step_s: float,
    flame_w: float,
    s: State,
    d: Drivers,
    house: House,
    body: BoilerBody,
    store: StoreBody,
    loops: Loops,
    tally: Array,
) -> None:
    """Advance every temperature by one step; flows and flame are given.

    Advection is explicit and upwind, so that what leaves a node enters the
    next: the ledger closes to rounding.
    """
    cellar = d.cellar_c[m]
    old = s.nodes.copy()
    hot, back, core = s.boiler[1], s.boiler[2], s.boiler[0]
    drawn, gathered, to_room = 0.0, 0.0, 0.0
    for i in range(loops.kind.shape[0]):
        heat_rate = abs(s.flow[i]) * W_K_PER_M3_H
        forward = s.flow[i] >= 0.0
        exit_c = old[i, NODES - 1] if forward else old[i, 0]
        if loops.kind[i] <= CHARGING:
            share = _mixing(hot, exit_c, d.mix_set_c[i, m])
            inlet = share * hot + (1.0 - share) * exit_c
            drawn += share * heat_rate
            gathered += share * heat_rate * exit_c
        else:
            inlet = s.layers[LAYERS - 1]
            moved = step_s * heat_rate / store.layer_j_k
            s.layers[LAYERS - 1] += moved * (s.layers[2] - inlet)
            s.layers[2] += moved * (exit_c - s.layers[2])
        _advect(i, heat_rate * step_s, inlet, forward, s, old, loops)
        to_room += _exchange(i, step_s, cellar, s, old, loops, store, tally)
        if s.on[i] > 0.0 and s.speed[i] > 0.0:
            heat_w = loops.set_heat_w[i, d.setting[i, m]]
            s.nodes[i, 0] += heat_w * step_s / loops.node_j_k[i, 0]
            tally[PUMPS] += heat_w * step_s
    _boiler(m, step_s, flame_w, drawn, gathered, hot, back, core, s, d, body, tally)
    if store.layer_j_k > 0.0:
        _store(m, step_s, cellar, s, d, store, tally)
    _house(m, step_s, to_room, s, d, house, tally)


@inlined
def _mixing(hot_c: float, exit_c: float, wanted_c: float) -> float:
    """Share of boiler water that the mixing valve lets in; 1 where there is none."""
    if wanted_c <= 0.0 or hot_c <= exit_c + 0.5:
        return 1.0
    return min(max((wanted_c - exit_c) / (hot_c - exit_c), 0.0), 1.0)


@inlined
def _advect(
    i: int, moved_j_k: float, inlet: float, forward: bool, s: State, old: Array, loops: Loops
) -> None:
    for j in range(NODES):
        if forward:
            upstream = inlet if j == 0 else old[i, j - 1]
        else:
            upstream = inlet if j == NODES - 1 else old[i, j + 1]
        s.nodes[i, j] = old[i, j] + moved_j_k / loops.node_j_k[i, j] * (upstream - old[i, j])


@inlined
def _exchange(
    i: int,
    step_s: float,
    cellar: float,
    s: State,
    old: Array,
    loops: Loops,
    store: StoreBody,
    tally: Array,
) -> float:
    """Losses of the pipes; heat of emitters to the room (returned) or of the coil to the store."""
    for j in range(NODES):
        inner = 2 <= j <= 4
        if inner and loops.kind[i] <= CHARGING:
            continue
        lost = loops.pipe_loss_w_k[i] * (old[i, j] - cellar) * step_s
        s.nodes[i, j] -= lost / loops.node_j_k[i, j]
        tally[PIPE_LOSS] += lost
    given = 0.0
    for j in range(2, 5):
        if loops.kind[i] == EMITTERS:
            above = old[i, j] - s.room[0]
            size = loops.emitter_w[i] / 3.0 * (abs(above) / 50.0) ** loops.exponent[i]
            heat = size if above > 0.0 else -size
            given += heat * step_s
        elif loops.kind[i] == CHARGING:
            layer = 0 if j == 4 else 1
            heat = store.coil_w_k / 3.0 * (old[i, j] - s.layers[layer])
            s.layers[layer] += heat * step_s / store.layer_j_k
        else:
            continue
        s.nodes[i, j] -= heat * step_s / loops.node_j_k[i, j]
    return given


@inlined
def _boiler(
    m: int,
    step_s: float,
    flame_w: float,
    drawn: float,
    gathered: float,
    hot: float,
    back: float,
    core: float,
    s: State,
    d: Drivers,
    body: BoilerBody,
    tally: Array,
) -> None:
    cellar = d.cellar_c[m]
    tie = 3.0 * (core - hot)
    draught = body.draught_w_k if flame_w <= 0.0 else 0.0
    lost = (body.loss_w_k + draught) * d.boiler_loss[m] * (core - cellar)
    out = body.header_loss_w_k * (hot - cellar)
    cool = body.header_loss_w_k * (back - cellar)
    gain = flame_w + d.wood_w[m]
    s.boiler[0] += step_s / body.capacity_j_k * (gain - drawn * (core - back) - lost - tie)
    s.boiler[1] += step_s / body.header_j_k * (drawn * (core - hot) + tie - out)
    s.boiler[2] += step_s / body.header_j_k * (gathered - drawn * back - cool)
    tally[FLAME] += flame_w * step_s
    tally[WOOD] += d.wood_w[m] * step_s
    tally[BOILER_LOSS] += (lost + out + cool) * step_s


@inlined
def _store(
    m: int, step_s: float, cellar: float, s: State, d: Drivers, store: StoreBody, tally: Array
) -> None:
    rate = d.draw_kg_s[m] * HEAT_CAPACITY_J_KG_K
    loss = store.loss_w_k * d.store_loss[m] / LAYERS
    per = step_s / store.layer_j_k
    tally[DRAWS] += rate * (s.layers[LAYERS - 1] - store.cold_c) * step_s
    for j in range(LAYERS - 1, -1, -1):
        below = store.cold_c if j == 0 else s.layers[j - 1]
        s.layers[j] += per * rate * (below - s.layers[j])
    for j in range(LAYERS):
        lost = loss * (s.layers[j] - cellar)
        s.layers[j] -= per * lost
        tally[STORE_LOSS] += lost * step_s
    for j in range(LAYERS - 1):
        gap = s.layers[j] - s.layers[j + 1]
        heat = (INVERSION_W_K if gap > 0.0 else store.mixing_w_k) * gap
        s.layers[j] -= per * heat
        s.layers[j + 1] += per * heat


@inlined
def _house(
    m: int, step_s: float, to_room_j: float, s: State, d: Drivers, house: House, tally: Array
) -> None:
    air, mass = s.room[0], s.room[1]
    out = (house.ua_w_k + d.air_change[m]) * (air - d.outdoor_c[m])
    inner = house.ua_mass_w_k * (air - mass)
    s.room[0] += (to_room_j + step_s * (d.gain_w[m] - out - inner)) / house.air_j_k
    s.room[1] += step_s * inner / house.mass_j_k
    tally[HOUSE_LOSS] += out * step_s
    tally[GAINS] += d.gain_w[m] * step_s


@inlined
def stored_j(s: State, house: House, body: BoilerBody, store: StoreBody, loops: Loops) -> float:
    """Heat held by water, boiler, store and house against 0 Cel [J]."""
    total = s.boiler[0] * body.capacity_j_k
    total += (s.boiler[1] + s.boiler[2]) * body.header_j_k
    total += s.room[0] * house.air_j_k + s.room[1] * house.mass_j_k
    for j in range(LAYERS):
        total += s.layers[j] * store.layer_j_k
    for i in range(loops.kind.shape[0]):
        for j in range(NODES):
            total += s.nodes[i, j] * loops.node_j_k[i, j]
    return float(total)
