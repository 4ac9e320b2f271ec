"""Too hot: a temperature above the limit of its place, or a pump body hotter than its water."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from analysis.alarms.states import Timing
from analysis.base.time import HOUR_MS, MINUTE_MS, Span
from analysis.faults.fault import Fault, PlainTruth
from analysis.faults.pump_state.demand_evidence import Signs
from analysis.faults.pump_state.episodes import STALL
from analysis.faults.pump_state.pump_watch import Watched, watched
from analysis.plant.finding import Evidence, Finding
from analysis.plant.plant import Channel
from analysis.readings.minute_grid import ago, lasting, spans_of, trailing
from analysis.readings.readings import Readings, hold_limit_ms, holds, value_at
from analysis.readings.situation import Situation, Verdict
from analysis.readings.two_levels import BoolArray, Runs, runs_above

LIMIT_CEL: dict[str, float] = {
    "flow": 95.0,
    "return": 90.0,
    "body": 115.0,
    "top": 90.0,
    "bottom": 90.0,
    "room": 40.0,
    "ambient": 50.0,
}
"""Limits by place; water-side values are below the 100 to 110 Cel of limit thermostats
(common practice, no source). A locked motor's body reaches 75 to 120 Cel (a model)."""
SCALDING_CEL, STAYS_HOT_H = 95.0, 6.0
"""Water that a wood fire overheated is truly so from here on, and for so long after the fire."""
_DEAD_BAND_K = 3.0
_RISE_K, _OWN_K, _RISE_MIN = 3.0, 1.5, (3, 6, 10, 15)
_BEYOND_K = 4.0
_WITHOUT_POWER_K = 6.0
_ALONE_MIN, _ALONE_K, _OTHER_K = 6, 2.0, 0.5
"""A kilogram of iron takes 8 W to warm by a kelvin a minute; a pump at rest takes 3 at most."""
_BY_WATER = 0.3
_WARM_C = 45.0
"""No body that a hand can rest on overheats (common practice, no source)."""
_OVERLOAD, _OVERLOAD_MIN = 1.25, 5
"""Mains 10 % high drive a capacitor motor to 1.17 of its power, rounding of plates to a little more
(model of the voltage exponent)."""
_HELD = 1.15
"""An electronic pump holds its power whatever the mains do; a cheap plug errs by a tenth at most
(common practice, no source)."""
_MUCH = 1.4
"""A pump's electronics limit its power, a motor's plate tells that of its highest speed."""
_END_MIN = 30
_ONE_HEAT_MS = 6 * HOUR_MS
_FED = ("flow", "return", "top", "bottom")


def judge_overheating(situation: Situation) -> Verdict:
    """Temperatures above their limit in two readings running; bodies hotter than they can be."""
    channels = [c for c in situation.plant.select(quantity="temperature") if c.place in LIMIT_CEL]
    measured = [c for c in channels if _is_measured(situation, c)]
    if not measured:
        return Verdict(needs="a temperature channel with readings within this time")
    limits = _one_heat([f for c in measured for f in _too_hot(situation, c)], situation)
    seen = watched(situation)
    pumps = [f for p in situation.plant.pumps for f in _hot_pumps(seen, p.id, situation)]
    return Verdict(tuple(limits + pumps))


def _is_measured(situation: Situation, channel: Channel) -> bool:
    readings = situation.record.get(channel.id, Readings.empty())
    return len(holds(readings, hold_limit_ms(readings, channel), situation.span).value) > 0


