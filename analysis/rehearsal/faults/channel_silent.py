"""Rehearse: a channel is heard no more."""

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch, channel_alone
from analysis.rehearsal.house.draw import Wish


def _sensor(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    scene.service.append(("unheard", plan.subject, at.rows.start, at.rows.stop, plan.severity))


FAULT = RehearsedFault(
    name="channel_silent",
    place=23,
    tells="a channel is heard no more",
    apply=_sensor,
    wish=Wish(sensed=("heating.flow", "heating.return")),
    subject="heating.power",
    lasts_days=(0.5, 6.0),
    shows="silence",
    witnesses=channel_alone,
)
