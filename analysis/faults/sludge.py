"""Judge of sludge and magnetite, which let less and less water through over weeks."""

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
    HIDES,
    LINGER,
    RISE,
    WIDTH,
    agreeing_fall,
    came_slowly,
    second_opinion,
)
from analysis.faults.drift.power_at_equal_flow import power_at_like_flow, steady_fall
from analysis.faults.drift.power_rise import quiet_rise
from analysis.faults.fault import HOT_AND_LIVE, Fault
from analysis.plant.finding import Evidence, Finding
from analysis.pump.baseline import Trend, flow_trend, level_trend, running_median
from analysis.pump.epochs import Epoch, PumpHistory
from analysis.readings.readings import FloatArray
from analysis.readings.situation import Situation, Verdict
from analysis.readings.two_levels import BoolArray

_GRADUAL_DAYS = 5
_SECONDED = 0.5
_LEAP, _LEAP_LEAST = 0.6, 1.0
_LONG_DAYS = 16
"""Holidays and shut valves last shorter than this; common practice, no source."""


def judge_sludge(situation: Situation) -> Verdict:
    """Water that lingers in the loop more and more over weeks, at the same weather."""
    history = history_of(situation)
    if history is None:
        return Verdict(needs=NO_POWER)
    if not {"flow_c", "return_c"} <= history.has:
        return Verdict(needs="temperatures of the pump's flow and return pipes")
    found = tuple(
        _sludge_finding(situation, history, epoch, trend, seen)
        for epoch, trend, seen in trend_spells(history, flow_trend, _sludge_strength)
    )
    hidden = "" if found else _hidden(history)
    return Verdict(found, needs=learning_needs(history) or hidden)


def _hidden(history: PumpHistory) -> str:
    """What would show sludge where the pipes alone cannot; empty where they can."""
    pump = history.pump.id
    trend = flow_trend(history, history.chains[-1])
    if trend is None:
        return f"a week of days with heat in both pipes of '{pump}', to learn its water from"
    if 3.0 * trend.spread <= HIDES:
        return ""
    wanders = 100.0 * (float(np.exp(trend.spread)) - 1.0)
    return (
        f"a flow meter, or the pressure over the pump: by its pipes the flow of water of '{pump}' "
        f"changes by {wanders:.0f} % from day to day, so the loss of a third of it cannot be seen"
    )


def _sludge_strength(history: PumpHistory, epoch: Epoch, trend: Trend) -> FloatArray:
    """Strength of the signs of sludge, a second opinion heard."""
    other = second_opinion(history, epoch)[1][trend.rows]
    other = np.fmax(other, agreeing_fall(history, epoch)[trend.rows])
    other = np.fmax(other, steady_fall(history, epoch)[trend.rows])
    other = np.fmax(other, quiet_rise(history, epoch)[trend.rows])
    return np.fmax(_plain_strength(history, epoch, trend), other)


def _plain_strength(history: PumpHistory, epoch: Epoch, trend: Trend) -> FloatArray:
    """Strength of the plain signs of sludge: less flow that came slowly or lasts beyond a holiday.

    Behind thermostatic valves, which open as the water grows less, flow alone shows little: half
    its sign is enough where the power says the same.
    """
    least = max(LINGER, 3.0 * trend.spread)
    less = running_median(trend.above, 5) / least
    slow = _came_slowly(trend.above / least)
    alone = np.where(slow, less, np.fmin(less, 0.9))
    with np.errstate(invalid="ignore"):
        rises = _electric_rise(history, epoch)[trend.rows]
        seconded = np.fmin(rises, running_median(trend.above, 9) / (_SECONDED * least))
    return np.fmax(alone, np.where(np.isnan(seconded), 0.0, seconded))


def _electric_rise(history: PumpHistory, epoch: Epoch) -> FloatArray:
    """Strength of the rise of an electronic pump's power, one a row of the table.

    A capacitor motor takes some per cent less against sludge: see `rise.agreeing_fall`.
    """
    found = np.zeros(len(history.days))
    trend = level_trend(history, epoch) if epoch.drive == "electronic" else None
    if trend is not None and len(trend.rows):
        least = max(RISE["electronic"], 3.0 * trend.spread)
        rise = running_median(trend.above, 5) / least
        found[trend.rows] = np.nan_to_num(rise) * came_slowly(trend.above / least)
    return found


def _came_slowly(strength: FloatArray) -> BoolArray:
    """Whether a strength grew over days to what it is, or has stood for longer than a holiday.

    A holiday's shut valves are there from one day to the next, whatever grew a little before.
    """
    found = np.zeros(len(strength), bool)
    smooth = running_median(strength, 3)
    leap = np.diff(smooth, prepend=0.0) > np.maximum(_LEAP * smooth, _LEAP_LEAST)
    for k in range(len(strength)):
        past = smooth[: k + 1]
        begins = np.flatnonzero((past < 0.3) | leap[: k + 1])
        since = int(begins[-1]) if len(begins) else -1
        between = int(((past[since + 1 :] >= 0.3) & (past[since + 1 :] < 0.85)).sum())
        found[k] = between >= _GRADUAL_DAYS or k - since >= _LONG_DAYS
    return found


