"""Rehearse: a condensing boiler's return stays above the dew point."""

import numpy as np

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch
from analysis.rehearsal.house.draw import Wish


def _return_too_warm(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    wanted = 62.0 + 14.0 * at.strength
    scene.drivers.flow_set_c[at.rows] = np.where(
        at.strength > 0,
        np.maximum(wanted, scene.drivers.flow_set_c[at.rows]),
        scene.drivers.flow_set_c[at.rows],
    )


FAULT = RehearsedFault(
    name="return_too_warm",
    place=16,
    tells="a condensing boiler's return stays above the dew point",
    apply=_return_too_warm,
    wish=Wish(
        condensing=True, floor=False, control="weather", sensed=("boiler.flow", "boiler.return")
    ),
    subject="boiler",
    shows="hour",
    may_befall=lambda spec: spec.body.condensing > 0,
)
