"""Warm water that flows through a circuit whose pump stands."""

import numpy as np

from analysis.alarms.states import Timing
from analysis.faults.drift.daily_spells import (
    NO_POWER,
    Seen,
    Signs,
    channel_id,
    history_of,
    slow_finding,
    spell_seen,
)
from analysis.faults.fault import HOT_AND_LIVE, Fault
from analysis.plant.finding import Evidence, Finding
from analysis.pump.epochs import PumpHistory
from analysis.readings.readings import FloatArray
from analysis.readings.situation import Situation, Verdict

_OF, _HITS = 5, 3
"""On three of five occasions."""


def judge_ghost(situation: Situation) -> Verdict:
    """A pipe that warms at the burner's firings although its pump stands.

    Drawing water moves it through a recirculation line, and a charging pump starts
    with the burner: only circuits that heat can tell.
    """
    history = history_of(situation)
    if history is None:
        return Verdict(needs=NO_POWER)
    if history.pump.duty in ("store", "recirculation"):
        return Verdict()
    if not {"flow_c", "return_c"} & history.has:
        return Verdict(needs="a temperature of the pump's flow or return pipe")
    if "fires" not in history.has:
        return Verdict(needs="power or flow temperature of the boiler, to know when it fires")
    days = history.days
    rows = np.flatnonzero(days.occasions > 0)
    strength = _hits_of_last(days.ghosts[rows], days.occasions[rows]) / _HITS
    found = [
        _ghost_finding(situation, history, seen) for seen in spell_seen(rows, strength, off=0.4)
    ]
    return Verdict(tuple(found))


def _hits_of_last(hits: FloatArray, occasions: FloatArray) -> FloatArray:
    """Hits among the last five occasions, at each row; scaled where a row brings more."""
    found = np.zeros(len(hits))
    for k in range(len(hits)):
        seen = hit = 0.0
        for j in range(k, -1, -1):
            seen, hit = seen + occasions[j], hit + hits[j]
            if seen >= _OF:
                break
        found[k] = hit * _OF / seen if seen >= _OF else min(hit, _HITS - 1.0)
    return found


def _ghost_finding(situation: Situation, history: PumpHistory, seen: Seen) -> Finding:
    days = history.days
    part = slice(seen.begin, seen.last + 1)
    hits, occasions = days.ghosts[part].sum(), days.occasions[part].sum()
    excess = days.idle_k[part]
    evidence = [
        Evidence(
            channel_id(situation, "temperature", "flow"),
            f"firings at which the resting pump's pipe warmed, of {occasions:.0f}",
            float(hits),
            "none or few",
            "1",
        ),
        Evidence(channel_id(situation, "power"), "power meanwhile", 0.0, "0: it rests", "W"),
    ]
    if np.isfinite(excess).any():
        evidence.append(
            Evidence(
                channel_id(situation, "temperature", "flow"),
                "pipe above its surroundings at rest",
                float(np.nanmedian(excess)),
                "below 5",
                "K",
            )
        )
    return slow_finding(
        situation,
        history,
        seen=seen,
        signs=Signs(
            "ghost_flow",
            0.6 + 0.3 * float(hits / max(occasions, 1.0)),
            tuple(evidence),
            (
                "a pump that runs unseen: its plug shows rest",
                "warmth left from a run: the pump had rested an hour and the pipe warmed anew",
            ),
        ),
    )


FAULT = Fault(
    name="ghost_flow",
    title="Warm water flows although the pump stands",
    of="pump",
    group="flow",
    place=3,
    needs="a temperature of the pump's flow or return pipe, and when the boiler fires",
    judge=judge_ghost,
    urgency="soon",
    timing=Timing(),
    possible=(
        "ghost flow: a check valve that stays open",
        "no check valve where one is needed",
        "a mixing valve that leaks",
    ),
    first_check="Feel a radiator of this circuit while only hot water is made: is it warm? Is "
    "the check valve's lever set to open?",
    who="Owner: feel, close the lever. Heating firm: clean or exchange the check valve.",
    caution=HOT_AND_LIVE,
    pace="day",
    told_with="slow",
    grace_days=7.0,
)
