"""Water that flows the wrong way round."""

import numpy as np

from analysis.alarms.states import Timing
from analysis.base.time import DAY_MS
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


FAULT = Fault(
    name="reversed_flow",
    title="Water flows the wrong way round",
    of="pump",
    group="flow",
    place=2,
    needs="temperatures of the pump's flow and return pipes",
    judge=judge_reversed,
    urgency="soon",
    timing=Timing(),
    possible=(
        "reversed flow: the pump was fitted the wrong way round",
        "flow and return sensors exchanged",
        "another pump pushes water back through this circuit",
    ),
    first_check="Does the arrow on the pump's body point away from the boiler's flow?",
    who="Owner: look at the arrow. Heating firm: turn the pump.",
    caution=HOT_AND_LIVE,
    pace="day",
    told_with="slow",
    grace_days=7.0,
)
