"""Set a scene in motion: from parameters and drivers to the trajectory of the plant."""

from dataclasses import dataclass

import numpy as np

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.house.draw import stream
from analysis.rehearsal.house.spec import PumpSpec, loop_arrays
from analysis.rehearsal.physics.compiled import need_compiler
from analysis.rehearsal.physics.march import march, new_output, new_state
from analysis.rehearsal.physics.motor import running
from analysis.rehearsal.physics.records import BRANCH, LEDGER, STEM, STEP_S, Array, Array32

PHASES_A_DAY = 2600


@dataclass(frozen=True, slots=True)
class Trajectory:
    """How the plant ran: a row of `table` every `step_s` from the scene's origin.

    Attributes
    ----------
    table : ndarray of float32
        Columns `STEM`, then `BRANCH` for every loop.
    phase_s, phase : ndarray
        When a burner phase was entered [s from the origin], and which.
    ledger : ndarray
        A row at every day's beginning and at the end, columns `LEDGER` [J].
    stored_j : ndarray
        Heat held at the same moments [J].
    """

    step_s: float
    table: Array32
    phase_s: Array
    phase: Array
    ledger: Array
    stored_j: Array

    def stem(self, name: str) -> Array32:
        """Column of the plant."""
        return self.table[:, STEM.index(name)]

    def branch(self, loop: int, name: str) -> Array32:
        """Column of a loop."""
        return self.table[:, len(STEM) + loop * len(BRANCH) + BRANCH.index(name)]

    def total(self, name: str) -> float:
        """Sum of a ledger column over the whole march."""
        return float(self.ledger[-1, LEDGER.index(name)])


def play(scene: Scene, *, step_s: float = 10.0) -> Trajectory:
    """March through a scene.

    Parameters
    ----------
    scene : Scene
        House and everything that acts on it.
    step_s : float
        Time between rows kept; a multiple of the march's own step [s].

    Raises
    ------
    AnalysisError
        The compiler is not installed.
    """
    need_compiler()
    spec = scene.spec
    minutes = scene.minutes
    stride = max(round(step_s / STEP_S), 1)
    _motor_speeds(scene)
    state = new_state(
        len(spec.loops),
        room_c=spec.room_c,
        water_c=45.0,
        store_c=52.0 if spec.store.layer_j_k > 0 else 20.0,
    )
    state.auto_head[:] = [one.pumps[0].settings[0].head for one in spec.loops]
    out = new_output(minutes, stride, len(spec.loops), minutes // 1440 * PHASES_A_DAY + 4000)
    luck = stream(spec.seed, 7).random(200_000)
    count = march(
        minutes,
        stride,
        spec.house,
        spec.body,
        spec.store,
        loop_arrays(spec.loops),
        scene.drivers,
        luck,
        state,
        out,
    )
    kept = min(count, len(out.phases))
    return Trajectory(
        stride * STEP_S,
        out.trajectory,
        out.phases[:kept, 0].copy(),
        out.phases[:kept, 1].copy(),
        out.ledger,
        out.stored_j,
    )


HOUR_MIN = 60


def _motor_speeds(scene: Scene) -> None:
    """Write the speeds of induction pumps, unloaded and loaded, hour by hour."""
    for i, loop in enumerate(scene.spec.loops):
        table = loop.all_settings()
        if all(pump.drive != "induction" for pump, _ in table):
            continue
        at = np.arange(0, scene.minutes, HOUR_MIN)
        setting = scene.drivers.setting[i, at]
        profile = scene.profiles[loop.id]
        light, full = np.ones(len(at)), np.ones(len(at))
        for number in np.unique(setting):
            pump, chosen = table[int(number)]
            if pump.motor is None:
                continue
            rows = setting == number
            volts = scene.mains_v[at[rows]] * chosen.speed
            light[rows], full[rows] = _speeds(
                pump, volts, profile.drag[at[rows]], profile.capacity[at[rows]]
            )
        scene.drivers.speed_light[i, : scene.minutes] = np.repeat(light, HOUR_MIN)[: scene.minutes]
        scene.drivers.speed_full[i, : scene.minutes] = np.repeat(full, HOUR_MIN)[: scene.minutes]


def _speeds(
    pump: PumpSpec, volts: Array32, drag: Array32, capacity: Array32
) -> tuple[Array, Array]:
    """Speed ratios dead-headed and at rated flow, against rated voltage and flow."""
    assert pump.motor is not None
    rated = float(running(pump.motor).speed)
    keys = np.column_stack((np.round(volts, 0), np.round(drag, 2), np.round(capacity, 2)))
    kinds, place = np.unique(keys, axis=0, return_inverse=True)
    both = [
        running(
            pump.motor,
            hydraulic=load,
            voltage_v=kinds[:, 0],
            drag=kinds[:, 1],
            capacity=kinds[:, 2],
        ).speed
        / rated
        for load in (0.62, 1.0)
    ]
    return both[0][place.ravel()], both[1][place.ravel()]
