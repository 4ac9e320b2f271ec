"""Rehearse: a supply too weak for what hangs on it."""

from analysis.plant.plant import Channel, Plant
from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch
from analysis.rehearsal.house.draw import Wish


def _weak_supply(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    """Low all day, a little less so at the least severity."""
    del plan
    scene.mains_v[at.rows] -= 20.0 + 16.0 * at.strength


def _voltmeters(plant: Plant, plan: FaultPlan) -> tuple[Channel, ...]:
    del plan
    return plant.select(quantity="voltage")


FAULT = RehearsedFault(
    name="voltage_out_of_range",
    place=24,
    tells="a supply too weak for what hangs on it",
    apply=_weak_supply,
    wish=Wish(sensed=("heating.flow", "heating.return", "voltage")),
    subject="plant",
    # A draw by chance among more faults would be another house for every seed there is.
    is_drawn=False,
    witnesses=_voltmeters,
)
