"""Judge of ignition: starts that bring no flame, and the lock-outs that follow them."""

from typing import NamedTuple

import numpy as np

from analysis.finding import Evidence, Finding
from analysis.firedays import Fired, fired
from analysis.levels import BoolArray
from analysis.readings import FloatArray, IntArray, Readings, hold_limit_ms, value_at
from analysis.timebase import DAY_MS, MINUTE_MS, SECOND_MS
from analysis.watch import Situation, Verdict

_BRIEF_S = 150.0
"""Preheat, purges and tries of a start that fails last no longer (common practice, no source)."""
_NO_RISE_K = 0.6
_USUAL_S = 240.0
_HOTTER_K = 15.0
_LOCK_S = 40 * 60.0
_WINDOW_DAYS = 4
_LEAST_FAILED = 3
_SHARE = 0.06


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
    steps: IntArray = np.arange(0, 6) * MINUTE_MS
    before = value_at(readings, start, hold_ms)
    later: FloatArray = value_at(readings, (end[:, None] + steps[None, :]).ravel(), hold_ms)
    with np.errstate(invalid="ignore"):
        warmest = later.reshape(len(end), len(steps)).max(axis=1)
    on_s = (end - start) / SECOND_MS
    # a boiler stopped by its limit starts hot, one that fails to light starts cool
    hot_c = float(np.nanmedian(before)) if np.isfinite(before).any() else np.inf
    cold = (on_s <= _BRIEF_S) & (warmest - before < _NO_RISE_K) & (before < hot_c + _HOTTER_K)
    rest = np.array([c.off_s or 0.0 for c in seen.found.cycles])
    locked = cold & (rest >= _LOCK_S)
    # A boiler whose every firing is brief may warm its water too little to be told from a failure.
    usual = float(np.median(on_s)) if len(on_s) else 0.0
    failed = locked | (cold & (usual >= _USUAL_S) & (on_s <= 0.25 * usual))
    return FailedStarts(failed, locked)


def judge_ignition(situation: Situation) -> Verdict:
    """A boiler whose starts fail again and again."""
    boiler = next(b for b in situation.plant.boilers if b.id == situation.subject)
    seen = fired(situation, boiler)
    found = failed_starts(situation, seen)
    if found is None:
        return Verdict(
            needs="power of the boiler every ten seconds or on change, and its flow temperature"
        )
    counts = found.locked if found.locked.sum() >= _LEAST_FAILED else found.failed
    stretch = _worst_stretch(seen.start_ms, counts)
    if stretch is None:
        return Verdict()
    return Verdict((_finding(situation, seen, found, first=stretch[0], last=stretch[1]),))


def _worst_stretch(start: IntArray, counts: BoolArray) -> tuple[int, int] | None:
    """First and last failed start of the time in which they are frequent."""
    at = np.flatnonzero(counts)
    if len(at) < _LEAST_FAILED:
        return None
    frequent = np.zeros(len(at), bool)
    for k in range(len(at)):
        window = (start >= start[at[k]]) & (start < start[at[k]] + _WINDOW_DAYS * DAY_MS)
        failed = int(counts[window].sum())
        frequent[k] = failed >= _LEAST_FAILED and failed / int(window.sum()) >= _SHARE
    if not frequent.any():
        return None
    return int(at[np.argmax(frequent)]), int(at[-1])


def _finding(
    situation: Situation, seen: Fired, found: FailedStarts, *, first: int, last: int
) -> Finding:
    start = seen.start_ms
    within = slice(first, last + 1)
    is_over = situation.span.end_ms - int(start[last]) > _WINDOW_DAYS * DAY_MS
    locks = int(found.locked[within].sum())
    days = (int(start[last]) - int(start[first])) / DAY_MS
    return Finding(
        subject=situation.subject,
        fault="ignition_trouble",
        start_ms=int(start[first]),
        end_ms=int(start[last]) + DAY_MS if is_over else None,
        urgency="soon",
        confidence=0.9 if locks >= _LEAST_FAILED else 0.7,
        evidence=(
            Evidence(
                seen.found.channel or "",
                f"starts without flame in {days:.1f} days, {locks} followed by a lock-out",
                float(found.failed[within].sum()),
                "hardly any",
                "1",
            ),
        ),
    )