def _too_hot(situation: Situation, channel: Channel) -> Iterator[Finding]:
    readings = situation.record[channel.id]
    limit = LIMIT_CEL[channel.place or "flow"]
    if float(np.nanmax(readings.value, initial=-np.inf)) < limit:
        return
    hold_ms = hold_limit_ms(readings, channel)
    twice = Readings(readings.time_ms[1:], np.minimum(readings.value[1:], readings.value[:-1]))
    runs = runs_above(holds(twice, hold_ms, situation.span), limit, limit - _DEAD_BAND_K)
    for start, end, closes in _whole(runs):
        hottest = float(np.nanmax(value_at(readings, np.arange(start, end, MINUTE_MS), hold_ms)))
        yield Finding(
            subject=channel.of,
            fault="overheating",
            start_ms=int(start),
            end_ms=int(end) if closes else None,
            raised_ms=int(start),
            urgency="now",
            confidence=0.9,
            evidence=(Evidence(channel.id, "highest", hottest, f"at most {limit:.0f}", "Cel"),),
            ruled_out=("a glitch of the sensor: two readings agree",),
        )


def _one_heat(found: list[Finding], situation: Situation) -> list[Finding]:
    """Findings without those of pipes that the same too hot water reaches later.

    A pump that starts carries water of a boiler that is told already: one heat is one alarm.
    """
    boilers = {b.id for b in situation.plant.boilers}
    fed = {c.id for c in situation.plant.channels if c.place in _FED and c.of not in boilers}
    heats = [
        Span(f.start_ms, (f.end_ms or situation.span.end_ms) + _ONE_HEAT_MS)
        for f in found
        if f.subject in boilers
    ]
    return [
        f
        for f in found
        if f.evidence[0].channel not in fed
        or not any(heat.start_ms <= f.start_ms < heat.end_ms for heat in heats)
    ]


def _whole(runs: Runs) -> Iterator[tuple[int, int, bool]]:
    """Runs, one that silence left open joined with the next soon after: one heat is one alarm."""
    rows = list(
        zip(runs.start_ms.tolist(), runs.end_ms.tolist(), runs.closes.tolist(), strict=True)
    )
    while rows:
        start, end, closes = rows.pop(0)
        while not closes and rows and rows[0][0] - end < _ONE_HEAT_MS:
            _, end, closes = rows.pop(0)
        # What is left open long before a later run has ended unseen.
        yield start, end, closes or bool(rows)


def hot_minutes(signs: Signs) -> BoolArray:
    """Minutes in which a pump's body is hotter than its water and its work explain."""
    over = signs.one.body_c - signs.one.water_c
    usual = signs.usual.body_over_k
    if usual is None or not signs.usual.is_known:
        return np.zeros(len(signs.plant), bool)
    levels, rated = signs.usual.levels, signs.one.pump.rated_power_w
    most = 1.5 * (levels.high_w or 0.0)
    if rated and not signs.is_induction:
        most = min(most, max(1.05 * rated[1], 1.15 * (levels.high_w or 0.0)))
    greedy = signs.high | (signs.runs & (signs.power_w > most))
    with np.errstate(invalid="ignore"):
        body, water = signs.one.body_c, signs.one.water_c
        # Beside water that cools faster than iron, a body seems to warm; one that is colder than
        # water that comes up is warmed by it.
        rises = [
            (over - ago(over, k) > _RISE_K)
            & (body - ago(body, k) > _OWN_K)
            & ~((over < 0.0) & (water - ago(water, k) > _BY_WATER * (body - ago(body, k))))
            for k in _RISE_MIN
        ]
        warms = np.logical_or.reduce(rises) & (over > usual - 15.0)
        beyond = over > usual + _BEYOND_K
        alone = (over > usual + _WITHOUT_POWER_K) & signs.idle
        alone &= signs.one.body_c - ago(signs.one.body_c, 10) > 1.0
        cooks = over > usual + 25.0
        # A cold one that warms beside hotter pipes, after a rest, is a long way from hot.
        hot = (over > 0.0) | (signs.one.body_c > _WARM_C)
    now = (lasting(greedy) >= 3) & np.asarray(warms | beyond)
    now |= (lasting(np.asarray(alone)) >= 3) | (lasting(np.asarray(cooks)) >= 5)
    now |= lasting(_warms_alone(signs)) >= 2
    return np.asarray(now & hot)


