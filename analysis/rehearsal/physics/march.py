"""The march through time: controls, flows, burner and heat, step by step, compiled."""

from collections.abc import Callable

import numpy as np

from analysis.rehearsal.physics.burner import LEVEL, burn, modulate, wants_fire
from analysis.rehearsal.physics.circulation import circulate
from analysis.rehearsal.physics.compiled import compiled, fingerprint, inlined
from analysis.rehearsal.physics.controls import TARGET, each_minute, make_calls, switch_pumps
from analysis.rehearsal.physics.heat import FUEL, efficiency, step_heat, stored_j
from analysis.rehearsal.physics.records import (
    BRANCH,
    LAYERS,
    LEDGER,
    MINUTE_STEPS,
    NODES,
    STEM,
    STEP_S,
    Array,
    BoilerBody,
    Drivers,
    House,
    Loops,
    Output,
    State,
    StoreBody,
)

STARTS = len(LEDGER) - 1
DAY_STEPS = 1440 * MINUTE_STEPS
STEM_WIDTH = len(STEM)
BRANCH_WIDTH = len(BRANCH)


@inlined
def _fire(
    k: int,
    m: int,
    s: State,
    d: Drivers,
    body: BoilerBody,
    luck: Array,
    out: Output,
    count: int,
    tally: Array,
) -> tuple[float, int]:
    """Heat of the flame into the water over this step [W]."""
    target = s.call[TARGET]
    call = wants_fire(s.burner, body, d.hysteresis[m], s.boiler[0], target)
    was = s.burner[LEVEL] > 0.0
    burning, count = burn(
        s.burner,
        body,
        call,
        d.burner_supply[m],
        d.ignition_fail[m],
        luck,
        k * STEP_S,
        STEP_S,
        out.phases,
        count,
    )
    if burning <= 0.0:
        s.burner[LEVEL] = 0.0
        return 0.0, count
    level = modulate(s.burner, body, s.boiler[0], target, STEP_S)
    s.burner[LEVEL] = level
    if not was:
        tally[STARTS] += 1.0
    fuel = level * body.input_w * burning / STEP_S
    tally[FUEL] += fuel * STEP_S
    return fuel * efficiency(body, s.boiler[2]) * d.heat_factor[m], count


@inlined
def _record(row: int, s: State, out: Output) -> None:
    line = out.trajectory[row]
    line[0], line[1], line[2] = s.boiler[0], s.boiler[1], s.boiler[2]
    line[3], line[4], line[5] = s.room[0], s.layers[LAYERS - 1], s.layers[0]
    line[6], line[7] = s.burner[LEVEL], s.call[TARGET]
    for i in range(s.flow.shape[0]):
        at = STEM_WIDTH + i * BRANCH_WIDTH
        line[at], line[at + 1] = s.nodes[i, 0], s.nodes[i, NODES - 1]
        line[at + 2], line[at + 3], line[at + 4] = s.flow[i], s.speed[i], s.on[i]
        line[at + 5], line[at + 6] = s.opening[i], s.reduced[i]


def _march_of(mark: int) -> Callable[..., int]:
    """Build the march; `mark` makes its compiled form depend on all it is built from."""

    def march(
        minutes: int,
        stride: int,
        house: House,
        body: BoilerBody,
        store: StoreBody,
        loops: Loops,
        d: Drivers,
        luck: Array,
        s: State,
        out: Output,
    ) -> int:
        """Advance the plant through `minutes`, recording every `stride` steps.

        Parameters
        ----------
        minutes : int
            Length; the drivers reach as far.
        stride : int
            Steps of `STEP_S` between rows of the trajectory.
        house, body, store, loops : tuples
            Parameters of the plant.
        d : Drivers
            What acts on it.
        luck : ndarray
            Uniform numbers, one used at each ignition.
        s : State
            Where it begins; advanced in place.
        out : Output
            Written in place.

        Returns
        -------
        int
            Burner phases entered, of which the first ``len(out.phases)`` are kept.
        """
        tally = np.zeros(STARTS + 1)
        count = min(mark, 0)
        for k in range(minutes * MINUTE_STEPS):
            m = k // MINUTE_STEPS
            if k % DAY_STEPS == 0:
                out.ledger[k // DAY_STEPS, :] = tally
                out.stored_j[k // DAY_STEPS] = stored_j(s, house, body, store, loops)
            if k % MINUTE_STEPS == 0:
                each_minute(m, s, d, loops)
            make_calls(m, s, d, body, store)
            switch_pumps(m, STEP_S, s, d, loops)
            circulate(m, STEP_S, s, d, loops)
            flame_w, count = _fire(k, m, s, d, body, luck, out, count, tally)
            step_heat(m, STEP_S, flame_w, s, d, house, body, store, loops, tally)
            if k % stride == 0:
                _record(k // stride, s, out)
        out.ledger[-1, :] = tally
        out.stored_j[-1] = stored_j(s, house, body, store, loops)
        return count

    return compiled(march)


march = _march_of(fingerprint())


def new_state(loops: int, *, room_c: float, water_c: float, store_c: float) -> State:
    """Begin with everything at plausible rest; days of run-in make it right."""
    burner = np.zeros(8)
    return State(
        boiler=np.full(3, water_c),
        nodes=np.full((loops, NODES), water_c - 10.0),
        layers=np.full(LAYERS, store_c),
        room=np.array([room_c, room_c - 1.0]),
        valve=np.full(loops, room_c),
        opening=np.ones(loops),
        flow=np.zeros(loops),
        speed=np.zeros(loops),
        on=np.zeros(loops),
        overrun=np.zeros(loops),
        burner=burner,
        call=np.zeros(4),
        auto_head=np.zeros(loops),
        reduced=np.zeros(loops),
        night=np.zeros((loops, 1)),
        memory=np.full((loops, 120), water_c - 10.0),
    )


def new_output(minutes: int, stride: int, loops: int, phases: int) -> Output:
    """Room for what a march leaves behind."""
    days = -(-minutes // 1440) + 1
    rows = -(-minutes * MINUTE_STEPS // stride)
    return Output(
        trajectory=np.zeros((rows, STEM_WIDTH + loops * BRANCH_WIDTH), np.float32),
        phases=np.zeros((phases, 2)),
        ledger=np.zeros((days, STARTS + 1)),
        stored_j=np.zeros(days),
    )
