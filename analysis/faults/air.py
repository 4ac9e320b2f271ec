"""Judge of air: a pump that stays restless for a day and more."""

from dataclasses import replace

import numpy as np

from analysis.alarms.states import Timing
from analysis.base.time import DAY_MS, HOUR_MS
from analysis.faults.drift.daily_spells import (
    NO_POWER,
    Seen,
    Signs,
    channel_id,
    history_of,
    slow_finding,
)
from analysis.faults.fault import HOT_AND_LIVE, Fault
from analysis.plant.finding import Evidence, Finding
from analysis.pump.daily_rows import sorted_quantiles
from analysis.pump.epochs import Epoch, PumpHistory
from analysis.pump.hours import Hours
from analysis.readings.readings import FloatArray
from analysis.readings.situation import Situation, Verdict

_UNREST = 3.0
"""Restlessness this many times the pump's own is no chance."""
_LEAST_UNREST = 0.012
_STRONG_UNREST = 0.03
"""No sound pump is this restless [share of its level], so that a new one can be judged too."""
_FLICKER = 0.6
"""A steady power between two steps of a plug flickers by half a step a minute at most, in the
mean over an hour."""
_VENTED_H = 10
"""After topping up and venting a sound pump has calmed down by then; common practice, no source."""
_LASTS_H = 24
_QUIET_H = 12


def judge_air(situation: Situation) -> Verdict:
    """A pump that stays restless for a day and more, beyond the hours after a refill."""
    history = history_of(situation)
    if history is None:
        return Verdict(needs=NO_POWER)
    if history.is_coarse:
        return Verdict(
            needs="power at least every 2 minutes; it comes every "
            f"{history.step_s / 60:.0f} minutes"
        )
    hours = history.hours
    restless, least = _unrest(history)
    with np.errstate(invalid="ignore"):
        wild = restless > least
    found = [
        _air_finding(situation, history, first, last)
        for first, last in _wild_spells(wild, np.isfinite(restless))
        if _outlasts_venting(wild, np.isfinite(restless), hours, first, last)
    ]
    return Verdict(tuple(found))


def _unrest(history: PumpHistory) -> tuple[FloatArray, FloatArray]:
    """Restlessness of every hour and the least that counts, learned from the hours before."""
    hours = history.hours
    restless = np.where(hours.run_min >= 20, hours.restless, np.nan)
    # A reading held over several minutes spreads its change over them.
    held = min(1.0, 60.0 / max(history.step_s, 1.0))
    least = np.full(len(restless), np.nan)
    for epoch in history.chains:
        inside = np.flatnonzero(_hours_of(history, epoch) & np.isfinite(restless))
        values = restless[inside]
        coarse = _FLICKER * held * history.quantum_w / np.maximum(hours.level_w[inside], 1.0)
        own = _own_before(values)
        first = np.maximum(held * _STRONG_UNREST, coarse)
        usual = np.maximum(np.maximum(_UNREST * own, held * _LEAST_UNREST), coarse)
        if history.reports == "change":
            # Such a plug is silent while nothing changes: its own past tells more than its step.
            usual = np.maximum(_UNREST * own, 0.5 * usual)
        least[inside] = np.where(np.isnan(own), first, usual)
    return restless, least


def _hours_of(history: PumpHistory, epoch: Epoch) -> np.ndarray:
    end = history.days.end_ms[epoch.last]
    begin = max(epoch.start_ms, int(history.days.start_ms[epoch.first]))
    return np.asarray((history.hours.start_ms >= begin - HOUR_MS) & (history.hours.start_ms < end))


def _own_before(values: FloatArray, learn: int = 48, reach: int = 24 * 14) -> FloatArray:
    """High quantile of each hour's own past, a day of it left out; NaN while there is too little.

    The quantile is one that quiet hours reach now and then, so that three times
    of it is reached by none of them.
    """
    found = np.full(len(values), np.nan)
    for k in range(learn + 24, len(values), 6):
        past = np.sort(values[max(k - 24 - reach, 0) : k - 24])
        high, middle = sorted_quantiles(past, (0.9, 0.5))
        found[k : k + 6] = max(high / 1.5, middle)
    return found


