"""Judges of wear, which shows over weeks: bearings and run capacitors."""

from collections.abc import Callable, Iterator

import numpy as np

from analysis.faults.drift.power_and_flow import (
    RESTLESS,
    RISE,
    WIDTH,
    came_slowly,
    floor_above,
    flow_strength,
    is_quiet_rise,
    quantum,
    rose_unseen,
    second_opinion,
    unrest_ratio,
)
from analysis.faults.nightly import (
    Seen,
    Signs,
    channel_id,
    history_of,
    is_last_of_pump,
    learning_needs,
    slow_finding,
    spell_seen,
)
from analysis.plant.finding import Evidence, Finding
from analysis.pump.baseline import Trend, baseline_rows, level_trend, running_median
from analysis.pump.epochs import Epoch, PumpHistory
from analysis.readings.readings import FloatArray
from analysis.readings.situation import Situation, Verdict
from analysis.readings.two_levels import BoolArray

NO_POWER = "a power channel of the pump"

# bearing drag

_ALONE = {"induction": 1.4, "electronic": 1.6}
"""Without restlessness beside it the power must rise this much further."""
_BLIND_FLOW = {"induction": 0.1, "electronic": 0.35}
"""Rise that opening valves can make alone, where the flow of water is not known: a capacitor
motor takes 4 to 12 % less against shut valves, an electronic one a third and more (models)."""
_BLIND = 1.8
"""Without the mains voltage an induction pump's power must rise this much further."""


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


def trend_spells(
    history: PumpHistory,
    trend_of: Callable[[PumpHistory, Epoch], Trend | None],
    strength_of: Callable[[PumpHistory, Epoch, Trend], FloatArray],
) -> Iterator[tuple[Epoch, Trend, Seen]]:
    """Spells of each epoch in which the signs in its trend suffice."""
    for epoch in history.chains:
        trend = trend_of(history, epoch)
        if trend is None or not len(trend.rows):
            continue
        for seen in spell_seen(trend.rows, strength_of(history, epoch, trend)):
            yield epoch, trend, lasting(history, epoch, seen)


def lasting(history: PumpHistory, epoch: Epoch, seen: Seen) -> Seen:
    """A spell open at its epoch's end lasts on, unless the pump itself was exchanged."""
    return seen._replace(is_over=seen.is_over or not is_last_of_pump(history, epoch))


def _bearing_strength(history: PumpHistory, epoch: Epoch, trend: Trend) -> FloatArray:
    """Strength of the signs of drag, 1 where they suffice, a second opinion heard."""
    other = second_opinion(history, epoch)[0][trend.rows]
    other = np.where(_sag(history, trend, 0.03), 0.0, other)
    return np.fmax(_drag_strength(history, epoch, trend), other)


def _drag_strength(history: PumpHistory, epoch: Epoch, trend: Trend) -> FloatArray:
    """Strength of the plain signs of drag, 1 where they suffice."""
    strength = _rise_strength(history, epoch, trend)
    with np.errstate(invalid="ignore"):
        seconded = unrest_ratio(history, trend) > RESTLESS
        lingers = (flow_strength(history, epoch)[trend.rows] > 0.6) & ~seconded
    # Less water or a falling power factor explain the rise: not the bearing. But sludge is smooth.
    explained = lingers | _sag(history, trend, 0.03) | is_quiet_rise(history, epoch, trend)
    return np.where(explained, np.fmin(strength, 0.4), strength)


def quiet_rise(history: PumpHistory, epoch: Epoch) -> FloatArray:
    """Strength of a rise that its quietness lays to sludge, one a row of the table; 0 elsewhere."""
    found = np.zeros(len(history.days))
    trend = level_trend(history, epoch)
    if trend is not None and len(trend.rows):
        quiet = is_quiet_rise(history, epoch, trend)
        strength = np.nan_to_num(_rise_strength(history, epoch, trend))
        found[trend.rows] = np.where(quiet, strength, 0.0)
    return found


