"""Rehearse: a narrow thermostat makes the burner start too often."""

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch
from analysis.rehearsal.house.draw import Wish


def _short_cycling(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    scene.drivers.hysteresis[at.rows] = 1.0 - 0.8 * at.strength


FAULT = RehearsedFault(
    name="short_cycling",
    place=14,
    tells="a narrow thermostat makes the burner start too often",
    apply=_short_cycling,
    wish=Wish(sensed=("boiler.power", "boiler.flow")),
    subject="boiler",
)
