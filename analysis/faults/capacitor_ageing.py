"""A run capacitor that loses capacitance, and the power factor with it."""

import numpy as np

from analysis.alarms.states import Timing
from analysis.faults.drift.daily_spells import (
    NO_POWER,
    Seen,
    Signs,
    channel_id,
    history_of,
    lasting,
    learning_needs,
    slow_finding,
    spell_seen,
)
from analysis.faults.drift.power_and_flow import (
    WIDTH,
)
from analysis.faults.fault import HOT_AND_LIVE, Fault
from analysis.plant.finding import Evidence, Finding
from analysis.pump.baseline import baseline_rows, running_median
from analysis.pump.epochs import Epoch, PumpHistory
from analysis.readings.situation import Situation, Verdict

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


FAULT = Fault(
    name="capacitor_ageing",
    title="Run capacitor ages",
    of="pump",
    group="wear",
    place=2,
    needs="power factor, or current and voltage, of an induction pump's plug",
    judge=judge_capacitor,
    urgency="soon",
    timing=Timing(),
    possible=(
        "capacitor ageing: its capacitance has fallen",
        "a plug that now reads the power factor otherwise",
        "bearing drag along with a low mains voltage",
    ),
    first_check="Does the pump start at once after being switched off and on, or does it hum?",
    who="Electrically competent person: measure and exchange the capacitor, a cheap part.",
    caution=HOT_AND_LIVE + " A capacitor holds a charge after it is cut off.",
    pace="day",
    told_with="slow",
    grace_days=7.0,
)
