"""Judge of short cycling: more and shorter firings per hour of heat demand than the boiler's own.

What is short by the rules of thumb alone is told in the boiler's report; many sound boilers are.
A finding needs more: that the boiler departs from its own habit at like weather, and stays so.
"""

from itertools import pairwise
from typing import NamedTuple

import numpy as np

from analysis.alarms.states import Timing
from analysis.base.time import DAY_MS
from analysis.faults.fault import SEALED, Fault
from analysis.firing.daily_firings import (
    REMEMBERED_DAYS,
    Fired,
    FireDays,
    fired,
    like_days,
)
from analysis.firing.heat_per_cycle import strokes_s
from analysis.plant.finding import Evidence, Finding
from analysis.readings.readings import FloatArray
from analysis.readings.situation import Situation, Verdict

_BEFORE_DAYS, _AFTER_DAYS = 7, 3
"""A habit takes a week to know; two days of odd weather are no departure from it."""
_MORE = 1.5
"""So many times as many starts per hour of demand as on like days are a departure."""
_SURE = 3.0
_EXTREME_PER_HOUR, _EXTREME_S = 12.0, 120.0
"""Five minutes from start to start for days on end: short by every rule of thumb there is."""


def judge_short_cycling(situation: Situation) -> Verdict:
    """A boiler that fires more often and more briefly than it used to, at like weather."""
    boiler = next(b for b in situation.plant.boilers if b.id == situation.subject)
    seen = fired(situation, boiler)
    if seen.found.method is None or seen.found.tells == "running":
        return Verdict(needs="power, a fuel counter or the flow temperature of the boiler")
    days = seen.days
    change = _stroke_change(seen) or _change(days) or _extreme(days)
    if change is not None and boiler.condensing and not _at_like_share(days, change):
        change = None
    if change is None:
        if np.isfinite(days.per_demand_hour).sum() < _BEFORE_DAYS + _AFTER_DAYS:
            return Verdict(needs="a week of heating, to know the boiler's own habit")
        return Verdict()
    return Verdict((_finding(situation, seen, change),))


class _Change(NamedTuple):
    """First and last day of a change, starts per demand hour about it, how sure and how large.

    `stroke_s` are the seconds of full flame kept in the water each cycle, before and after, where
    the change was seen in them.
    """

    first: int
    last: int
    before: float
    after: float
    sureness: float
    gain: float
    stroke_s: tuple[float, float] | None = None


# by what a cycle keeps


_LEAST_CYCLES = 12
_STROKE_DAYS = 2
_STROKE_RATIO = 0.75
_STROKE_SPREAD = 5.0
_DRASTIC_STARTS = 1.15
_LASTING = 0.75


def _stroke_change(seen: Fired) -> _Change | None:
    """The day from which on each cycle keeps much less: a narrower band, or less water moved.

    As the weather does not move it, two days before and two after are enough where it was steady.
    """
    day = np.searchsorted(seen.days.start_ms, seen.start_ms, side="right") - 1
    stroke = strokes_s(seen)
    count = len(seen.days)
    known = np.isfinite(stroke)
    often = np.bincount(day[known], minlength=count)[:count] >= _LEAST_CYCLES
    usable = np.flatnonzero(often)
    middle = np.array([np.median(stroke[known & (day == k)]) for k in usable.tolist()])
    found = [
        (k, _stroke_gain(np.log(middle[:k]), np.log(middle[k:])))
        for k in range(1, len(usable) - _STROKE_DAYS + 1)
    ]
    told = [(k, gain) for k, gain in found if gain is not None]
    if not told:
        return None
    k, gain = max(told, key=lambda one: one[1])
    rate = seen.days.per_demand_hour
    before, after = (float(np.nanmedian(rate[part])) for part in (usable[:k], usable[k:]))
    if not after > _DRASTIC_STARTS * before:
        return None
    strokes = float(np.median(middle[:k])), float(np.median(middle[k:]))
    return _Change(int(usable[k]), int(usable[-1]), before, after, 6.0, gain, strokes)


