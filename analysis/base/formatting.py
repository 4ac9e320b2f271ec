"""Figures and units as they are written on paper, for notices, commands, pages and reports."""

import math
from typing import Any

NOTHING = "\N{EN DASH}"
"""Stands where there is nothing to show."""

_GROUP = "\N{NO-BREAK SPACE}"
"""Parts thousands, so that a figure never breaks over two lines."""

_UNITS = {
    "Cel": "°C", "kW.h": "kWh", "kW.h/a": "kWh a year", "1": "", "m3": "m³", "K": "K", "a": "years",
}  # fmt: skip


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
    text = f"{value:,.{min(places, 6)}f}".replace(",", _GROUP)
    return text.rstrip("0").rstrip(".") if "." in text else text


def amount(value: float | None, code: str, digits: int = 3) -> str:
    """A number with its unit."""
    return f"{figure(value, digits)} {unit(code)}".strip()


def within(value: float, low: float, high: float, code: str) -> str:
    """A figure with its interval, to two digits of the interval's width (GUM 7.2.6).

    ``163 kWh (151 to 178)``; ``36 000 (6 000 to 67 000)``; ``28.51 W (28.10 to 28.93)``.
    """
    width = high - low
    if not width > 0 or not math.isfinite(width):
        return f"{amount(value, code)} ({figure(low)} to {figure(high)})"
    places = 1 - math.floor(math.log10(width))
    said, least, most = (
        f"{round(one, places) + 0.0:,.{max(places, 0)}f}".replace(",", _GROUP)
        for one in (value, low, high)
    )
    return f"{f'{said} {unit(code)}'.strip()} ({least} to {most})"


def evidence(document: dict[str, Any]) -> str:
    """A sign's document in words: ``52 W running power (heating.power), expected 46 to 47``."""
    expected = f", expected {document['expected']}" if document["expected"] else ""
    known = document["value"] is not None
    value = f"{amount(document['value'], document['unit'])} " if known else ""
    return f"{value}{document['what']} ({document['channel']}){expected}"
