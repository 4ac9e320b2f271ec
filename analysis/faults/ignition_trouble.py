"""Judge of ignition: starts that bring no flame, and the lock-outs that follow them.

A brief start and a long rest are no sign by themselves: so ends the day's heating, so rests a
boiler whose valves are shut, and so stops one whose limiter trips because its pump stands. A
lock-out shows in water that a running pump goes on carrying away, far below where the burner used
to start.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from scipy.stats import binom

from analysis.alarms.states import Timing
from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS
from analysis.faults.dead_head import judge_dead_head
from analysis.faults.dry_run import judge_dry_run
from analysis.faults.fault import SEALED, Fault
from analysis.faults.stall import judge_stall
from analysis.firing.daily_firings import Fired, fired
from analysis.plant.finding import Evidence, Finding
from analysis.readings.power_levels import pump_state
from analysis.readings.readings import FloatArray, IntArray, Readings, hold_limit_ms, value_at
from analysis.readings.situation import Situation, Verdict
from analysis.readings.two_levels import BoolArray

_BRIEF_S = 150.0
"""Preheat, purges and tries of a start that fails last no longer (common practice, no source)."""
_NO_RISE_K = 0.6
_USUAL_S = 240.0
_HOTTER_K = 15.0
_LOCK_S = 40 * 60.0
_DRAWN_K = 3.0
"""So far below its start the water goes when heat is called for and no flame follows."""
_DRAWN_MS: tuple[int, ...] = (10 * MINUTE_MS, 20 * MINUTE_MS)
_SAME_MINUTES = 10
_NO_CHANCE = 0.05
_TOLD_LATE_MS = 12 * HOUR_MS


class _Often(NamedTuple):
    """How many lock-outs within so many days are trouble, and as what share of all starts."""

    least: int
    days: int
    share: float


_OFTEN = {"gas": _Often(2, 7, 0.0), "lpg": _Often(2, 7, 0.0), "oil": _Often(3, 4, 0.06)}
"""A gas burner tries three to five times before it locks out, so each lock-out is many failures; an
oil burner has one try of ten seconds, and a single miss is no trouble yet (common practice)."""


_SPARK_S, _PURGE_S = 30.0, 30.0
"""A try that lit nothing is a spark of some seconds and then a purge; no thermostat calls again so
soon, as water cools more slowly and locks are longer (common practice, no source)."""
_AGAIN = _Often(10, 14, 0.01)
"""A sound gas burner lights at its second try once in some hundred starts at most (common practice,
no source); told from ten in a fortnight on, as readings ten seconds apart see one try in four."""


class FailedStarts(NamedTuple):
    """Which firings were starts without flame, and which of them were followed by a lock-out."""

    failed: BoolArray
    locked: BoolArray


def failed_starts(situation: Situation, seen: Fired) -> FailedStarts | None:
    """Starts that brought no flame: brief electric runs after which the water did not warm.

    None where electric power or flow temperature is missing.
    """
    channel = situation.plant.first(seen.boiler.id, "temperature", "flow")
    readings = situation.record.get(channel.id, Readings.empty()) if channel else Readings.empty()
    if channel is None or not len(readings) or seen.found.method != "power":
        return None
    start, end = seen.start_ms, seen.end_ms
    hold_ms = hold_limit_ms(readings, channel)
    before = value_at(readings, start, hold_ms)
    parts = (end - start)[:, None] * np.array([0.5, 0.75, 1.0]) + start[:, None]
    steps = np.hstack((parts.astype(np.int64), end[:, None] + np.arange(1, 6) * MINUTE_MS))
    later: FloatArray = value_at(readings, steps.ravel(), hold_ms)
    with np.errstate(invalid="ignore"):
        warmest = later.reshape(steps.shape).max(axis=1)
    on_s = (end - start) / SECOND_MS
    # a boiler stopped by its limit starts hot, one that fails to light starts cool
    hot_c = float(np.nanmedian(before)) if np.isfinite(before).any() else np.inf
    cold = (on_s <= _BRIEF_S) & (warmest - before < _NO_RISE_K) & (before < hot_c + _HOTTER_K)
    rest = np.array([c.off_s or 0.0 for c in seen.found.cycles])
    drawn = _is_drawn(situation, readings, end, before=before, hold_ms=hold_ms)
    locked = cold & (rest >= _LOCK_S) & drawn
    # A boiler whose every firing is brief may warm its water too little to be told from a failure.
    usual = float(np.median(on_s)) if len(on_s) else 0.0
    failed = locked | (cold & (usual >= _USUAL_S) & (on_s <= 0.25 * usual) & drawn)
    return FailedStarts(failed, locked)


def _is_drawn(
    situation: Situation, flow: Readings, end: IntArray, *, before: FloatArray, hold_ms: int
) -> BoolArray:
    """Whether heat went on being drawn after each end: the water falls, and a pump still runs."""
    with np.errstate(invalid="ignore"):
        falls = [before - value_at(flow, end + late, hold_ms) >= _DRAWN_K for late in _DRAWN_MS]
    drawn = falls[-1]
    running = _pumps_run(situation, end)
    return np.asarray(drawn if running is None else drawn & running)


def _pumps_run(situation: Situation, end: IntArray) -> BoolArray | None:
    """Whether any pump of heating or store still runs some minutes after; None if none is seen."""
    found = None
    for pump in situation.plant.pumps:
        channel = situation.plant.first(pump.id, "power")
        readings = situation.record.get(channel.id, Readings.empty()) if channel else None
        if pump.duty == "recirculation" or channel is None or readings is None or not len(readings):
            continue
        state = pump_state(situation.plant, pump, situation.record, situation.span)
        if state is None or state.usual_w is None:
            continue
        hold_ms = hold_limit_ms(readings, channel)
        with np.errstate(invalid="ignore"):
            late_w = [value_at(readings, end + m, hold_ms) for m in _DRAWN_MS]
            on = np.all(np.array(late_w) > state.above_w, axis=0)
        found = on if found is None else found | on
    return found


def judge_ignition(situation: Situation) -> Verdict:
    """A boiler whose starts fail again and again."""
    boiler = next(b for b in situation.plant.boilers if b.id == situation.subject)
    seen = fired(situation, boiler)
    again = tried_again(seen)
    stretch = _worst_stretch(seen.start_ms, again, _AGAIN)
    if stretch is not None:
        return Verdict((_again_finding(situation, seen, again, first=stretch[0], last=stretch[1]),))
    found = failed_starts(situation, seen)
    if found is None:
        return Verdict(
            needs="power of the boiler every ten seconds or on change, and its flow temperature"
        )
    often = _OFTEN[boiler.fuel]
    locked = found.locked & ~_by_the_clock(seen.start_ms, found.locked)
    if _worst_stretch(seen.start_ms, locked, often) is not None:
        locked &= ~_under_a_pumps_fault(situation, seen.start_ms)
    stretch = _worst_stretch(seen.start_ms, locked, often)
    if stretch is None:
        return Verdict()
    return Verdict((_finding(situation, seen, found, first=stretch[0], last=stretch[1]),))


def tried_again(seen: Fired) -> BoolArray:
    """Which electric runs were a try that lit nothing, followed at once by the next one."""
    cycles = seen.found.cycles
    if seen.found.method != "power" or _OFTEN[seen.boiler.fuel].share > 0.0:
        return np.zeros(len(cycles), bool)
    on_s = (seen.end_ms - seen.start_ms) / SECOND_MS
    off_s = np.array([c.off_s or np.inf for c in cycles], np.float64)
    return np.asarray((on_s <= _SPARK_S) & (off_s <= _PURGE_S))


def _under_a_pumps_fault(situation: Situation, start_ms: IntArray) -> BoolArray:
    """Starts while a pump stands, runs dry or against a shut valve: the limiter explains them.

    A fault is told some time after it set in, and the house is out of balance for a day after it.
    """
    found = np.zeros(len(start_ms), bool)
    for pump in situation.plant.pumps:
        own = replace(situation, subject=pump.id)
        for judge in (judge_stall, judge_dry_run, judge_dead_head):
            for one in judge(own).findings:
                last_ms = situation.span.end_ms if one.end_ms is None else one.end_ms
                found |= (start_ms > one.start_ms - _TOLD_LATE_MS) & (start_ms < last_ms + DAY_MS)
    return found


def _by_the_clock(start: IntArray, locked: BoolArray) -> BoolArray:
    """Lock-outs that share their time of day with more others than chance has it: a set-back.

    Of sixty lock-outs hardly one is without a neighbour on the clock, of three a pair is no chance.
    """
    minute = start // MINUTE_MS % 1440
    apart = np.abs(minute[:, None] - minute[locked][None, :])
    apart = np.minimum(apart, 1440 - apart)
    others = (apart <= _SAME_MINUTES).sum(axis=1) - 1
    most = max(int(locked.sum()) - 1, 0)
    by_chance = binom.sf(others - 1, most, (2 * _SAME_MINUTES + 1) / 1440.0)
    return np.asarray((others > 0) & (by_chance < _NO_CHANCE)) & locked


def _worst_stretch(start: IntArray, counts: BoolArray, often: _Often) -> tuple[int, int] | None:
    """First and last lock-out of the time in which they are frequent."""
    at = np.flatnonzero(counts)
    frequent = np.zeros(len(at), bool)
    for k in range(len(at)):
        window = (start >= start[at[k]]) & (start < start[at[k]] + often.days * DAY_MS)
        locked = int(counts[window].sum())
        frequent[k] = locked >= often.least and locked >= often.share * int(window.sum())
    if not frequent.any():
        return None
    return int(at[np.argmax(frequent)]), int(at[-1])


def _finding(
    situation: Situation, seen: Fired, found: FailedStarts, *, first: int, last: int
) -> Finding:
    within, often = slice(first, last + 1), _OFTEN[seen.boiler.fuel]
    locks, failed = (int(one[within].sum()) for one in (found.locked, found.failed))
    words = f"starts without flame, {locks} followed by a lock-out,"
    told = _Told(words, failed, 0.9 if locks > often.least else 0.7, often.days)
    return _trouble(situation, seen, told, first=first, last=last)


def _again_finding(
    situation: Situation, seen: Fired, again: BoolArray, *, first: int, last: int
) -> Finding:
    tries = int(again[first : last + 1].sum())
    told = _Told("tries without flame, each followed by another,", tries, 0.7, _AGAIN.days)
    return _trouble(situation, seen, told, first=first, last=last)


class _Told(NamedTuple):
    """What is counted, how sure that is, and after how many days without it is over."""

    words: str
    number: int
    confidence: float
    calm_days: float


def _trouble(situation: Situation, seen: Fired, told: _Told, *, first: int, last: int) -> Finding:
    """Trouble from one start to another."""
    start_ms, last_ms = int(seen.start_ms[first]), int(seen.start_ms[last])
    words = f"{told.words} in {(last_ms - start_ms) / DAY_MS:.1f} days"
    is_over = situation.span.end_ms - last_ms > told.calm_days * DAY_MS
    return Finding(
        subject=situation.subject,
        fault="ignition_trouble",
        start_ms=start_ms,
        end_ms=last_ms + DAY_MS if is_over else None,
        urgency="soon",
        confidence=told.confidence,
        evidence=(
            Evidence(seen.found.channel or "", words, float(told.number), "hardly any", "1"),
        ),
    )


FAULT = Fault(
    name="ignition_trouble",
    title="Burner fails to light",
    of="boiler",
    group="boiler",
    place=2,
    needs="power of the boiler every ten seconds or on change, and its flow temperature",
    judge=judge_ignition,
    urgency="soon",
    timing=Timing(),
    possible=(
        "electrodes, flame sensor or nozzle dirty or worn",
        "fuel short: tank, valve, filter or gas pressure",
        "preheater or ignition transformer failing",
        "air in the oil line",
    ),
    first_check="Read the boiler's display or lamp. Is there oil in the tank, is the gas valve "
    "open, do other gas appliances burn?",
    who="Owner: look, and reset at most once. Heating firm: burner, nozzle, electrodes, gas.",
    caution="Reset at most once, then call: unburnt fuel gathers with every try. " + SEALED,
    pace="day",
    effects=("boiler makes no heat", "boiler locks out"),
    follows=("burner fires briefly",),
)
