"""Rehearse: a pump's winding fails and its body grows too hot."""

import numpy as np

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch
from analysis.rehearsal.house.draw import Wish


def _overheating(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    profile = scene.profiles[plan.subject]
    profile.cooling[at.rows] = 1.0 - 0.9 * np.minimum(at.strength * 1.5, 1.0)
    profile.loss[at.rows] = 25.0 + 35.0 * at.strength


FAULT = RehearsedFault(
    name="overheating",
    place=5,
    tells="a pump's winding fails and its body grows too hot",
    apply=_overheating,
    wish=Wish(sensed=("heating.flow", "heating.return", "heating.body")),
    lasts_days=(0.3, 1.5),
    shows="hour",
)