def _warms_alone(signs: Signs) -> BoolArray:
    """A pump at rest, warmer than its water ever lets it be, warms beside pipes that do not."""
    body, water = signs.one.body_c, signs.one.water_c
    with np.errstate(invalid="ignore"):
        alone = (body - ago(body, _ALONE_MIN) > _ALONE_K) & (
            water - ago(water, _ALONE_MIN) < _OTHER_K
        )
        return np.asarray(
            signs.idle & alone & (body - water > (signs.usual.body_over_k or 0.0) + _OTHER_K)
        )


def overloaded(signs: Signs) -> BoolArray:
    """Minutes in which a pump takes far more than its plate allows and than it ever did.

    What the water does not take heats the motor. A seized rotor of an induction pump shows in
    standing water, or in what no turned knob does, and is left to its judge.
    """
    levels, rated = signs.usual.levels, signs.one.pump.rated_power_w
    if rated is None or levels.high_w is None or not signs.usual.is_known:
        return np.zeros(len(signs.plant), bool)
    most = max(levels.high_w, rated[1])
    limit = _OVERLOAD if signs.is_induction else _HELD
    beyond = lasting(signs.runs & (signs.power_w > limit * most)) >= _OVERLOAD_MIN
    # What no mains explains needs no waiting for it.
    shown = lasting(signs.runs & (signs.power_w > _MUCH * most))
    beyond |= shown >= np.where(signs.often, 2, 3)
    seized = (signs.stands | signs.seized) & signs.is_induction
    return np.asarray(beyond & ~seized)


def _overload_finding(seen: Watched, pump: str, span: Span, channel: Channel) -> Finding:
    """Finding of a pump whose power is beyond its plate."""
    start_ms = seen.minutes.start_ms
    rows = slice(*np.searchsorted(start_ms, (span.start_ms, span.end_ms)))
    rated = seen.signs(pump, rows.start)[0].one.pump.rated_power_w
    watts = float(np.nanmax(seen.minutes.pumps[pump].drawn.power_w[rows]))
    plate = f"at most {rated[1]:.0f} by its plate" if rated else "less"
    evidence = (Evidence(channel.id, "power while running", watts, plate, "W"),)
    return replace(
        _hot_pump(seen, pump, span=span, confidence=0.8, evidence=evidence),
        ruled_out=(
            "a seized rotor: the pipes follow the boiler",
            "another setting: none takes more than the plate's greatest",
        ),
        possible=("winding or electronics failing", "overheating", "another pump than entered"),
    )


def _hot_pump(
    seen: Watched, pump: str, *, span: Span, confidence: float, evidence: tuple[Evidence, ...]
) -> Finding:
    """What every finding of a hot pump has in common: it wakes, and ends with its span."""
    ends = seen.end_ms(len(seen.minutes) - 1)
    return Finding(
        subject=pump,
        fault="overheating",
        start_ms=span.start_ms,
        end_ms=None if span.end_ms == ends else span.end_ms,
        raised_ms=span.start_ms + MINUTE_MS,
        urgency="now",
        confidence=confidence,
        evidence=evidence,
    )


