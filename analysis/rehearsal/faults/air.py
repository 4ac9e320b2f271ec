"""Rehearse: air gathers in the heating pump and leaves within days."""

import numpy as np

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch, pump_at
from analysis.rehearsal.house.draw import Wish, stream
from analysis.rehearsal.physics.records import Array


def put_air(scene: Scene, loop: int, rows: slice, amount: Array) -> None:
    """Put air into a loop's pump: less head and torque, and restless."""
    rng = stream(scene.spec.seed, 41, loop)
    bubbles = np.clip(1.0 + 0.5 * np.repeat(rng.standard_normal(len(amount) // 7 + 1), 7), 0.2, 2.0)
    share = np.clip(0.45 * amount * bubbles[: len(amount)], 0.0, 0.55)
    profile = scene.profiles[scene.spec.loops[loop].id]
    scene.drivers.head[loop, rows] *= 1.0 - share
    profile.load[rows] *= 1.0 - 0.85 * share
    electronic = pump_at(scene, loop, rows.start).drive == "electronic"
    profile.restless[rows] += (0.22 if electronic else 0.06) * amount


def _air(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    rng = stream(scene.spec.seed, 42)
    decay_min = rng.uniform(1.0, 3.0) * 1440.0
    amount = at.strength * np.exp(-np.arange(len(at.strength)) / decay_min)
    put_air(scene, at.loop, at.rows, amount)


FAULT = RehearsedFault(
    name="air",
    place=3,
    tells="air gathers in the heating pump and leaves within days",
    apply=_air,
    wish=Wish(sensed=("heating.flow", "heating.return")),
    lasts_days=(5.0, 6.0),
    shows="hour",
)
