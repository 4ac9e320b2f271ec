"""A worn bearing, which takes more power for the same water and makes the pump restless."""

import numpy as np

from analysis.alarms.states import Timing
from analysis.faults.drift.daily_spells import (
    NO_POWER,
    Seen,
    Signs,
    channel_id,
    history_of,
    learning_needs,
    slow_finding,
    trend_spells,
)
from analysis.faults.drift.power_and_flow import (
    RESTLESS,
    WIDTH,
    flow_strength,
    is_quiet_rise,
    second_opinion,
    unrest_ratio,
)
from analysis.faults.drift.power_rise import rise_strength
from analysis.faults.fault import HOT_AND_LIVE, Fault
from analysis.plant.finding import Evidence, Finding
from analysis.pump.baseline import Trend, level_trend, running_median
from analysis.pump.epochs import Epoch, PumpHistory
from analysis.readings.readings import FloatArray
from analysis.readings.situation import Situation, Verdict
from analysis.readings.two_levels import BoolArray


def judge_bearing(situation: Situation) -> Verdict:
    """Power that rises over days at the same voltage and flow, and restlessness with it."""
    history = history_of(situation)
    if history is None:
        return Verdict(needs=NO_POWER)
    found = tuple(
        _bearing_finding(situation, history, epoch, trend, seen)
        for epoch, trend, seen in trend_spells(history, level_trend, _bearing_strength)
    )
    return Verdict(found, needs=learning_needs(history))


def _bearing_strength(history: PumpHistory, epoch: Epoch, trend: Trend) -> FloatArray:
    """Strength of the signs of drag, 1 where they suffice, a second opinion heard."""
    other = second_opinion(history, epoch)[0][trend.rows]
    other = np.where(_sag(history, trend, 0.03), 0.0, other)
    return np.fmax(_drag_strength(history, epoch, trend), other)


def _drag_strength(history: PumpHistory, epoch: Epoch, trend: Trend) -> FloatArray:
    """Strength of the plain signs of drag, 1 where they suffice."""
    strength = rise_strength(history, epoch, trend)
    with np.errstate(invalid="ignore"):
        seconded = unrest_ratio(history, trend) > RESTLESS
        lingers = (flow_strength(history, epoch)[trend.rows] > 0.6) & ~seconded
    # Less water or a falling power factor explain the rise: not the bearing. But sludge is smooth.
    explained = lingers | _sag(history, trend, 0.03) | is_quiet_rise(history, epoch, trend)
    return np.where(explained, np.fmin(strength, 0.4), strength)


def _sag(history: PumpHistory, trend: Trend, depth: float) -> BoolArray:
    """Whether the power factor fell below the baseline's by `depth`."""
    usual = history.even.factor[trend.learned]
    if not np.isfinite(usual).any():
        return np.zeros(len(trend.rows), bool)
    fall = running_median(history.even.factor[trend.rows], 3) - np.nanmedian(usual)
    return np.asarray(fall < -depth)


def _bearing_finding(
    situation: Situation, history: PumpHistory, epoch: Epoch, trend: Trend, seen: Seen
) -> Finding:
    days = history.days
    last = trend.rows[(trend.rows >= seen.raised) & (trend.rows <= seen.last)]
    above = float(np.median(trend.above[np.isin(trend.rows, last)][-WIDTH:]))
    unrest = unrest_ratio(history, trend)[np.isin(trend.rows, last)]
    ratio = float(unrest[-1]) if len(unrest) else float("nan")
    evidence = [
        Evidence(
            channel_id(situation, "power"),
            "running power at 230 V, last days",
            trend.level * float(np.exp(above)),
            f"{trend.level * np.exp(-3 * trend.spread):.4g} to "
            f"{trend.level * np.exp(3 * trend.spread):.4g} as in its first weeks",
            "W",
        )
    ]
    if np.isfinite(ratio):
        evidence.append(
            Evidence(
                channel_id(situation, "power"),
                "restlessness from minute to minute against its own",
                ratio,
                "about 1",
                "1",
            )
        )
    evidence += factor_evidence(situation, history, trend, seen)
    spread = days.spread_k[seen.raised]
    if np.isfinite(spread):
        evidence.append(
            Evidence(
                channel_id(situation, "temperature", "return"),
                "flow less return while running",
                float(spread),
                "as usual for the weather: the water flows",
                "K",
            )
        )
    known = 0.1 * ("voltage_v" in history.has) + 0.1 * ("factor" in history.has)
    confidence = 0.55 + known + (0.2 if ratio > RESTLESS else 0.0)
    ruled_out = ["a turned knob or another plug: the rise took days, no step"]
    if epoch.drive == "induction" and "voltage_v" in history.has:
        ruled_out.append(f"mains voltage: taken out with exponent {epoch.exponent:.2f}")
    if np.isfinite(spread):
        ruled_out.append("less water: flow and return differ as usual")
    return slow_finding(
        situation,
        history,
        seen=seen,
        signs=Signs("bearing_drag", confidence, tuple(evidence), tuple(ruled_out)),
    )


def factor_evidence(
    situation: Situation, history: PumpHistory, trend: Trend, seen: Seen
) -> list[Evidence]:
    """Power factor of the spell beside its baseline, where it is known."""
    usual = history.days.factor[trend.learned]
    now = history.days.factor[seen.raised : seen.last + 1]
    if not np.isfinite(usual).any() or not np.isfinite(now).any():
        return []
    middle = float(np.nanmedian(usual))
    return [
        Evidence(
            channel_id(situation, "power_factor"),
            "power factor, last days",
            float(np.nanmedian(now[-WIDTH:])),
            f"about {middle:.2f}",
            "1",
        )
    ]


FAULT = Fault(
    name="bearing_drag",
    title="Bearing drags: the pump takes more power for the same water",
    of="pump",
    group="wear",
    place=1,
    needs="power of the pump for two weeks; voltage and power factor make it surer, "
    "flow and return temperatures tell it from sludge",
    judge=judge_bearing,
    urgency="soon",
    timing=Timing(),
    possible=(
        "bearing drag: a worn bearing",
        "sludge or magnetite in the rotor's gap",
        "thicker water, such as antifreeze just filled in",
    ),
    first_check="Listen beside it without touching it: does it grind, whine or knock? Hold a "
    "hand near the motor: is it much hotter than the pipe?",
    who="Owner: listen. Heating firm: turn the shaft, exchange the pump before winter.",
    caution=HOT_AND_LIVE,
    pace="day",
    told_with="slow",
    grace_days=7.0,
)
