"""Judges of the water's way: reversed and ghost flow, pumps that stand too long."""

from dataclasses import replace

import numpy as np

from analysis.base.time import DAY_MS
from analysis.faults.nightly import Seen, Signs, channel_id, history_of, slow_finding, spell_seen
from analysis.faults.wear import NO_POWER
from analysis.plant.finding import Evidence, Finding
from analysis.pump.epochs import PumpHistory
from analysis.readings.readings import FloatArray, IntArray
from analysis.readings.situation import Situation, Verdict

# reversed flow

_MOST = 0.7
_LEAST_WARM_H = 1.5
_LEAST_FLOW_K = 5.0


def judge_reversed(situation: Situation) -> Verdict:
    """The return that became the warmer pipe, and warms first at every start."""
    history = history_of(situation)
    if history is None:
        return Verdict(needs=NO_POWER)
    if not {"flow_c", "return_c"} <= history.has:
        return Verdict(needs="temperatures of the pump's flow and return pipes")
    days = history.days
    told = (days.warm_h >= _LEAST_WARM_H) & (np.nan_to_num(days.flow_k) > _LEAST_FLOW_K)
    rows = np.flatnonzero(told)
    share = days.inverted_h[rows] / days.warm_h[rows]
    # Sensors that differ by a little show a charging pump's pipes the wrong way round for ever.
    with np.errstate(invalid="ignore"):
        upright = np.flatnonzero((share < 1.0 - _MOST) & ~(days.spread_k[rows] < 0.0))
    if not len(upright):
        turned = bool(len(rows)) and bool(np.median(share) > _MOST)
        return Verdict(
            needs="days with the flow warmer than the return: either the sensors are mixed up "
            "or the pump turned before the first reading"
            if turned
            else ""
        )
    later = rows > rows[upright[0]]
    seen = spell_seen(rows[later], share[later] / _MOST)
    return Verdict(tuple(_reversed_finding(situation, history, one) for one in seen))


def _reversed_finding(situation: Situation, history: PumpHistory, seen: Seen) -> Finding:
    days = history.days
    before = slice(max(seen.begin - 10, 0), seen.begin)
    swapped = _swapped_near(history, seen.begin)
    level = float(np.nanmedian(days.level_w[seen.raised : seen.last + 1]))
    usual = days.level_w[before]
    usual_w = float(np.nanmedian(usual)) if np.isfinite(usual).any() else float("nan")
    falls = not swapped and level < 0.99 * usual_w
    backward = float(days.backward[seen.begin : seen.last + 1].sum())
    forward = float(days.forward[seen.begin : seen.last + 1].sum())
    evidence = (
        Evidence(
            channel_id(situation, "temperature", "return"),
            "flow less return while running",
            float(np.nanmedian(days.spread_k[seen.raised : seen.last + 1])),
            _above_zero(days.spread_k[before]),
            "K",
        ),
        Evidence(
            channel_id(situation, "temperature", "return"),
            "starts at which the return warmed first",
            backward,
            f"fewer than the {forward:.0f} at which the flow did",
            "1",
        ),
        Evidence(
            channel_id(situation, "power"),
            "running power",
            level,
            "another pump since the exchange" if swapped else f"about {usual_w:.4g} before",
            "W",
        ),
    )
    return slow_finding(
        situation,
        history,
        seen=seen,
        signs=Signs(
            "reversed_flow",
            0.65 + 0.25 * (swapped or falls) + 0.05 * (backward > forward),
            evidence,
            (
                "sensors mixed up from the beginning: it was the right way round before",
                "a sensor off its pipe: both pipes are warm",
            ),
        ),
    )


def _above_zero(before: FloatArray) -> str:
    if not np.isfinite(before).any():
        return "above 0"
    return f"about {np.nanmedian(before):.3g} before"


def _swapped_near(history: PumpHistory, row: int) -> bool:
    """Whether the pump was exchanged within two days before a row's end."""
    end = history.days.end_ms[row]
    return any(
        e.why == "pump exchanged" and 0 <= end - e.start_ms < 4 * DAY_MS for e in history.epochs
    )


# ghost flow

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


# standstill

_STANDSTILL_DAYS = 28.0
"""Days at rest after which a run is advised: 14 to 28 in the trade (common practice, no source)."""


def judge_standstill(situation: Situation) -> Verdict:
    """A pump that has not run for four weeks, and may stick when it is wanted."""
    history = history_of(situation)
    if history is None:
        return Verdict(needs=NO_POWER)
    if history.pump.always_on:
        return Verdict()
    days = history.days
    rows: IntArray = np.arange(len(days))
    seen = spell_seen(rows, days.idle_days / _STANDSTILL_DAYS, off=0.5)
    found = []
    for one in seen:
        begin = one._replace(begin=one.raised)
        finding = slow_finding(
            situation,
            history,
            seen=begin,
            signs=Signs(
                "standstill_risk",
                0.9,
                (
                    Evidence(
                        channel_id(situation, "power"),
                        "days since it was last seen running",
                        float(days.idle_days[one.last if not one.is_over else one.raised]),
                        f"below {_STANDSTILL_DAYS:.0f}",
                        "d",
                    ),
                ),
                ("readings missing: only days that were heard are counted",),
            ),
        )
        found.append(replace(finding, urgency="note"))
    return Verdict(tuple(found))
