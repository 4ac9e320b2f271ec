"""Tell the truth of a played scene: firings, faults with the moment they show, negatives."""

from collections.abc import Mapping
from itertools import pairwise

import numpy as np

from analysis.plant.plant import Channel, Plant
from analysis.readings.readings import Readings
from analysis.rehearsal.course.play import Trajectory
from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.course.truth import Firing, TrueFault, TrueNegative
from analysis.rehearsal.faults.faults import FaultPlan, plan_minutes
from analysis.rehearsal.instruments.twin import first_shown_ms
from analysis.rehearsal.physics.records import FIRING, PREHEAT, PURGE

Record = Mapping[str, Readings]
STANDSTILL_DAYS = 28.0
"""Days at rest after which a run is advised: 14 to 28 in the trade (common practice, no source)."""


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
        end = _ms(scene, when[k + 1]) if k + 1 < len(phase) else None
        found.append(Firing(_ms(scene, called), _ms(scene, when[k]), end))
    return tuple(found)


def _ms(scene: Scene, seconds: float) -> int:
    return int(scene.origin_ms + round(seconds * 1000.0))


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
        if plan.fault == "standstill_risk":
            found += _standstills(scene, trajectory)
        elif plan.fault == "night_reduction_misfit":
            found += _misfits(scene, trajectory, plan)
        else:
            found.append(_true_fault(scene, plant, plan, record, twin))
    if not any(plan.fault == "setting_changed" for plan in twins):
        found += [
            TrueFault(
                subject="heating",
                fault="setting_changed",
                onset_ms=at,
                detectable_ms=at,
                end_ms=None,
                severity=1.0,
            )
            for at in (scene.time_ms(m.start_min) for m in scene.marks if m.what == "knob_turned")
        ]
    return tuple(found)


def _true_fault(
    scene: Scene, plant: Plant, plan: FaultPlan, record: Record, twin: Record
) -> TrueFault:
    begin, end = plan_minutes(scene, plan)
    onset = scene.time_ms(begin)
    channels = _witnesses(plant, plan)
    return TrueFault(
        subject=plan.subject,
        fault=plan.fault,
        onset_ms=onset,
        detectable_ms=first_shown_ms(plan.fault, channels, record, twin, onset),
        end_ms=None if end >= scene.minutes else scene.time_ms(end),
        severity=plan.severity,
        separable_ms=_separable(scene, plan),
        variant=plan.variant,
    )


def _witnesses(plant: Plant, plan: FaultPlan) -> tuple[Channel, ...]:
    """Channels in which a fault of this subject can show first."""
    if plan.fault.startswith("sensor") or plan.fault == "channel_silent":
        return tuple(c for c in plant.channels if c.id == plan.subject)
    if plan.fault == "frost_risk":
        return tuple(c for c in plant.channels if c.place in ("ambient", "flow", "return", "room"))
    return plant.select(of=plan.subject)


def _separable(scene: Scene, plan: FaultPlan) -> int | None:
    """When a slow fault has grown to what sets it apart from usual scatter.

    Drag of a fifth of the torque (+4 % of power), capacitance of 70 %, the
    loop's resistance doubled.
    """
    loop = next((i for i, one in enumerate(scene.spec.loops) if one.id == plan.subject), -1)
    if plan.fault == "bearing_drag":
        grown = scene.profiles[plan.subject].drag >= 0.2
    elif plan.fault == "capacitor_ageing":
        grown = scene.profiles[plan.subject].capacity <= 0.7
    elif plan.fault == "sludge":
        grown = scene.drivers.resistance[loop] >= 2.0
    else:
        return None
    at = np.flatnonzero(grown)
    return scene.time_ms(int(at[0])) if len(at) else None


def _standstills(scene: Scene, trajectory: Trajectory) -> list[TrueFault]:
    """Pumps that stood for more than four weeks: at risk from then until they run."""
    found = []
    rows_a_day = 86400.0 / trajectory.step_s
    first = int(scene.record_min * 60 / trajectory.step_s)
    for i, one in enumerate(scene.spec.loops):
        running = np.flatnonzero(trajectory.branch(i, "on")[first:] > 0)
        edges = np.concatenate(([-1], running, [len(trajectory.table) - first]))
        for a, b in pairwise(edges):
            if (b - a) / rows_a_day <= STANDSTILL_DAYS:
                continue
            since = _ms(scene, (first + a) * trajectory.step_s)
            risky = since + round(STANDSTILL_DAYS * 86_400_000)
            end = None if b == edges[-1] else _ms(scene, (first + b) * trajectory.step_s)
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