def _hot_pumps(seen: Watched, pump: str, situation: Situation) -> Iterator[Finding]:
    """Findings of a pump's body or power; they end when nothing has shown for half an hour."""
    hot, over, still = (np.zeros(len(seen.minutes), bool) for _ in range(3))
    for stage, own, signs in seen.staged(pump):
        hot[stage.rows] = hot_minutes(signs)[own]
        over[stage.rows] = overloaded(signs)[own]
        above = np.nan_to_num(signs.one.body_c - signs.one.water_c, nan=-99.0)
        still[stage.rows] = (above > (signs.usual.body_over_k or 99.0) + 1.5)[own]
    lasts = _lasting_on(hot | over, trailing(still | over, _END_MIN) > 0)
    start_ms = seen.minutes.start_ms
    told = [s for s in seen.spells_of(pump) if s.wakes is not None]
    raises = [int(start_ms[s.raised]) for s in told]
    power = situation.plant.first(pump, "power")
    for whole in spans_of(lasts, start_ms):
        first, end = np.searchsorted(start_ms, (whole.start_ms, whole.end_ms))
        # A seized motor heats: who was woken for it needs no second alarm of the same pump.
        stalls = [s for s in told if s.cause == STALL and s.raised <= first < (s.end or len(hot))]
        after = max([int(first), *(s.end or len(hot) for s in stalls)])
        anew = np.flatnonzero((hot | over)[after:end])
        if not len(anew):
            continue
        row = after + int(anew[0])
        span = Span(int(start_ms[row]), whole.end_ms)
        if power is not None and not hot[row]:
            yield _overload_finding(seen, pump, span, power)
            continue
        stands = any(-30 <= (r - span.start_ms) / MINUTE_MS <= 30 for r in raises)
        yield _body_finding(seen, pump, span, situation, certain=not stands)


def _lasting_on(raised: BoolArray, still: BoolArray) -> BoolArray:
    """From each raising on, as long as something still shows."""
    lasts = raised.copy()
    for row in np.flatnonzero(raised[:-1] & ~raised[1:]):
        ends = np.flatnonzero(~still[row + 1 :])
        lasts[row : row + 1 + (int(ends[0]) if len(ends) else len(still))] = True
    return lasts


def _body_finding(
    seen: Watched, pump: str, span: Span, situation: Situation, *, certain: bool
) -> Finding:
    one, row = seen.minutes.pumps[pump], int(np.searchsorted(seen.minutes.start_ms, span.start_ms))
    signs, place = seen.signs(pump, row)
    body = situation.plant.first(pump, "temperature", "body")
    power = situation.plant.first(pump, "power")
    levels = signs.usual.levels
    rows = slice(row, min(row + 30, len(seen.minutes)))
    evidence = [
        Evidence(
            body.id if body else pump,
            "body above the water in its pipes",
            float(np.nanmax((one.body_c - one.water_c)[rows])),
            f"at most {signs.usual.body_over_k or 0.0:.1f}",
            "K",
        )
    ]
    if power is not None:
        usual = f"{levels.low_w or 0.0:.0f} to {levels.high_w or 0.0:.0f} when running"
        watts = float(np.nan_to_num(signs.power_w[place]))
        evidence.append(Evidence(power.id, "power meanwhile", watts, usual, "W"))
    confidence = 0.95 if certain else 0.7
    return replace(
        _hot_pump(seen, pump, span=span, confidence=confidence, evidence=tuple(evidence)),
        ruled_out=(
            "hot water passing: the body is compared with its own pipes",
            "a glitch: it lasts for minutes",
        ),
        possible=("winding or electronics failing", "rotor stiff or seized", "no water through it"),
        first_check="Without touching it: does the pump hum, smell or feel hot from a hand's "
        "width away? Are the valves beside it open?",
        who="Owner: switch the pump off at its plug or fuse. Electrically competent person or "
        "heating firm: the pump.",
    )


FAULT = Fault(
    name="overheating",
    title="Temperature above its limit",
    of="plant",
    group="plant",
    place=1,
    needs="a temperature channel",
    judge=judge_overheating,
    urgency="now",
    timing=Timing(on_delay_s=0, off_delay_s=600),
    possible=("no circulation", "boiler thermostat failed", "sensor wrong"),
    first_check="Read the boiler's own thermometer; does it agree?",
    who="Owner: turn the boiler off at its own switch. Heating firm: find the cause.",
    caution="Scalding water and steam: do not open vents or drains. Never defeat a limit "
    "thermostat; reset it at most once, then call the heating firm.",
    follows=("water stands",),
    told_with="urgent",
    plain_truth=PlainTruth(
        after="water is overheated", stays_h=STAYS_HOT_H, least=("Cel", SCALDING_CEL)
    ),
)
