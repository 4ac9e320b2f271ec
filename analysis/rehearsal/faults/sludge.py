"""Rehearse: magnetite and sludge narrow the loop over weeks."""

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch, pump_at
from analysis.rehearsal.house.draw import Wish


def _sludge(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    electronic = pump_at(scene, at.loop, at.rows.start).drive == "electronic"
    scene.drivers.resistance[at.loop, at.rows] *= 1.0 + 3.0 * at.strength
    scene.drivers.head[at.loop, at.rows] *= 1.0 - 0.25 * at.strength
    scene.profiles[plan.subject].load[at.rows] *= (
        1.0 + (0.25 if electronic else -0.05) * at.strength
    )


FAULT = RehearsedFault(
    name="sludge",
    place=8,
    tells="magnetite and sludge narrow the loop over weeks",
    apply=_sludge,
    wish=Wish(sensed=("heating.flow", "heating.return")),
    grows_days=(12.0, 60.0),
    shows="day",
    is_separable=lambda scene, _, loop: scene.drivers.resistance[loop] >= 2.0,
)
