"""Rehearse: a pump runs against a shut valve while heat is wanted."""

import numpy as np

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch
from analysis.rehearsal.house.draw import Wish


def _dead_head(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    scene.drivers.extra_k[at.loop, at.rows] = np.where(at.strength > 0, 1e6, 0.0)


FAULT = RehearsedFault(
    name="dead_head",
    place=4,
    tells="a pump runs against a shut valve while heat is wanted",
    apply=_dead_head,
    wish=Wish(sensed=("heating.flow", "heating.return")),
    lasts_days=(0.5, 3.0),
)
