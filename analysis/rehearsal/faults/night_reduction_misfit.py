"""Rehearse: night reduction engages by day or never."""

import numpy as np
from numpy.random import Generator

from analysis.rehearsal.course.play import Trajectory
from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.course.truth import TrueFault
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, Stretch
from analysis.rehearsal.house.draw import Wish
from analysis.rehearsal.house.spec import HouseSpec


def _night_misfit(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    if plan.variant == "stuck":
        scene.drivers.night_stuck[at.loop, at.rows] = 1


def _variant(rng: Generator, spec: HouseSpec) -> str:
    """Now and then it never ends by itself."""
    del spec
    return "stuck" if rng.random() < 0.4 else ""


def _misfits(scene: Scene, trajectory: Trajectory, plan: FaultPlan) -> list[TrueFault]:
    """What the night reduction really did: engaged by day, or never through nights set back."""
    loop = scene.spec.index(plan.subject)
    first = scene.minute(plan.onset_day)
    rows = np.arange(first, scene.minutes) * 60 // int(trajectory.step_s)
    reduced = trajectory.branch(loop, "reduced")[rows] > 0
    on = trajectory.branch(loop, "on")[rows] > 0
    hour = scene.local_hour[first : scene.minutes]
    by_day = reduced & on & (hour > scene.spec.day_h[0] + 1.5) & (hour < scene.spec.day_h[1] - 0.5)
    days = max(len(rows) / 1440.0, 1.0)
    if by_day.sum() / 60.0 / days > 0.5:
        onset = first + int(np.argmax(by_day))
        kind = "by_day"
    elif not reduced.any() and scene.spec.setback_k > 0:
        onset, kind = first, "never"
    else:
        return []
    at = scene.time_ms(onset)
    return [
        TrueFault(
            subject=plan.subject,
            fault="night_reduction_misfit",
            onset_ms=at,
            detectable_ms=at,
            end_ms=None,
            severity=plan.severity,
            variant=kind,
        )
    ]


FAULT = RehearsedFault(
    name="night_reduction_misfit",
    place=12,
    tells="night reduction engages by day or never",
    apply=_night_misfit,
    wish=Wish(
        drive="electronic",
        night=True,
        setting="pp high",
        pump_in_return=False,
        floor=False,
        sensed=("heating.flow", "heating.return"),
    ),
    from_first_day=True,
    is_drawn=False,
    variant=_variant,
    turned_out=_misfits,
)
