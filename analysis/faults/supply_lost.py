"""A boiler without mains."""

import numpy as np

from analysis.alarms.states import Timing
from analysis.base.time import MINUTE_MS, Span
from analysis.faults.fault import Fault
from analysis.faults.pump_state.pump_watch import Watched, at_work, watched
from analysis.plant.finding import Evidence, Finding
from analysis.plant.plant import Channel
from analysis.readings.mains_voltage import SEEN_STANDBY_W, without_mains
from analysis.readings.minute_grid import spans_of
from analysis.readings.power_levels import Levels
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation, Verdict

_LEAST_MIN = 60
"""Somebody may have the boiler off for a while to work on it; common practice, no source."""
_COOLS_K = 2.0


def judge_supply_lost(situation: Situation) -> Verdict:
    """A boiler whose plug is heard and shows less than the boiler's own standby."""
    boiler = situation.subject
    channel = situation.plant.first(boiler, "power")
    if channel is None or not len(situation.record.get(channel.id, Readings.empty())):
        return Verdict(needs=f"power of '{boiler}'")
    seen = watched(situation)
    off = np.zeros(len(seen.minutes), bool)
    standby = 0.0
    for stage in seen.stages:
        levels = stage.learned.boilers.get(boiler, Levels())
        standby = max(standby, levels.standby_w or 0.0)
        drawn = seen.minutes.boilers[boiler].part(stage.rows)
        off[stage.rows] = without_mains(drawn, levels)
    off &= ~at_work(seen.minutes)
    if standby < SEEN_STANDBY_W:
        return Verdict(needs=f"a plug that shows the standby of '{boiler}', some 2 to 10 W")
    spans = spans_of(off, seen.minutes.start_ms)
    found = [_supply_finding(situation, seen, channel, span, standby_w=standby) for span in spans]
    return Verdict(tuple(f for f in found if f is not None))


def _supply_finding(
    situation: Situation, seen: Watched, channel: Channel, span: Span, *, standby_w: float
) -> Finding | None:
    length = (span.end_ms - span.start_ms) // MINUTE_MS
    if length < _LEAST_MIN:
        return None
    rows = slice(*np.searchsorted(seen.minutes.start_ms, (span.start_ms, span.end_ms)))
    flow = seen.minutes.boiler_flow_c[rows]
    known = flow[~np.isnan(flow)]
    cooled = float(known[0] - known[-1]) if len(known) else None
    wakes = cooled is None or cooled > _COOLS_K or known[-1] < 30.0
    drawn = seen.minutes.boilers[situation.subject].power_w[rows]
    watts = None if np.isnan(drawn).all() else float(np.nanmedian(drawn))
    evidence = [Evidence(channel.id, "power", watts, f"{standby_w:.1f} at rest", "W")]
    pipe = situation.plant.first(situation.subject, "temperature", "flow")
    if pipe is not None and cooled is not None:
        evidence.append(Evidence(pipe.id, "fell meanwhile by", cooled, "kept warm", "K"))
    last = int(seen.minutes.start_ms[-1]) + MINUTE_MS
    raised = span.start_ms + _LEAST_MIN * MINUTE_MS
    return Finding(
        subject=situation.subject,
        fault="supply_lost",
        start_ms=span.start_ms,
        end_ms=None if span.end_ms == last else span.end_ms,
        raised_ms=raised,
        urgency="now" if wakes else "soon",
        confidence=0.95 if wakes else 0.8,
        evidence=tuple(evidence),
        ruled_out=(
            "power cut or radio: the plug itself is heard",
            "summer: the boiler's standby is gone as well",
        ),
    )


FAULT = Fault(
    name="supply_lost",
    title="Boiler has no mains",
    of="boiler",
    group="plant",
    place=2,
    needs="power of the boiler on a plug that shows its standby",
    judge=judge_supply_lost,
    urgency="now",
    timing=Timing(on_delay_s=0, off_delay_s=300),
    possible=("supply lost: fuse or breaker", "emergency switch off", "plug or cable"),
    first_check="Is the boiler's display lit? Look at its own switch, the emergency switch by "
    "the door, and the fuse.",
    who="Owner: switch and fuse, once. Electrician or heating firm: what trips again.",
    caution="A fuse that trips again points to a fault that can kill: leave it off and call.",
    effects=("boiler makes no heat",),
    follows=("boiler locks out",),
    explains_alarms=True,
)
