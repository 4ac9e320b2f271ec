"""Rehearse: heating off in frost, pipes near freezing."""

import numpy as np

from analysis.plant.plant import Channel, Plant
from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch
from analysis.rehearsal.house.draw import Wish


def _frost_risk(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    """Heating off in a cold spell, a cellar door left open."""
    del plan
    d = scene.drivers
    cold = np.minimum(d.outdoor_c[at.rows], 2.0 - 10.0 * at.strength)
    d.outdoor_c[at.rows] = cold
    hours = np.arange(len(cold)) / 60.0
    share = np.exp(-hours / 14.0)
    d.cellar_c[at.rows] = share * d.cellar_c[at.rows] + (1.0 - share) * (cold + 3.0)
    d.heat_on[at.rows] = 0


def _witnesses(plant: Plant, plan: FaultPlan) -> tuple[Channel, ...]:
    """Every pipe and the air about them."""
    del plan
    return tuple(c for c in plant.channels if c.place in ("ambient", "flow", "return", "room"))


FAULT = RehearsedFault(
    name="frost_risk",
    place=18,
    tells="heating off in frost, pipes near freezing",
    apply=_frost_risk,
    wish=Wish(sensed=("heating.flow", "heating.return", "plant.ambient", "plant.outdoor")),
    subject="plant",
    lasts_days=(2.0, 4.0),
    shows="hour",
    is_drawn=False,
    witnesses=_witnesses,
)
