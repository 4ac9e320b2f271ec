"""Rehearse: a pump's rotor seizes while heat is wanted."""

import numpy as np

from analysis.rehearsal.course.scene import STALLED, TRYING, Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch, pump_at
from analysis.rehearsal.house.draw import Wish


def _stall(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    stands = at.strength > 0
    electronic = pump_at(scene, at.loop, at.rows.start).drive == "electronic"
    scene.profiles[plan.subject].halted[at.rows] = np.where(
        stands, TRYING if electronic else STALLED, 0
    )
    scene.drivers.turning[at.loop, at.rows] = np.where(stands, 0, 1)


FAULT = RehearsedFault(
    name="stall",
    place=1,
    tells="a pump's rotor seizes while heat is wanted",
    apply=_stall,
    wish=Wish(sensed=("heating.flow", "heating.return")),
    subject="any",
    lasts_days=(0.4, 2.5),
)
