"""Rehearse: a pump stands for weeks out of season."""

from dataclasses import replace
from itertools import pairwise

import numpy as np

from analysis.rehearsal.course.play import Trajectory
from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.course.truth import TrueFault
from analysis.rehearsal.faults.fault import (
    FaultPlan,
    RehearsedFault,
    Stretch,
    moment_ms,
)
from analysis.rehearsal.house.draw import Wish

STANDSTILL_DAYS = 28.0
"""Days at rest after which a run is advised: 14 to 28 in the trade (common practice, no source)."""


def _standstill(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    scene.drivers.command[at.loop, at.rows] = -1


def _standstills(scene: Scene, trajectory: Trajectory, plan: FaultPlan) -> list[TrueFault]:
    """Pumps that stood for more than four weeks: at risk from then until they run."""
    del plan
    found = []
    rows_a_day = 86400.0 / trajectory.step_s
    first = int(scene.record_min * 60 / trajectory.step_s)
    for i, one in enumerate(scene.spec.loops):
        running = np.flatnonzero(trajectory.branch(i, "on")[first:] > 0)
        edges = np.concatenate(([-1], running, [len(trajectory.table) - first]))
        for a, b in pairwise(edges):
            if (b - a) / rows_a_day <= STANDSTILL_DAYS:
                continue
            since = moment_ms(scene, (first + a) * trajectory.step_s)
            risky = since + round(STANDSTILL_DAYS * 86_400_000)
            end = None if b == edges[-1] else moment_ms(scene, (first + b) * trajectory.step_s)
            found.append(
                TrueFault(
                    subject=one.id,
                    fault="standstill_risk",
                    onset_ms=risky,
                    detectable_ms=risky,
                    end_ms=end,
                    severity=1.0,
                )
            )
    return found


FAULT = RehearsedFault(
    name="standstill_risk",
    place=11,
    tells="a pump stands for weeks out of season",
    apply=_standstill,
    wish=Wish(always_on=False),
    season="summer",
    from_first_day=True,
    is_drawn=False,
    shown_days=60.0,
    house=lambda spec: replace(spec, kick="none"),
    turned_out=_standstills,
)
