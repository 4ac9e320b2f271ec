"""Rehearse: a clip falls off its pipe."""

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch, channel_alone
from analysis.rehearsal.house.draw import Wish


def _sensor(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    scene.service.append(("clip off", plan.subject, at.rows.start, at.rows.stop, plan.severity))


FAULT = RehearsedFault(
    name="sensor_off_pipe",
    place=21,
    tells="a clip falls off its pipe",
    apply=_sensor,
    wish=Wish(sensed=("heating.flow", "heating.return", "plant.ambient")),
    subject="heating.flow",
    lasts_days=(2.0, 8.0),
    witnesses=channel_alone,
)
