"""Rehearse: a bearing wears over weeks."""

import numpy as np

from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch, pump_at
from analysis.rehearsal.house.draw import Wish
from analysis.rehearsal.house.spec import PumpSpec
from analysis.rehearsal.physics.motor import MAINS_V, running


def most_drag(pump: PumpSpec) -> float:
    """Drag a bearing may grow to before the rotor stands [share of rated torque]."""
    if pump.motor is None:
        return 0.5
    tries = np.linspace(0.05, 1.5, 30)
    speed = running(pump.motor, drag=tries, voltage_v=0.97 * MAINS_V * pump.settings[0].speed).speed
    turning = tries[speed > 0]
    return float(turning[-1] * 0.85) if len(turning) else 0.05


def _bearing_drag(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    most = most_drag(pump_at(scene, at.loop, at.rows.start))
    profile = scene.profiles[plan.subject]
    profile.drag[at.rows] = most * at.strength
    profile.restless[at.rows] += 0.008 * at.strength


FAULT = RehearsedFault(
    name="bearing_drag",
    place=6,
    tells="a bearing wears over weeks",
    apply=_bearing_drag,
    wish=Wish(sensed=("heating.flow", "heating.return", "power_factor", "voltage")),
    grows_days=(10.0, 60.0),
    shows="day",
    is_separable=lambda scene, _, loop: scene.profiles[scene.spec.loops[loop].id].drag >= 0.2,
)
