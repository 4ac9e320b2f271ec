"""Rehearse: the run capacitor of an induction pump loses capacitance."""

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch
from analysis.rehearsal.house.draw import Wish


def _capacitor_ageing(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    scene.profiles[plan.subject].capacity[at.rows] = 1.0 - 0.5 * at.strength


FAULT = RehearsedFault(
    name="capacitor_ageing",
    place=7,
    tells="the run capacitor of an induction pump loses capacitance",
    apply=_capacitor_ageing,
    wish=Wish(
        drive="induction", sensed=("heating.flow", "heating.return", "power_factor", "voltage")
    ),
    grows_days=(8.0, 60.0),
    sudden_share=0.25,
    shows="day",
    may_befall=lambda spec: spec.loop("heating").pumps[0].drive == "induction",
    is_separable=lambda scene, _, loop: scene.profiles[scene.spec.loops[loop].id].capacity <= 0.7,
)
