"""Rehearse: the hot-water store stays below hygienic temperature."""

import numpy as np

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch, has_store
from analysis.rehearsal.house.draw import Wish


def _store_too_cool(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    scene.drivers.charge_set_c[at.rows] = np.where(
        at.strength > 0, 48.0 - 6.0 * at.strength, scene.drivers.charge_set_c[at.rows]
    )


FAULT = RehearsedFault(
    name="store_too_cool",
    place=19,
    tells="the hot-water store stays below hygienic temperature",
    apply=_store_too_cool,
    wish=Wish(store=True, sensed=("store.top",)),
    subject="store",
    shows="hour",
    may_befall=has_store,
)
