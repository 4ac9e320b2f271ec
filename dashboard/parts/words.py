"""Figures as a person reads them: ages, moments, estimates, values with units."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from analysis.base.formatting import NOTHING, amount, evidence, figure, unit, within
from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, from_ms

__all__ = [
    "NOTHING", "age", "ago", "amount", "count", "estimate", "evidence", "figure",
    "likelihood", "local_date", "moment", "named", "unit", "years",
]  # fmt: skip
"""Those of `analysis.base.formatting` beside our own, as pages use both alike."""

_AGES = ((DAY_MS, "day"), (HOUR_MS, "h"), (MINUTE_MS, "min"), (SECOND_MS, "s"))


def age(age_ms: float) -> str:
    """Length of time in its largest fitting unit: ``14 min``, ``3 days``."""
    for size, name in _AGES:
        if age_ms >= 2 * size or (age_ms >= size and name != "day"):
            n = int(age_ms // size)
            return f"{n} {name}{'s' if name == 'day' else ''}"
    return "0 s"


def ago(time_ms: float | None, now_ms: int) -> str:
    """How long ago something was: ``14 min ago``."""
    if time_ms is None:
        return "never"
    return "just now" if now_ms - time_ms < SECOND_MS else f"{age(now_ms - time_ms)} ago"


def moment(time_ms: float, timezone: str, now_ms: int) -> str:
    """A moment in the plant's zone: the clock today, else also the day, else also the year."""
    zone = ZoneInfo(timezone)
    then, now = (from_ms(int(t)).astimezone(zone) for t in (time_ms, now_ms))
    if then.date() == now.date():
        return f"{then:%H:%M}"
    if abs(then - now) < timedelta(days=300):
        return f"{then:%a} {then.day} {then:%b %H:%M}"
    return f"{then.day} {then:%b %Y %H:%M}"


def local_date(time_ms: float, timezone: str) -> date:
    """The plant's date at a moment."""
    return from_ms(int(time_ms)).astimezone(ZoneInfo(timezone)).date()


def estimate(document: Mapping[str, Any] | None) -> str:
    """An estimate's document in words: ``160 kWh a year (150 to 180)``, or why there is none."""
    if not document or document.get("value") is None:
        reason = (document or {}).get("reason") or "not known yet"
        return f"unknown: {reason}"
    return within(*(document[k] for k in ("value", "low", "high", "unit")))


_LIKELIHOODS = ((0.9, "very likely"), (0.66, "likely"))
"""Least probability of each word: Mastrandrea and others, Guidance Note for Lead Authors of the
IPCC Fifth Assessment Report, 2010, table 1."""


def likelihood(confidence: float | None) -> str:
    """How sure a finding is, as a word: no percentage that no calibration stands behind."""
    return next((word for least, word in _LIKELIHOODS if (confidence or 0.0) >= least), "possible")


def years(low: float | None, high: float | None) -> str:
    """When something pays back: ``in 1.7 to 3.5 years``; None is never."""
    if low is None:
        return "never"
    if high is None:
        return f"in {low:.1f} years at the earliest, or never"
    return f"in {low:.1f} to {high:.1f} years"


def count(number: int, noun: str) -> str:
    """A number with its noun, in the plural where it must be."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def named(identifier: str) -> str:
    """A part's id as a title: ``heating`` becomes ``Heating``."""
    words = identifier.replace("_", " ").replace("-", " ")
    return words[:1].upper() + words[1:]
