"""Night reduction that engages by day."""

import numpy as np

from analysis.alarms.states import Timing
from analysis.faults.fault import HOT_AND_LIVE, Fault
from analysis.plant.finding import Evidence, Finding
from analysis.plant.installed_pump import present_span
from analysis.plant.plant import Pump
from analysis.pump.night_reduction import DAY_H, NightHabit, night_habit
from analysis.readings.readings import FloatArray
from analysis.readings.situation import Situation, Verdict


def judge_night(situation: Situation) -> Verdict:
    """Night reduction that engages by day, while the house is meant to be warm."""
    pump = next(p for p in situation.plant.pumps if p.id == situation.subject)
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


FAULT = Fault(
    name="night_reduction_misfit",
    title="Night reduction engages by day",
    of="pump",
    group="setting",
    place=1,
    needs="power of an electronic pump at 60 s or faster; its flow temperature makes it surer",
    judge=judge_night,
    urgency="soon",
    timing=Timing(),
    possible=(
        "night reduction misfit: thermostat or store charging lets the flow fall by day",
        "setting changed: night reduction was switched on where it does not suit",
        "the boiler stops by day for another reason",
    ),
    first_check="Do rooms stay cool by day, and is the pump's night or moon lamp lit then? "
    "Its leaflet says how to switch night reduction off.",
    who="Owner: the setting on the pump's face. Heating firm: the boiler's schedule.",
    caution=HOT_AND_LIVE,
    pace="day",
    grace_days=7.0,
)
