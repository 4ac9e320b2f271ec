"""Service of a boiler: when it falls due by date, run hours and starts, and what it changed."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from analysis.base.estimate import Estimate, plain
from analysis.base.time import DAY_MS, HOUR_MS, Span, format_rfc3339
from analysis.energy.standing_loss import rank_interval
from analysis.firing.daily_firings import Fired
from analysis.plant.boiler_limits import RULES, BoilerRules
from analysis.readings.readings import FloatArray

SERVICE_KINDS = frozenset({"service", "cleaned", "nozzle"})
"""Kinds of logbook entries after which a boiler counts as serviced."""


@dataclass(frozen=True, slots=True)
class Deed:
    """Something done at the boiler, from the logbook."""

    time_ms: int
    kind: str
    words: str

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {"time": format_rfc3339(self.time_ms), "kind": self.kind, "words": self.words}


@dataclass(frozen=True, slots=True)
class Compared:
    """A figure before and after a service; `says` whether it changed beyond its intervals."""

    what: str
    before: Estimate
    after: Estimate
    says: str

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "what": self.what,
            "before": self.before.document(),
            "after": self.after.document(),
            "says": self.says,
        }


@dataclass(frozen=True, slots=True)
class Service:
    """State of a boiler's service.

    `hours` and `starts` are those seen since the last service, or since the
    readings begin; `covered` the share of that time in which they were seen.
    """

    last: Deed | None
    due_ms: int | None
    is_due: bool | None
    hours: float
    starts: int
    covered: float
    why: str
    effects: tuple[Compared, ...]

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        last = self.last
        return {
            "last": last.document() if last else None,
            "due": None if self.due_ms is None else format_rfc3339(self.due_ms),
            "is_due": self.is_due,
            "hours_since": plain(self.hours, 5),
            "starts_since": self.starts,
            "coverage": plain(self.covered, 3),
            "why": self.why,
            "effects": [e.document() for e in self.effects],
        }


def service_of(
    seen: Fired,
    deeds: Iterable[Deed],
    *,
    span: Span,
    heat_up: FloatArray,
    rules: BoilerRules = RULES,
) -> Service:
    """When a boiler's service falls due, and what the last one changed.

    Parameters
    ----------
    seen : Fired
        Its firings.
    deeds : iterable of Deed
        Logbook entries about the boiler.
    span : Span
        Time of the readings.
    heat_up : ndarray, one a firing
        Warming at each start [K/min], NaN where unknown; see `heat_up_rates`.
    rules : BoilerRules
        Limits.
    """
    done = sorted((d for d in deeds if d.kind in SERVICE_KINDS), key=lambda d: d.time_ms)
    last = done[-1] if done else None
    since = max(last.time_ms, span.start_ms) if last else span.start_ms
    start, end = seen.start_ms, seen.end_ms
    later = start >= since
    hours = float((end - start)[later].sum()) / HOUR_MS
    starts = int(later.sum())
    covered = min(seen.found.coverage, 1.0)
    due_ms = None if last is None else last.time_ms + round(rules.service_months * 30.44 * DAY_MS)
    unseen_days = (span.start_ms - last.time_ms) / DAY_MS if last else 0.0
    seen_since = _Since(hours, starts, unseen_days if unseen_days >= 1.0 else 0.0)
    is_due, why = _due(rules, due_ms, seen_since, now_ms=span.end_ms)
    effects = () if last is None else _effects(seen, last, heat_up)
    return Service(last, due_ms, is_due, hours, starts, covered, why, effects)


class _Since(NamedTuple):
    """What was seen since the last service, and the days after it that were not measured."""

    hours: float
    starts: int
    unseen_days: float

    @property
    def words(self) -> str:
        """Since when, as a person reads it."""
        if not self.unseen_days:
            return "since the last service"
        return f"since the readings begin, {self.unseen_days:.0f} days after the last service"


def _due(
    rules: BoilerRules, due_ms: int | None, since: _Since, *, now_ms: int
) -> tuple[bool | None, str]:
    hours, starts = since.hours, since.starts
    thumb = (
        f"rule of thumb: {rules.service_months:.0f} months, {rules.service_hours:.0f} h "
        f"or {rules.service_starts:.0f} starts"
    )
    reached = [
        words
        for is_over, words in (
            (
                due_ms is not None and now_ms >= due_ms,
                f"{rules.service_months:.0f} months have passed",
            ),
            (hours >= rules.service_hours, f"{hours:.0f} h of firing"),
            (starts >= rules.service_starts, f"{starts} starts"),
        )
        if is_over
    ]
    if reached:
        return True, f"{' and '.join(reached)} {since.words} ({thumb})"
    if due_ms is None:
        return None, f"no service in the logbook; write the last one down ({thumb})"
    told = f"{hours:.0f} h and {starts} starts {since.words}"
    if since.unseen_days:
        return None, f"{told}; hours and starts before are not known ({thumb})"
    return False, f"{told} ({thumb})"


_ASIDE_MS = 60 * DAY_MS


def _effects(seen: Fired, last: Deed, heat_up: FloatArray) -> tuple[Compared, ...]:
    """Figures of the two months before and after the last service."""
    start = seen.start_ms
    before = (start >= last.time_ms - _ASIDE_MS) & (start < last.time_ms) & ~seen.is_charge
    after = (start >= last.time_ms) & (start < last.time_ms + _ASIDE_MS) & ~seen.is_charge
    on_min = (seen.end_ms - start) / 60_000
    days = seen.days
    at = days.start_ms
    rate = days.per_demand_hour
    day_before = (at >= last.time_ms - _ASIDE_MS) & (at < last.time_ms)
    day_after = (at >= last.time_ms) & (at < last.time_ms + _ASIDE_MS)
    return (
        _compare("warming at the start of a firing", "K/min", heat_up[before], heat_up[after]),
        _compare("length of a firing", "min", on_min[before], on_min[after]),
        _compare("starts per hour of heat demand", "1/h", rate[day_before], rate[day_after]),
    )


def _compare(what: str, unit: str, before: FloatArray, after: FloatArray) -> Compared:
    one, two = (median_estimate(v, unit) for v in (before, after))
    if one.value is None or two.value is None:
        return Compared(what, one, two, "cannot be compared")
    apart = (two.low or 0) > (one.high or 0) or (two.high or 0) < (one.low or 0)
    if not apart:
        return Compared(what, one, two, "no change beyond what chance brings")
    word = "more" if two.value > one.value else "less"
    return Compared(what, one, two, f"{word} than before; weather may have part in it")


def median_estimate(values: FloatArray, unit: str) -> Estimate:
    """Median of single figures with its interval by ranks."""
    known = values[np.isfinite(values)]
    if len(known) < 6:
        return Estimate.unknown(unit, f"only {len(known)} values; 6 are needed")
    low, high = rank_interval(known)
    return Estimate(float(np.median(known)), low, high, unit, f"median of {len(known)}")