def _stroke_gain(before: FloatArray, after: FloatArray) -> float | None:
    """How far strokes fell, summed over the days after; None where that is no lasting step."""
    usual = float(np.median(before))
    spread = 1.4826 * float(np.median(np.abs(before - usual))) if len(before) > 2 else 0.05
    limit = max(-np.log(_STROKE_RATIO), _STROKE_SPREAD * spread)
    fallen = usual - after
    lasting = np.mean(fallen > 0.5 * limit), np.mean(before > usual - 0.5 * limit)
    if np.median(fallen) < limit or min(lasting) < _LASTING:
        return None
    return float((fallen - 0.5 * limit).sum())


# by starts at like weather


def _change(days: FireDays) -> _Change | None:
    """The day from which on starts per demand hour are up against like days before it."""
    rate = days.per_demand_hour
    usable = np.flatnonzero(np.isfinite(rate) & (days.starts >= 4))[-REMEMBERED_DAYS:]
    best: _Change | None = None
    for k in range(_BEFORE_DAYS, len(usable) - _AFTER_DAYS + 1):
        before, after = usable[:k], usable[k:]
        change = _compared(days, rate, before, after)
        if change is not None and (best is None or change.gain > best.gain):
            best = change
    return best


def _compared(
    days: FireDays, rate: FloatArray, before: np.ndarray, after: np.ndarray
) -> _Change | None:
    log = np.log(np.maximum(rate, 1e-3))
    usual = like_days(days, log, after, before)
    own = log[before] - like_days(days, log, before, before, leave_out=True)
    up = log[after] - usual
    known = np.isfinite(up)
    if known.sum() < _AFTER_DAYS or np.isfinite(own).sum() < _BEFORE_DAYS - 1:
        return None
    up, spread = up[known], max(float(np.nanstd(own)), 0.1)
    middle = float(np.median(up))
    # the mean, not the median: where a lock rules most firings, it is the long ones that vanish
    mean_h = days.on_h / np.maximum(days.starts, 1.0)
    shorter = np.median(mean_h[after]) / np.median(mean_h[before])
    lasting = np.mean(up > np.log(1.25))
    if middle < np.log(_MORE) or lasting < 0.8 or shorter > 0.9:
        return None
    sureness = (middle - abs(float(np.nanmedian(own)))) / spread * np.sqrt(min(len(up), 9) / 2)
    if sureness < _SURE:
        return None
    rates = float(np.median(rate[before])), float(np.median(rate[after]))
    gain = float(up.mean()) * float(np.sqrt(len(before) * len(up) / (len(before) + len(up))))
    return _Change(int(after[0]), int(after[-1]), *rates, float(sureness), gain)


_LIKE_SHARE, _LEAST_LIKE = 0.15, 2


def _at_like_share(days: FireDays, change: _Change) -> bool:
    """Whether a modulating burner keeps less each cycle than on days of a like share of firing.

    In weeks of absence or with valves shut it falls below its least flame and fires and rests where
    it ran through before, at the same weather: on such days, too, it always did so. Where it never
    fired as small a share of a call before, only what single cycles keep can tell.
    """
    if not np.isfinite(change.before):
        return True
    with np.errstate(invalid="ignore", divide="ignore"):
        share = days.on_h / days.demand_h
        kept = np.log(days.on_h * (1.0 - share) / days.starts)
    known = np.isfinite(kept) & (days.demand_h >= 2.0) & (days.starts >= 4)
    day = np.arange(len(days))
    before = np.flatnonzero(known & (day < change.first))
    after = np.flatnonzero(known & (day >= change.first) & (day <= change.last))
    apart = np.abs(share[after][:, None] - share[before][None, :])
    fallen = []
    for k, row in zip(after, apart, strict=True):
        like = before[row <= _LIKE_SHARE]
        if len(like) >= _LEAST_LIKE:
            fallen.append(kept[k] - np.median(kept[like]))
    if len(fallen) < _AFTER_DAYS:
        return change.stroke_s is not None
    return float(np.median(fallen)) < 0.0


def _extreme(days: FireDays) -> _Change | None:
    """Days on end with starts every five minutes and firings of less than two."""
    rate = days.per_demand_hour
    bad = (rate >= _EXTREME_PER_HOUR) & (days.median_on_s < _EXTREME_S)
    at = np.flatnonzero(bad)
    known = np.flatnonzero(np.isfinite(rate))
    if len(at) < 3 or not bad[known[-3:]].all():
        return None
    return _Change(int(at[0]), int(at[-1]), float("nan"), float(np.median(rate[at])), _SURE, 0.0)


