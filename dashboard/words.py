"""Figures as a person reads them: ages, moments, estimates, values with units."""

import math
from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from analysis.timebase import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, from_ms

NOTHING = "\N{EN DASH}"
"""Stands where there is nothing to show."""

_UNITS = {
    "Cel": "°C", "kW.h": "kWh", "kW.h/a": "kWh a year", "1": "", "m3": "m³", "K": "K", "a": "years",
}  # fmt: skip
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


def unit(code: str) -> str:
    """A UCUM code as it is written on paper."""
    if code in _UNITS:
        return _UNITS[code]
    if len(code) == 5 and code.endswith("/a") and code[:3].isupper():
        return f"{code[:3]} a year"
    return code.replace(".", "")


def figure(value: float | None, digits: int = 3) -> str:
    """A number to so many significant digits, without exponent; a dash where unknown."""
    if value is None or not math.isfinite(value):
        return NOTHING
    if value == 0:
        return "0"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:,.{min(places, 6)}f}".replace(",", " ")
    return text.rstrip("0").rstrip(".") if "." in text else text


def amount(value: float | None, code: str, digits: int = 3) -> str:
    """A number with its unit."""
    return f"{figure(value, digits)} {unit(code)}".strip()


def estimate(document: Mapping[str, Any] | None, digits: int = 2) -> str:
    """An estimate's document in words: ``160 kWh a year (150 to 180)``, or why there is none."""
    if not document or document.get("value") is None:
        reason = (document or {}).get("reason") or "not known yet"
        return f"unknown: {reason}"
    low, high = (figure(document[k], digits) for k in ("low", "high"))
    return f"{amount(document['value'], document['unit'], digits)} ({low} to {high})"


def count(number: int, noun: str) -> str:
    """A number with its noun, in the plural where it must be."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def named(identifier: str) -> str:
    """A part's id as a title: ``heating`` becomes ``Heating``."""
    words = identifier.replace("_", " ").replace("-", " ")
    return words[:1].upper() + words[1:]
