"""Rehearse: somebody turns the pump's knob."""

import numpy as np
from numpy.random import Generator

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch, pump_at
from analysis.rehearsal.house.draw import Wish
from analysis.rehearsal.house.spec import HouseSpec


def _setting_changed(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    """Another setting of the pump that is there; a pump fitted later has its own knob."""
    pump = pump_at(scene, at.loop, at.rows.start)
    table = scene.spec.loops[at.loop].all_settings()
    own = [i for i, (one, _) in enumerate(table) if one is pump]
    turned = next(i for i in own if table[i][1].label == plan.variant)
    rows = scene.drivers.setting[at.loop, at.rows]
    rows[np.isin(rows, own)] = turned


def _variant(rng: Generator, spec: HouseSpec) -> str:
    """Another setting than the one it stands on."""
    labels = [s.label for s in spec.loop("heating").pumps[0].settings[1:]]
    return str(rng.choice([one for one in labels if one != "auto"]))


FAULT = RehearsedFault(
    name="setting_changed",
    place=13,
    tells="somebody turns the pump's knob",
    apply=_setting_changed,
    wish=Wish(sensed=("heating.flow", "heating.return")),
    variant=_variant,
    mark="knob_turned",
)
