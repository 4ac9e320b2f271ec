"""Rehearse: the boiler loses its mains while the house is cold."""

import numpy as np

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch
from analysis.rehearsal.house.draw import Wish


def _supply_lost(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    scene.drivers.burner_supply[at.rows] = np.where(at.strength > 0, 0, 1)


FAULT = RehearsedFault(
    name="supply_lost",
    place=20,
    tells="the boiler loses its mains while the house is cold",
    apply=_supply_lost,
    wish=Wish(sensed=("boiler.power", "boiler.flow")),
    subject="boiler",
    lasts_days=(0.3, 2.0),
)
