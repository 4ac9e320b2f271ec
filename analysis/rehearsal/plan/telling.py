"""Tell the truth of a played scene: firings, faults with the moment they show, negatives."""

from collections.abc import Iterator, Mapping

import numpy as np

from analysis.plant.plant import Plant
from analysis.readings.readings import Readings
from analysis.rehearsal.course.play import Trajectory
from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.course.truth import Firing, TrueFault, TrueNegative
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault, moment_ms, plan_minutes
from analysis.rehearsal.faults.registry import FAULTS
from analysis.rehearsal.instruments.twin import first_shown_ms
from analysis.rehearsal.physics.records import FIRING, PREHEAT, PURGE

Record = Mapping[str, Readings]


def true_firings(scene: Scene, trajectory: Trajectory) -> tuple[Firing, ...]:
    """Firings that lie in the record, with the moment the sequence was called."""
    begin_s = scene.record_min * 60.0
    phase, when = trajectory.phase, trajectory.phase_s
    found = []
    called = 0.0
    for k in range(len(phase)):
        if phase[k] in (PREHEAT, PURGE) and (k == 0 or phase[k - 1] not in (PREHEAT, PURGE)):
            called = when[k]
        if phase[k] != FIRING or when[k] < begin_s:
            continue
        end = moment_ms(scene, when[k + 1]) if k + 1 < len(phase) else None
        found.append(Firing(moment_ms(scene, called), moment_ms(scene, when[k]), end))
    return tuple(found)


def true_negatives(scene: Scene) -> tuple[TrueNegative, ...]:
    """Hard negatives that were put in, and the habits that go on all the time."""
    begin, end = scene.time_ms(scene.record_min), scene.time_ms(scene.minutes)
    found = [
        TrueNegative(mark.what, scene.time_ms(mark.start_min), scene.time_ms(mark.end_min))
        for mark in scene.marks
        if mark.end_min > mark.start_min
    ]
    told = {one.what for one in found}
    if "overrun" not in told and any(one.overrun_s > 0 for one in scene.spec.loops):
        found.append(TrueNegative("overrun", begin, end))
    has_store = scene.spec.store.layer_j_k > 0
    if "store_priority" not in told and has_store and any(o.yields for o in scene.spec.loops):
        found.append(TrueNegative("store_priority", begin, end))
    return tuple(sorted(found, key=lambda one: (one.start_ms, one.what)))


def true_faults(
    scene: Scene,
    trajectory: Trajectory,
    plant: Plant,
    record: Record,
    twins: Mapping[FaultPlan, Record],
) -> tuple[TrueFault, ...]:
    """Faults as they turned out, each against the record of its twin without it."""
    found: list[TrueFault] = []
    for plan, twin in twins.items():
        row = FAULTS[plan.fault]
        if row.turned_out is not None:
            found += row.turned_out(scene, trajectory, plan)
        else:
            found.append(_true_fault(scene, plant, plan, record, twin))
    for row in FAULTS.values():
        if row.mark and not any(plan.fault == row.name for plan in twins):
            found += _marked(scene, row)
    return tuple(found)


def _marked(scene: Scene, row: RehearsedFault) -> Iterator[TrueFault]:
    """Hard negatives that are this fault in truth."""
    for mark in scene.marks:
        if mark.what == row.mark:
            at = scene.time_ms(mark.start_min)
            yield TrueFault(
                subject=row.subject,
                fault=row.name,
                onset_ms=at,
                detectable_ms=at,
                end_ms=None,
                severity=1.0,
            )


def _true_fault(
    scene: Scene, plant: Plant, plan: FaultPlan, record: Record, twin: Record
) -> TrueFault:
    begin, end = plan_minutes(scene, plan)
    onset = scene.time_ms(begin)
    row = FAULTS[plan.fault]
    channels = row.witnesses(plant, plan)
    return TrueFault(
        subject=plan.subject,
        fault=plan.fault,
        onset_ms=onset,
        detectable_ms=first_shown_ms(row.shows, channels, record, twin, onset),
        end_ms=None if end >= scene.minutes else scene.time_ms(end),
        severity=plan.severity,
        separable_ms=_separable(scene, plan),
        variant=plan.variant,
    )


def _separable(scene: Scene, plan: FaultPlan) -> int | None:
    """When a slow fault has grown to what sets it apart from usual scatter.

    Drag of a fifth of the torque (+4 % of power), capacitance of 70 %, the
    loop's resistance doubled.
    """
    is_separable = FAULTS[plan.fault].is_separable
    if is_separable is None:
        return None
    loop = next((i for i, one in enumerate(scene.spec.loops) if one.id == plan.subject), -1)
    at = np.flatnonzero(is_separable(scene, plan, loop))
    return scene.time_ms(int(at[0])) if len(at) else None
