"""Figures of burner cycles: lengths, duty, starts per heat-demand hour, and short cycling."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.base.estimate import plain
from analysis.base.time import HOUR_MS, MINUTE_MS, SECOND_MS, Span, format_rfc3339, local_day_edges
from analysis.plant.boiler_limits import RULES, BoilerRules
from analysis.plant.plant import Boiler
from analysis.readings.readings import IntArray


@dataclass(frozen=True, slots=True)
class Cycle:
    """One firing and the rest that follows it.

    `off_s` is None where the rest's end was not seen; `is_complete` is False
    where a gap hides an edge of the firing, `begins` where it hides its start.
    """

    start_ms: int
    end_ms: int
    off_s: float | None
    is_complete: bool
    begins: bool = True

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "start": format_rfc3339(self.start_ms),
            "end": format_rfc3339(self.end_ms),
            "on_s": plain(self.on_s),
            "off_s": plain(self.off_s),
            "complete": self.is_complete,
        }

    @property
    def on_s(self) -> float:
        """Length of the firing [s]."""
        return (self.end_ms - self.start_ms) / SECOND_MS


SHORT_CYCLING = "short_cycling"
"""Key of the public JSON form: what the rule of thumb says, which is not yet a finding."""


@dataclass(frozen=True, slots=True)
class ShortCycling:
    """Whether a boiler fires too often and too briefly; None where it cannot be said."""

    is_short: bool | None
    why: str


@dataclass(frozen=True, slots=True)
class CycleSummary:
    """Figures of the complete cycles in the time they were seen in; None where none can be told.

    `incomplete` counts the firings that touch a gap: neither they nor the time about them is in any
    other figure.
    """

    starts: int | None
    starts_per_day: float | None
    on_hours: float
    median_on_s: float | None
    median_off_s: float | None
    duty: float | None
    short_cycling: ShortCycling
    incomplete: int = 0

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "starts": self.starts,
            "incomplete": self.incomplete,
            "starts_per_day": plain(self.starts_per_day, 4),
            "on_hours": plain(self.on_hours),
            "median_on_s": plain(self.median_on_s),
            "median_off_s": plain(self.median_off_s),
            "duty": plain(self.duty, 4),
            SHORT_CYCLING: {
                "is": self.short_cycling.is_short,
                "why": self.short_cycling.why,
            },
        }


def no_summary(why: str) -> CycleSummary:
    """Figures of a boiler whose firing nobody sees."""
    return CycleSummary(0, None, 0.0, None, None, None, ShortCycling(None, why))


def summarise_running(on_hours: float, covered_h: float, why: str) -> CycleSummary:
    """Figures of a boiler of which only hours of running are seen, no single firings."""
    duty = on_hours / covered_h if covered_h > 0 else None
    return CycleSummary(None, None, on_hours, None, None, duty, ShortCycling(None, why))


def summarise_cycles(
    cycles: tuple[Cycle, ...],
    boiler: Boiler,
    covered_h: float,
    *,
    timezone: str,
    rules: BoilerRules = RULES,
) -> CycleSummary:
    """Figures of the complete cycles.

    A firing that touches a gap is left out with the rest that follows it, and so is their time:
    starts and hours are told of what is left, and rates come out the same.

    Parameters
    ----------
    cycles : tuple of Cycle
        In order.
    boiler : Boiler
        Its fuel decides what is short.
    covered_h : float
        Hours with readings.
    timezone : str
        Zone of the local day.
    rules : BoilerRules
        Rules of thumb.
    """
    complete = [c for c in cycles if c.is_complete]
    seen_h = covered_h - lost_hours(cycles)
    on_hours = sum(c.on_s for c in complete) / 3600
    on_s = [c.on_s for c in complete]
    off_s = [c.off_s for c in complete if c.off_s is not None]
    return CycleSummary(
        starts=len(complete),
        starts_per_day=len(complete) / seen_h * 24 if seen_h > 0 else None,
        on_hours=on_hours,
        median_on_s=float(np.median(on_s)) if on_s else None,
        median_off_s=float(np.median(off_s)) if off_s else None,
        duty=on_hours / seen_h if seen_h > 0 else None,
        short_cycling=judge_cycling(cycles, boiler, timezone=timezone, rules=rules),
        incomplete=len(cycles) - len(complete),
    )


def lost_hours(cycles: tuple[Cycle, ...]) -> float:
    """Hours seen of firings that touch a gap, and of the rests after them."""
    return sum(c.on_s + (c.off_s or 0.0) for c in cycles if not c.is_complete) / 3600


DEMAND_PAUSE_MS = 45 * MINUTE_MS
"""A rest longer than this is no call for heat: the longest that anti-cycling locks and floor
heating leave between two firings of one call is about half an hour (common practice, no source)."""


def demand_hours(start_ms: IntArray, end_ms: IntArray) -> float:
    """Hours over which heat was called for: from firing to firing while rests are short.

    Parameters
    ----------
    start_ms, end_ms : ndarray of int64, shape (n,)
        Firings in order [ms].
    """
    if not len(start_ms):
        return 0.0
    rest = start_ms[1:] - end_ms[:-1]
    firing = float((end_ms - start_ms).sum())
    return (firing + float(rest[rest <= DEMAND_PAUSE_MS].sum())) / HOUR_MS


def judge_cycling(
    cycles: tuple[Cycle, ...], boiler: Boiler, *, timezone: str, rules: BoilerRules = RULES
) -> ShortCycling:
    """Judge by rules of thumb whether a boiler cycles too often.

    Either the median firing is too short and there are too many starts per
    hour of heat demand, or several days have too many starts.
    """
    limits = rules.cycling(boiler.fuel)
    complete = [c for c in cycles if c.is_complete]
    if len(complete) < 5:
        return ShortCycling(None, f"only {len(complete)} complete firings; at least 5 are needed")
    starts = np.array([c.start_ms for c in cycles])
    ends = np.array([c.end_ms for c in cycles])
    median_s = float(np.median([c.on_s for c in complete]))
    per_hour = len(starts) / max(demand_hours(starts, ends), 1.0)
    edges = local_day_edges(Span(int(starts[0]), int(starts[-1]) + 1), timezone)
    busy_days = int((np.histogram(starts, edges)[0] > limits.most_per_day).sum())
    said = (
        f"median firing {median_s / 60:.1f} min, {per_hour:.1f} starts per hour of heat demand, "
        f"{busy_days} days with more than {limits.most_per_day:.0f} starts "
        f"(rule of thumb: under {limits.shortest_median_s / 60:.0f} min and over "
        f"{limits.most_per_hour:.0f} an hour, or {limits.days} such days)"
    )
    brief = median_s < limits.shortest_median_s and per_hour > limits.most_per_hour
    return ShortCycling(bool(brief or busy_days >= limits.days), said)
