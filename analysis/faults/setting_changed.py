"""A knob that was turned: the level of a running pump jumped and stayed."""

import numpy as np

from analysis.alarms.states import Timing
from analysis.base.time import DAY_MS, Span, to_ms
from analysis.faults.fault import HOT_AND_LIVE, Fault
from analysis.plant.finding import Evidence, Finding
from analysis.plant.plant import Plant, Pump
from analysis.pump.running_power import channel_steps, even_edges
from analysis.pump.setting_steps import CELL_MS, SettingStep, setting_steps
from analysis.readings.readings import Record
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


FAULT = Fault(
    name="setting_changed",
    title="The pump's setting was changed",
    of="pump",
    group="setting",
    place=2,
    needs="power of the pump over a day of running before and after",
    judge=judge_setting,
    urgency="note",
    timing=Timing(),
    possible=(
        "setting changed: somebody turned the knob",
        "the pump or its plug was exchanged",
        "a valve in the circuit was opened or shut",
    ),
    first_check="Look at the pump's knob or lamp and at the logbook: was the change meant?",
    who="Owner: look, and set it back if the change was not meant.",
    caution=HOT_AND_LIVE,
    pace="day",
)
