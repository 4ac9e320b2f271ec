"""Rehearse: the store or the boiler loses heat standing."""

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch, has_store
from analysis.rehearsal.house.draw import Wish


def _standing_loss(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    driver = scene.drivers.store_loss if plan.subject == "store" else scene.drivers.boiler_loss
    driver[at.rows] *= 1.0 + 3.0 * at.strength


FAULT = RehearsedFault(
    name="standing_loss_high",
    place=17,
    tells="the store or the boiler loses heat standing",
    apply=_standing_loss,
    wish=Wish(store=True, recirculation=False, sensed=("store.top", "plant.ambient")),
    subject="store",
    shows="hour",
    may_befall=has_store,
)
