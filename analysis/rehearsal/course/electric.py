"""Electric side of a trajectory: what boiler and pumps take from the mains at any moment."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from analysis.rehearsal.course.play import Trajectory
from analysis.rehearsal.course.scene import DRY_TRYING, STALLED, TRYING, PumpProfile, Scene
from analysis.rehearsal.house.spec import PumpSpec, Setting
from analysis.rehearsal.physics.electronic import electronic_power_factor, electronic_power_w
from analysis.rehearsal.physics.motor import circuit, running
from analysis.rehearsal.physics.records import (
    FIRING,
    IGNITION,
    POST_PURGE,
    PREHEAT,
    PURGE,
    Array,
)

WINDING_MIN = 25.0
"""Time constant of the winding [min]."""
COLD_K = -40.0
STALLED_K = 55.0
VOLTAGE_EXPONENT = 1.65


@dataclass(frozen=True, slots=True)
class Load:
    """What a machine takes at given moments."""

    power_w: Array
    power_factor: Array
    on: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Moments:
    """Moments and where they lie: seconds from the scene's origin, row, minute."""

    seconds: Array
    row: NDArray[np.int64]
    minute: NDArray[np.int64]


def moments(seconds: Array, trajectory: Trajectory, scene: Scene) -> Moments:
    """Place moments in the trajectory and in the scene."""
    row = np.minimum((seconds / trajectory.step_s).astype(np.int64), len(trajectory.table) - 1)
    minute = np.minimum((seconds / 60.0).astype(np.int64), scene.minutes - 1)
    return Moments(seconds, row, minute)


def boiler_load(scene: Scene, trajectory: Trajectory, at: Moments) -> Load:
    """Power of the boiler by the phase of its burner at each moment [W]."""
    watts = scene.spec.watts
    place = np.searchsorted(trajectory.phase_s, at.seconds, side="right") - 1
    if len(trajectory.phase):
        phase = np.where(place >= 0, trajectory.phase[np.maximum(place, 0)], 0)
    else:
        phase = np.zeros(len(at.seconds))
    level = trajectory.stem("level")[at.row].astype(float)
    power = np.full(len(at.seconds), watts.standby)
    power[phase == PREHEAT] = watts.standby + watts.preheat
    power[phase == PURGE] = watts.standby + watts.purge
    power[phase == IGNITION] = watts.standby + watts.purge + watts.spark
    firing = phase == FIRING
    power[firing] = (watts.standby + watts.low + (watts.high - watts.low) * level**2)[firing]
    power[phase == POST_PURGE] = watts.standby + 0.8 * watts.purge
    supplied = scene.drivers.burner_supply[at.minute] > 0
    power = np.where(supplied, power, 0.0)
    factor = np.where(power > 20.0, 0.75, 0.5)
    return Load(power, factor, firing)


def pump_load(scene: Scene, trajectory: Trajectory, loop: int, at: Moments, noise: Array) -> Load:
    """Power and power factor of a loop's pump at each moment.

    Parameters
    ----------
    scene, trajectory : Scene, Trajectory
        What was played.
    loop : int
        Place of the loop.
    at : Moments
        When.
    noise : ndarray
        Standard normal numbers, one a moment, for restlessness.
    """
    spec = scene.spec.loops[loop]
    table = spec.all_settings()
    setting = scene.drivers.setting[loop, at.minute]
    power, factor = np.zeros(len(at.seconds)), np.ones(len(at.seconds))
    on = trajectory.branch(loop, "on")[at.row] > 0
    for number in np.unique(setting):
        pump, chosen = table[int(number)]
        rows = np.flatnonzero(setting == number)
        part = Moments(at.seconds[rows], at.row[rows], at.minute[rows])
        draw = _induction if pump.motor is not None else _electronic
        power[rows], factor[rows] = draw(scene, trajectory, loop, part, pump, chosen)
    profile = scene.profiles[spec.id]
    restless = 0.004 + profile.restless[at.minute]
    power = power * np.maximum(1.0 + restless * noise, 0.05)
    live = scene.drivers.mains[loop, at.minute] > 0
    return Load(np.where(live, power, 0.0), factor, on & live)


def _electronic(
    scene: Scene, trajectory: Trajectory, loop: int, at: Moments, pump: PumpSpec, chosen: Setting
) -> tuple[Array, Array]:
    assert pump.electronic is not None
    del chosen
    profile = scene.profiles[scene.spec.loops[loop].id]
    on = trajectory.branch(loop, "on")[at.row] > 0
    power = (
        electronic_power_w(
            pump.electronic,
            trajectory.branch(loop, "speed")[at.row],
            trajectory.branch(loop, "rate")[at.row],
            drag=1.0 + 6.0 * profile.drag[at.minute],
            load=profile.load[at.minute],
        )
        + profile.loss[at.minute]
    )
    halted = profile.halted[at.minute]
    tries = np.isin(halted, (TRYING, DRY_TRYING)) & on
    if tries.any():
        since = _since(profile, trajectory, loop)[at.minute] + at.seconds % 60.0
        power[tries] = _tries(pump, halted[tries], since[tries])
    power = np.where(on, power, pump.standby_w)
    return power, electronic_power_factor(power)


