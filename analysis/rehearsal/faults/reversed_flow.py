"""Rehearse: a pump works against its loop's direction."""

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch
from analysis.rehearsal.house.draw import Wish


def _reversed_flow(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    scene.drivers.direction[at.loop, at.rows] = -1
    scene.drivers.head[at.loop, at.rows] *= 0.5
    scene.profiles[plan.subject].load[at.rows] *= 0.85


FAULT = RehearsedFault(
    name="reversed_flow",
    place=9,
    tells="a pump works against its loop's direction",
    apply=_reversed_flow,
    wish=Wish(sensed=("heating.flow", "heating.return")),
)
