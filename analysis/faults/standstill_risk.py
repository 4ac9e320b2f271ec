"""A pump that stands for weeks and may stick when it is wanted."""

from dataclasses import replace

import numpy as np

from analysis.alarms.states import Timing
from analysis.faults.drift.daily_spells import (
    NO_POWER,
    Signs,
    channel_id,
    history_of,
    slow_finding,
    spell_seen,
)
from analysis.faults.fault import HOT_AND_LIVE, Fault
from analysis.plant.finding import Evidence
from analysis.readings.situation import Situation, Verdict

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
    rows = np.arange(len(days))
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


FAULT = Fault(
    name="standstill_risk",
    title="Pump has stood for weeks and may stick",
    of="pump",
    group="flow",
    place=4,
    needs="power of the pump",
    judge=judge_standstill,
    urgency="note",
    timing=Timing(),
    possible=("standstill in summer", "a controller without a weekly run of its pumps"),
    first_check="Let it run for a few minutes, and see whether its power comes to the usual.",
    who="Owner: by the controller's or the pump's own switch.",
    caution=HOT_AND_LIVE,
    pace="day",
)
