"""Judges of what a hand did, or left undone: a turned knob, a night reduction that does not fit."""

import numpy as np

from analysis.base.time import DAY_MS, Span, to_ms
from analysis.plant.finding import Evidence, Finding
from analysis.plant.installed_pump import present_span
from analysis.plant.plant import Plant, Pump
from analysis.pump.night_reduction import DAY_H, NightHabit, night_habit
from analysis.pump.running_power import channel_steps, even_edges
from analysis.pump.setting_steps import CELL_MS, SettingStep, setting_steps
from analysis.readings.readings import FloatArray, Record
from analysis.readings.situation import Situation, Verdict

_TOLD_MS = 7 * DAY_MS
"""A change of setting is told for a week; it is an event, no lasting fault."""
_COLD_K = 8.0
_FITTED_MS = 3 * DAY_MS
"""A pump just fitted is being vented and set; that is the swap, not somebody's change."""


def judge_setting(situation: Situation) -> Verdict:
    """The level of a running pump jumped and stayed: somebody chose another setting."""
    pump = _pump(situation)
    steps = setting_steps(situation.plant, pump, situation.record, situation.span)
    if steps is None:
        return Verdict(needs=f"a power channel of '{pump.id}'")
    exchanged = [to_ms(s.time) for s in situation.plant.swaps if s.pump == pump.id]
    return Verdict(
        tuple(
            _setting_finding(situation, pump, step)
            for step in steps
            if not any(0 <= step.time_ms - at < _FITTED_MS for at in exchanged)
            and _circulates(situation, pump, step)
        )
    )


def _pump(situation: Situation) -> Pump:
    return next(p for p in situation.plant.pumps if p.id == situation.subject)


def _circulates(situation: Situation, pump: Pump, step: SettingStep) -> bool:
    """Whether the return is as warm after the step as before.

    It cools where a rotor seized or all valves shut, and is warm again once they open.
    """
    at = step.time_ms
    before, after = (
        _warm_return(situation.plant, pump, situation.record, Span(a, a + DAY_MS))
        for a in (at - DAY_MS, at)
    )
    return before is None or after is None or abs(after - before) < _COLD_K


def _warm_return(plant: Plant, pump: Pump, record: Record, span: Span) -> float | None:
    values = channel_steps(
        plant.first(pump.id, "temperature", "return"), record, even_edges(span, CELL_MS)
    )
    if values is None or not np.isfinite(values).any():
        return None
    return float(np.nanquantile(values, 0.9))


def _setting_finding(situation: Situation, pump: Pump, step: SettingStep) -> Finding:
    channel = situation.plant.first(pump.id, "power")
    name = channel.id if channel else pump.id
    end = step.time_ms + _TOLD_MS
    ruled_out = ["slow drift: the level moved within an hour and stayed"]
    if situation.plant.first(pump.id, "temperature", "return"):
        ruled_out.append("seized rotor, or valves that shut: the return is as warm as before")
    ratio = step.floor_after_w / step.floor_before_w
    return Finding(
        subject=pump.id,
        fault="setting_changed",
        start_ms=step.time_ms,
        end_ms=end if end < situation.span.end_ms else None,
        urgency="note",
        raised_ms=min(step.told_ms, situation.span.end_ms),
        confidence=0.85 if abs(np.log(ratio)) > 0.25 else 0.65,
        evidence=(
            Evidence(
                name, "usual power since", step.after_w, f"about {step.before_w:.1f} before", "W"
            ),
            Evidence(
                name,
                "least power while running since",
                step.floor_after_w,
                f"about {step.floor_before_w:.1f} before",
                "W",
            ),
        ),
        ruled_out=tuple(ruled_out),
    )


def judge_night(situation: Situation) -> Verdict:
    """Night reduction that engages by day, while the house is meant to be warm."""
    pump = _pump(situation)
    if pump.drive != "electronic" or pump.duty == "store":
        return Verdict()
    here = present_span(situation.plant, pump, situation.span)
    habit = night_habit(situation.plant, pump, situation.record, here)
    if habit is None:
        return Verdict(needs=f"a power channel of '{pump.id}'")
    if habit.kind != "engages by day" or habit.first_by_day_ms is None:
        return Verdict()
    return Verdict((_night_finding(situation, pump, habit, habit.first_by_day_ms),))


def _night_finding(situation: Situation, pump: Pump, habit: NightHabit, since_ms: int) -> Finding:
    channel = situation.plant.first(pump.id, "power")
    name = channel.id if channel else pump.id
    falls = np.array([r.fall_k for r in habit.reductions if r.fall_k is not None], float)
    low = float(np.median([r.level_w for r in habit.reductions]))
    usual = float(np.median([r.before_w for r in habit.reductions]))
    evidence = [
        Evidence(name, "power on the least curve", low, f"about {usual:.1f} as set", "W"),
        Evidence(
            name,
            f"hours a day on the least curve between {DAY_H[0]} and {DAY_H[1]} o'clock",
            habit.by_day_h,
            "0 to 0.5",
            "h",
        ),
    ]
    flow = situation.plant.first(pump.id, "temperature", "flow")
    if flow is not None and len(falls):
        evidence.append(_fall_evidence(flow.id, falls))
    return Finding(
        subject=pump.id,
        fault="night_reduction_misfit",
        start_ms=since_ms,
        end_ms=None,
        urgency="soon",
        confidence=0.9 if len(falls) else 0.7,
        raised_ms=habit.raised_ms,
        evidence=tuple(evidence),
        ruled_out=(
            "pump switched off: it draws its least running power",
            "closed valves: the power fell in one step",
            *(("knob turned: each time the flow had fallen before",) if len(falls) else ()),
        ),
    )


def _fall_evidence(channel: str, falls: FloatArray) -> Evidence:
    return Evidence(
        channel,
        "fall of the flow before it engaged",
        float(np.median(falls)),
        "the pump takes a fall of 10 to 15 K for the night",
        "K",
    )
