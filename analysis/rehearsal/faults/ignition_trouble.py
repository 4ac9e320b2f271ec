"""Rehearse: ignition fails more and more often, up to lock-out."""

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch
from analysis.rehearsal.house.draw import Wish


def _ignition_trouble(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    scene.drivers.ignition_fail[at.rows] += 0.5 * at.strength


FAULT = RehearsedFault(
    name="ignition_trouble",
    place=15,
    tells="ignition fails more and more often, up to lock-out",
    apply=_ignition_trouble,
    wish=Wish(sensed=("boiler.power", "boiler.flow")),
    subject="boiler",
    grows_days=(4.0, 30.0),
)
