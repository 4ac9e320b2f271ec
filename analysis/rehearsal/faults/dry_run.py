"""Rehearse: the heating pump loses its water."""

import numpy as np

from analysis.rehearsal.course.scene import DRY_TRYING, Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch, pump_at
from analysis.rehearsal.house.draw import Wish


def _dry_run(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    profile = scene.profiles[plan.subject]
    pump = pump_at(scene, at.loop, at.rows.start)
    dry = at.strength > 0
    scene.pressure_bar[at.rows] = np.where(dry, 0.25, scene.pressure_bar[at.rows])
    scene.drivers.head[at.loop, at.rows] = np.where(dry, 0.0, 1.0)
    if pump.drive == "electronic" and pump.dry_protection:
        profile.halted[at.rows] = np.where(dry, DRY_TRYING, 0)
        scene.drivers.turning[at.loop, at.rows] = np.where(dry, 0, 1)
    else:
        profile.load[at.rows] = np.where(dry, 0.06, profile.load[at.rows])


FAULT = RehearsedFault(
    name="dry_run",
    place=2,
    tells="the heating pump loses its water",
    apply=_dry_run,
    wish=Wish(sensed=("heating.flow", "heating.return", "plant.pressure")),
    lasts_days=(0.2, 1.2),
    comes_and_goes=True,
)
