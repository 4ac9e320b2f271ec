"""Temperatures that only sensors ask for: pump body, flue, mean water, and the pressure."""

import numpy as np
from scipy.signal import lfilter

from analysis.rehearsal.course.electric import moments, pump_load
from analysis.rehearsal.course.play import Trajectory
from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.physics.compiled import compiled
from analysis.rehearsal.physics.records import Array

BODY_J_K = 1900.0
BODY_UA_W_K = 1.3
WATER_UA_W_K = 4.0
POCKET_J_K = 1500.0
POCKET_UA_W_K = 1.1


@compiled
def body_temperature(
    power_w: Array, water_c: Array, flows: Array, cellar_c: Array, cooling: Array, extra_w: Array
) -> Array:
    """Temperature of a pump's body, minute by minute [Cel].

    The body gives heat to the room and to the water in it; while water
    stands, that pocket warms.

    Parameters
    ----------
    power_w, water_c, flows, cellar_c, cooling, extra_w : ndarray, shape (n,)
        Power [W], water passing [Cel], 1 while it passes, surroundings [Cel],
        share of the sound coupling to the water, power lost in the winding [W].
    """
    out = np.empty(len(power_w))
    body = water_c[0]
    pocket = water_c[0]
    for k in range(len(power_w)):
        for _ in range(6):
            tie = WATER_UA_W_K * cooling[k] * (body - pocket)
            body += (
                10.0
                / BODY_J_K
                * (
                    0.6 * (power_w[k] - extra_w[k])
                    + extra_w[k]
                    - tie
                    - BODY_UA_W_K * max(cooling[k], 0.5) * (body - cellar_c[k])
                )
            )
            if flows[k] > 0:
                pocket = water_c[k]
            else:
                pocket += (
                    10.0
                    / POCKET_J_K
                    * (0.25 * power_w[k] + tie - POCKET_UA_W_K * (pocket - cellar_c[k]))
                )
        out[k] = body
    return out


def pump_body_c(scene: Scene, trajectory: Trajectory, loop: int) -> Array:
    """Body temperature of a loop's pump at every minute of the scene [Cel]."""
    spec = scene.spec.loops[loop]
    at = moments(np.arange(scene.minutes, dtype=np.float64) * 60.0, trajectory, scene)
    power = pump_load(scene, trajectory, loop, at, np.zeros(scene.minutes)).power_w
    place = "return" if spec.pump_in_return else "flow"
    water = trajectory.branch(loop, place)[at.row].astype(float)
    flows = (np.abs(trajectory.branch(loop, "rate")[at.row]) > 0.02).astype(float)
    profile = scene.profiles[spec.id]
    return body_temperature(
        power,
        water,
        flows,
        scene.drivers.cellar_c.astype(float),
        profile.cooling.astype(float),
        profile.loss.astype(float),
    )


def flue_c(scene: Scene, trajectory: Trajectory) -> Array:
    """Temperature at a clip on the flue pipe, at every row of the trajectory [Cel].

    Deposits show as heat that does not reach the water: some 20 K for each
    per cent (from memory, no source).
    """
    level = trajectory.stem("level").astype(float)
    water = trajectory.stem("boiler").astype(float)
    minute = np.minimum(
        (np.arange(len(level)) * trajectory.step_s / 60.0).astype(int), scene.minutes - 1
    )
    lost = 1.0 - scene.drivers.heat_factor[minute]
    if scene.spec.body.condensing > 0:
        hot = trajectory.stem("return") + 6.0 + 14.0 * level + 2000.0 * lost
    else:
        hot = water + 75.0 + 30.0 * level + 2000.0 * lost
    target = np.where(level > 0, hot, 0.7 * water + 0.3 * scene.drivers.cellar_c[minute])
    keep = np.exp(-trajectory.step_s / 150.0)
    out, _ = lfilter([1 - keep], [1, -keep], target, zi=[target[0] * keep])
    return np.asarray(out)


def pressure_bar(scene: Scene, trajectory: Trajectory) -> Array:
    """System pressure with the water's expansion, at every row [bar]."""
    minute = np.minimum(
        (np.arange(len(trajectory.table)) * trajectory.step_s / 60.0).astype(int), scene.minutes - 1
    )
    mean = 0.5 * (trajectory.stem("flow") + trajectory.stem("return"))
    return np.asarray(scene.pressure_bar[minute] + 0.006 * (mean - 30.0), float)