def _rise_strength(history: PumpHistory, epoch: Epoch, trend: Trend) -> FloatArray:
    """Strength of a rise of power, 1 where it suffices, whatever its cause."""
    least = max(RISE[epoch.drive], 3.0 * trend.spread, quantum(history, trend))
    if epoch.drive == "induction" and "voltage_v" not in history.has:
        least *= _BLIND
    alone = _ALONE[epoch.drive] * least
    if not np.isfinite(history.days.share[trend.learned]).any():
        alone = max(alone, _BLIND_FLOW[epoch.drive])
    above = np.fmin(trend.above, floor_above(history, trend))
    with np.errstate(invalid="ignore"):
        seconded = unrest_ratio(history, trend) > RESTLESS
        strength = running_median(above, WIDTH) / np.where(seconded, least, alone)
        slowly = came_slowly(above / least) | rose_unseen(history, trend, above / least)
        return np.where(slowly, strength, np.fmin(strength, 0.9))


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


# capacitor ageing

_FALL = 0.03
"""Fall of the power factor that counts; 70 % of the capacitance make 0.06 (a model)."""


def judge_capacitor(situation: Situation) -> Verdict:
    """A power factor that falls and stays low while the pump runs on."""
    history = history_of(situation)
    if history is None:
        return Verdict(needs=NO_POWER)
    if all(e.drive != "induction" for e in history.epochs):
        return Verdict()
    if "factor" not in history.has:
        return Verdict(needs="power factor, or current and voltage, of the pump's plug")
    found: list[Finding] = []
    for epoch in history.chains:
        if epoch.drive == "induction":
            found += _capacitor_findings(situation, history, epoch)
    return Verdict(tuple(found), needs=learning_needs(history))


def _capacitor_findings(situation: Situation, history: PumpHistory, epoch: Epoch) -> list[Finding]:
    factor, days = history.even.factor, history.days
    learned = baseline_rows(history, epoch)
    learned = learned[np.isfinite(factor[learned])]
    if len(learned) < 5:
        return []
    usual = float(np.median(factor[learned]))
    rows = np.arange(learned[-1] + 1, epoch.last + 1)
    rows = rows[np.isfinite(factor[rows]) & (days.run_h[rows] > 0.5) & days.is_whole[rows]]
    least = max(_FALL, 5.0 * 1.4826 * float(np.median(np.abs(factor[learned] - usual))))
    strength = -(running_median(factor[rows], 2) - usual) / least
    return [
        _capacitor_finding(situation, history, usual, lasting(history, epoch, seen))
        for seen in spell_seen(rows, strength)
    ]


def _capacitor_finding(
    situation: Situation, history: PumpHistory, usual: float, seen: Seen
) -> Finding:
    days = history.days
    now = float(np.nanmedian(days.factor[seen.raised : seen.last + 1][-WIDTH:]))
    before = days.level_w[max(seen.begin - 7, 0) : seen.begin]
    watts = float(np.nanmedian(days.level_w[seen.raised : seen.last + 1][-WIDTH:]))
    evidence = [
        Evidence(
            channel_id(situation, "power_factor"),
            "power factor while running",
            now,
            f"about {usual:.2f}",
            "1",
        )
    ]
    if np.isfinite(before).any():
        usual_w = float(np.nanmedian(before))
        evidence.append(
            Evidence(
                channel_id(situation, "power"),
                "running power at 230 V",
                watts,
                f"about {usual_w:.4g} before; an ageing capacitor leaves it or lowers it",
                "W",
            )
        )
    return slow_finding(
        situation,
        history,
        seen=seen,
        signs=Signs(
            "capacitor_ageing",
            0.75 + min(0.2, 2.0 * (usual - now)),
            tuple(evidence),
            (
                "a seized rotor or worn bearing: they leave the power factor as it is",
                "a turned knob: it changes the power by a fifth and more",
            ),
        ),
    )