def _since(profile: PumpProfile, trajectory: Trajectory, loop: int) -> Array:
    """Seconds, at each minute, since the pump came to stand energised."""
    minutes = len(profile.halted)
    rows = (np.arange(minutes) * 60.0 / trajectory.step_s).astype(np.int64)
    on = trajectory.branch(loop, "on")[np.minimum(rows, len(trajectory.table) - 1)] > 0
    stands = (profile.halted > 0) & on
    count = np.arange(minutes)
    begin = np.maximum.accumulate(np.where(~stands, count, -1))
    return (count - begin - 1).astype(float) * 60.0


def _tries(pump: PumpSpec, halted: NDArray[np.int8], since_s: Array) -> Array:
    """Start attempts of an electronic pump that cannot turn, or finds no water."""
    idle = max(pump.standby_w, 1.2)
    late = since_s > 600.0
    period = np.where(late, 10.0 * pump.retry_s, pump.retry_s)
    pulse = (since_s % period) < 0.2 * pump.retry_s
    seized = np.where(pulse & (since_s < 60.0 * pump.lock_out_min), idle + 7.0, idle)
    round_s = 9 * 90.0 + 600.0
    within = since_s % round_s
    runs = (within < 810.0) & (within % 90.0 < 30.0) & (since_s < 3 * round_s)
    return np.asarray(np.where(halted == TRYING, seized, np.where(runs, idle + 3.0, idle)))


def winding_heat_k(scene: Scene, trajectory: Trajectory, loop: int) -> Array:
    """Temperature of the winding against its warm running state, minute by minute [K]."""
    profile = scene.profiles[scene.spec.loops[loop].id]
    rows = (np.arange(scene.minutes) * 60.0 / trajectory.step_s).astype(np.int64)
    on = trajectory.branch(loop, "on")[rows] > 0
    running_k = (1.0 / profile.cooling - 1.0) * 45.0
    target = np.where(on, np.where(profile.halted == STALLED, STALLED_K, running_k), COLD_K)
    keep = np.exp(-1.0 / WINDING_MIN)
    heat, _ = lfilter([1 - keep], [1, -keep], target, zi=[target[0] * keep])
    return np.asarray(heat)


def _induction(
    scene: Scene, trajectory: Trajectory, loop: int, at: Moments, pump: PumpSpec, chosen: Setting
) -> tuple[Array, Array]:
    spec = scene.spec.loops[loop]
    profile = scene.profiles[spec.id]
    on = trajectory.branch(loop, "on")[at.row] > 0
    speed = np.maximum(trajectory.branch(loop, "speed")[at.row].astype(float), 0.05)
    rate = np.abs(trajectory.branch(loop, "rate")[at.row]) / speed / pump.rated_flow
    hydraulic = (0.62 + 0.38 * np.minimum(rate, 1.2)) * profile.load[at.minute]
    stalled = (profile.halted[at.minute] == STALLED) & on
    if pump.cut_out and stalled.any():
        since = _since(profile, trajectory, loop)[at.minute] + at.seconds % 60.0
        cut = stalled & (since > 480.0) & ((since - 480.0) % 900.0 < 720.0)
        on = on & ~cut
    volts = scene.mains_v[at.minute] * chosen.speed
    heat = winding_heat_k(scene, trajectory, loop)[at.minute]
    keys = np.column_stack(
        (
            np.round(volts / 2.0) * 2.0,
            np.round(hydraulic / 0.03) * 0.03,
            np.round(profile.drag[at.minute] / 0.02) * 0.02,
            np.round(profile.capacity[at.minute] / 0.02) * 0.02,
            np.round(heat / 10.0) * 10.0,
            stalled,
        )
    )
    power, factor = _solved(pump, keys)
    power = power * (volts / keys[:, 0]) ** VOLTAGE_EXPONENT + profile.loss[at.minute]
    return np.where(on, power, 0.0), np.where(on, factor, 1.0)


def _solved(pump: PumpSpec, keys: Array) -> tuple[Array, Array]:
    """Power and power factor for rows of voltage, load, drag, capacity, heat, stalled."""
    assert pump.motor is not None
    whole = np.round(keys * np.array([1.0, 100.0, 100.0, 100.0, 1.0, 1.0])).astype(np.int64)
    span = whole.max(axis=0) - whole.min(axis=0) + 1
    code = np.zeros(len(whole), np.int64)
    for column in range(6):
        code = code * span[column] + (whole[:, column] - whole[:, column].min())
    _, first, place = np.unique(code, return_index=True, return_inverse=True)
    kinds = keys[first]
    found = running(
        pump.motor,
        hydraulic=kinds[:, 1],
        drag=kinds[:, 2],
        voltage_v=kinds[:, 0],
        heat_k=kinds[:, 4],
        capacity=kinds[:, 3],
    )
    rest = circuit(
        pump.motor,
        np.ones(len(kinds)),
        voltage_v=kinds[:, 0],
        heat_k=kinds[:, 4],
        capacity=kinds[:, 3],
    )
    stands = kinds[:, 5] > 0
    power = np.where(stands, rest.power_w, found.power_w)
    factor = np.where(stands, rest.power_factor, found.power_factor)
    return power[place.ravel()], factor[place.ravel()]