def _wild_spells(wild: np.ndarray, known: np.ndarray) -> list[tuple[int, int]]:
    """Spells from one restless hour to another that no twelve quiet hours interrupt."""
    found: list[tuple[int, int]] = []
    first = last = -1
    quiet = 0
    for k in np.flatnonzero(known).tolist():
        if wild[k]:
            first = k if first < 0 else first
            last, quiet = k, 0
        elif first >= 0:
            quiet += 1
            if quiet >= _QUIET_H:
                found.append((first, last))
                first, quiet = -1, 0
    if first >= 0:
        found.append((first, last))
    return found


def _outlasts_venting(
    wild: np.ndarray, known: np.ndarray, hours: Hours, first: int, last: int
) -> bool:
    """Whether enough hours were restless, and some of them late enough."""
    part = slice(first, last + 1)
    long_ms = int(hours.start_ms[last] - hours.start_ms[first])
    late = wild[part] & (hours.start_ms[part] >= hours.start_ms[first] + _VENTED_H * HOUR_MS)
    share = wild[part].sum() / max(known[part].sum(), 1)
    return bool(long_ms >= _VENTED_H * HOUR_MS and late.sum() >= 4 and share > 0.45)


def _air_finding(situation: Situation, history: PumpHistory, first: int, last: int) -> Finding:
    hours, days = history.hours, history.days
    begin_ms = int(hours.start_ms[first])
    row = int(np.searchsorted(days.start_ms, begin_ms, side="right")) - 1
    told_ms = begin_ms + (_VENTED_H + 4) * HOUR_MS
    raised = min(int(np.searchsorted(days.start_ms, told_ms, side="right")) - 1, len(days) - 1)
    calm_ms = int(hours.start_ms[last]) + HOUR_MS
    is_over = situation.span.end_ms - calm_ms > _QUIET_H * HOUR_MS
    usual = hours.restless[max(first - 96, 0) : first]
    before = hours.level_w[max(first - 96, 0) : first]
    within = slice(first, last + 1)
    quiet = float(np.nanmedian(usual)) if np.isfinite(usual).any() else float("nan")
    evidence = [
        Evidence(
            channel_id(situation, "power"),
            "change from minute to minute, share of the level",
            100.0 * float(np.nanmedian(hours.restless[within])),
            f"about {100 * quiet:.2g} as before" if np.isfinite(quiet) else "below 1",
            "%",
        )
    ]
    lower = False
    if np.isfinite(before).any():
        level = float(np.nanmedian(hours.level_w[first : first + 24]))
        lower = level < 0.99 * float(np.nanmedian(before))
        evidence.append(
            Evidence(
                channel_id(situation, "power"),
                "running power in its first day",
                level,
                f"about {np.nanmedian(before):.4g} before",
                "W",
            )
        )
    refilled = _refilled(history, first)
    finding = slow_finding(
        situation,
        history,
        seen=Seen(row, raised, raised, is_over=is_over),
        signs=Signs(
            "air",
            0.7 + 0.1 * lower + 0.1 * refilled,
            tuple(evidence),
            (
                f"venting after a refill: a sound pump calms down within {_VENTED_H} hours",
                "valves that move: they change the power over minutes, not from one to the next",
            ),
        ),
    )
    end_ms = calm_ms if is_over else None
    return replace(finding, start_ms=begin_ms, end_ms=end_ms)


def _refilled(history: PumpHistory, first: int) -> bool:
    """Whether the pump was exchanged within the week before, which lets air in."""
    begin = history.hours.start_ms[first]
    return any(
        e.why == "pump exchanged" and 0 <= begin - e.start_ms < 7 * DAY_MS for e in history.epochs
    )


FAULT = Fault(
    name="air",
    title="Air in the pump",
    of="pump",
    group="flow",
    place=1,
    needs="power of the pump at least every two minutes",
    judge=judge_air,
    urgency="soon",
    timing=Timing(),
    possible=(
        "air in pump or circuit, not vented",
        "system pressure too low, so that air is drawn in",
        "dry run beginning: less and less water",
    ),
    first_check="Does it gurgle? Read the pressure gauge; vent the highest radiator.",
    who="Owner: vent radiators, top up to the mark. Heating firm: if it comes back, a leak or "
    "a failed expansion vessel lets air in.",
    caution=HOT_AND_LIVE + " Water from a vent can scald.",
    pace="day",
    effects=("less water moves",),
    told_with="slow",
    grace_days=7.0,
)
