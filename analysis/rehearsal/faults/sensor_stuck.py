"""Rehearse: a sensor repeats one value."""

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch, channel_alone
from analysis.rehearsal.house.draw import Wish


def _sensor(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    scene.service.append(("repeats", plan.subject, at.rows.start, at.rows.stop, plan.severity))


FAULT = RehearsedFault(
    name="sensor_stuck",
    place=22,
    tells="a sensor repeats one value",
    apply=_sensor,
    wish=Wish(sensed=("heating.flow", "heating.return")),
    subject="heating.return",
    lasts_days=(1.0, 6.0),
    witnesses=channel_alone,
)