_OF_POWER_ALONE = (
    "sludge or magnetite in pump, strainer or pipes",
    "the plug reads a little less than it did: compare it with another",
    "valves or an isolator turned down",
)
"""Some thousandths of power are as much as a plug may wander with the years and its warmth."""


def _sludge_finding(
    situation: Situation, history: PumpHistory, epoch: Epoch, trend: Trend, seen: Seen
) -> Finding:
    days = history.days
    inside = (trend.rows >= seen.raised) & (trend.rows <= seen.last)
    above = float(np.median(trend.above[inside][-5:]))
    rises = float(_electric_rise(history, epoch)[trend.rows][inside][-1])
    is_plain = bool(np.nanmax(_plain_strength(history, epoch, trend)[inside]) >= 1.0)
    falls = _fall_evidence(situation, history, epoch, seen)
    evidence = [
        Evidence(
            channel_id(situation, "temperature", "return"),
            "water lingers in the loop, against its first weeks at the same weather",
            float(np.exp(above)),
            f"{np.exp(-2 * trend.spread):.2f} to {np.exp(2 * trend.spread):.2f}",
            "1",
        ),
        *_spread_evidence(situation, history, trend, seen),
        *falls,
        Evidence(
            channel_id(situation, "power"),
            "running power",
            float(np.nanmedian(days.level_w[seen.raised : seen.last + 1][-WIDTH:])),
            f"about {np.nanmedian(days.level_w[trend.learned]):.4g} in its first weeks",
            "W",
        ),
    ]
    return slow_finding(
        situation,
        history,
        seen=seen,
        signs=Signs(
            "sludge",
            0.6 + (0.2 if rises > 0.7 and is_plain else 0.0) + min(0.1, 0.2 * above),
            tuple(evidence),
            (
                "valves shut for a holiday: it grew slowly or lasts longer",
                "the weather: compared at the same outdoor temperature"
                if np.isfinite(days.outdoor_c[trend.learned]).all()
                else "a turned knob: no sudden step of power",
                *(("air: the power is as quiet as ever",) if falls else ()),
            ),
            () if is_plain or not falls else _OF_POWER_ALONE,
        ),
    )


def _fall_evidence(
    situation: Situation, history: PumpHistory, epoch: Epoch, seen: Seen
) -> list[Evidence]:
    """Power at the same flow of water and voltage, where it is that which fell."""
    strength = steady_fall(history, epoch)[seen.raised : seen.last + 1]
    trend = power_at_like_flow(history, epoch) if (strength >= 1.0).any() else None
    if trend is None:
        return []
    inside = (trend.rows >= seen.begin) & (trend.rows <= seen.last)
    usual = [float(np.exp(k * 2 * trend.spread)) for k in (-1, 1)]
    return [
        Evidence(
            channel_id(situation, "power"),
            "power at the same flow of water and mains voltage, against its first weeks",
            float(np.exp(np.median(trend.above[inside][-WIDTH:]))),
            f"{usual[0]:.4f} to {usual[1]:.4f}",
            "1",
        )
    ]


def _spread_evidence(
    situation: Situation, history: PumpHistory, trend: Trend, seen: Seen
) -> list[Evidence]:
    """Flow less return of the spell and before it; nothing where the pipes were lukewarm only."""
    spread = history.days.spread_k
    now, usual = spread[seen.raised : seen.last + 1], spread[trend.learned]
    if not np.isfinite(now).any() or not np.isfinite(usual).any():
        return []
    return [
        Evidence(
            channel_id(situation, "temperature", "flow"),
            "flow less return while running",
            float(np.nanmedian(now)),
            f"about {np.nanmedian(usual):.3g} in its first weeks",
            "K",
        )
    ]


FAULT = Fault(
    name="sludge",
    title="Less and less water flows: sludge or magnetite",
    of="pump",
    group="wear",
    place=3,
    needs="temperatures of the pump's flow and return and its power for two weeks; "
    "the outdoor temperature makes it surer",
    judge=judge_sludge,
    urgency="soon",
    timing=Timing(),
    possible=(
        "sludge or magnetite in pump, strainer or pipes",
        "valves or an isolator turned down",
        "bearing drag: a pump that slows down",
    ),
    first_check="Are all isolating valves fully open? Is the water from a radiator's vent "
    "black? Which radiators stay cooler than they were?",
    who="Owner: look and feel. Heating firm: clean the strainer, flush, treat the water.",
    caution=HOT_AND_LIVE,
    pace="day",
    effects=("less water moves",),
    told_with="slow",
    grace_days=7.0,
)