def _finding(situation: Situation, seen: Fired, change: _Change) -> Finding:
    days = seen.days
    limits = situation.plant.rules.cycling(seen.boiler.fuel)
    after = slice(change.first, change.last + 1)
    ends = days.start_ms[change.last] + DAY_MS
    lasts = ends + DAY_MS >= situation.span.end_ms or not len(days.start_ms[change.last + 1 :])
    usual = f"about {change.before:.1f} at like weather" if change.before == change.before else ""
    thumb = f"rule of thumb: at most {limits.most_per_hour:.0f}"
    channel = seen.found.channel or ""
    kept = change.stroke_s
    stroke = (
        ()
        if kept is None
        else (
            Evidence(
                channel,
                "full flame kept in the water each cycle, whatever the weather",
                kept[1],
                f"about {kept[0]:.0f} as before",
                "s",
            ),
        )
    )
    return Finding(
        subject=situation.subject,
        fault="short_cycling",
        start_ms=max(int(days.start_ms[change.first]), situation.span.start_ms),
        end_ms=None if lasts else int(ends),
        urgency="note",
        confidence=min(0.6 + 0.05 * change.sureness, 0.95),
        evidence=(
            Evidence(
                channel,
                "starts per hour of heat demand",
                change.after,
                f"{usual} ({thumb})" if usual else thumb,
                "1/h",
            ),
            Evidence(
                channel,
                "median firing",
                float(np.nanmedian(days.median_on_s[after])) / 60,
                f"rule of thumb: at least {limits.shortest_median_s / 60:.0f}",
                "min",
            ),
            *stroke,
        ),
        possible=causes(situation, seen),
    )


def causes(situation: Situation, seen: Fired) -> tuple[str, ...]:
    """Likely causes of short cycling in the order of what the data show."""
    swing, spread = swings_k(situation, seen)
    scored = [
        (2.0 if swing < 6.0 else 0.8, "the thermostat's band is too narrow, or a lock is missing"),
        (1.5 if spread > 20.0 else 0.4, "too little flow: pump too slow, or valves shut"),
        (1.4 if spread < 4.0 else 0.3, "pump too strong: flow and return hardly part"),
        (1.0, "the boiler is larger than the load; a lower flow temperature or range rating helps"),
        (0.6, "a sensor that is loose or too near the burner"),
        (0.5, "scale or sludge on the exchanger"),
    ]
    scored.sort(key=lambda one: -one[0])
    return tuple(words for _, words in scored)


def swings_k(situation: Situation, seen: Fired) -> tuple[float, float]:
    """Median swing of the flow temperature over late cycles, and flow minus return in firing."""
    plant, record = situation.plant, situation.record
    late = seen.found.cycles[-200:]
    flow = plant.first(seen.boiler.id, "temperature", "flow")
    back = plant.first(seen.boiler.id, "temperature", "return")
    swing = spread = float("nan")
    if flow and flow.id in record and len(late) > 3:
        readings = record[flow.id]
        edges = np.searchsorted(readings.time_ms, [c.start_ms for c in late])
        parts = [readings.value[a:b] for a, b in pairwise(edges) if b > a + 1]
        if parts:
            swing = float(np.median([np.nanmax(p) - np.nanmin(p) for p in parts]))
        if back and back.id in record:
            ends = np.array([c.end_ms for c in late])
            other = record[back.id]
            i = np.clip(np.searchsorted(readings.time_ms, ends) - 1, 0, len(readings) - 1)
            j = np.clip(np.searchsorted(other.time_ms, ends) - 1, 0, len(other) - 1)
            if len(readings) and len(other):
                spread = float(np.nanmedian(readings.value[i] - other.value[j]))
    return swing, spread


FAULT = Fault(
    name="short_cycling",
    title="Burner starts too often",
    of="boiler",
    group="boiler",
    place=1,
    needs="power, a fuel counter or the flow temperature of the boiler over a week of heating",
    judge=judge_short_cycling,
    urgency="note",
    timing=Timing(),
    possible=("boiler larger than the load", "thermostat's band too narrow"),
    first_check="Was the flow temperature, the room thermostat or the pump's setting changed? "
    "Are most radiator valves shut?",
    who="Owner: user settings, valves, pump setting. Heating firm: hysteresis, range rating.",
    caution=SEALED,
    pace="day",
    effects=("burner fires briefly",),
    follows=("less water moves",),
)
