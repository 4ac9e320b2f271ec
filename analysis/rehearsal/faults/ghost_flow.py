"""Rehearse: a check valve stays open and an idle loop warms by itself."""

import numpy as np

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch, has_store
from analysis.rehearsal.house.draw import Wish


def _ghost_flow(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    scene.drivers.check_open[at.loop, at.rows] = (at.strength > 0).astype(np.int8)


FAULT = RehearsedFault(
    name="ghost_flow",
    place=10,
    tells="a check valve stays open and an idle loop warms by itself",
    apply=_ghost_flow,
    wish=Wish(
        store=True, always_on=False, sensed=("heating.flow", "heating.return", "plant.ambient")
    ),
    season="summer",
    comes_and_goes=True,
    shows="hour",
    may_befall=has_store,
)
