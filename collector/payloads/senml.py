"""Sensor Measurement Lists: packs of records resolved to plain readings.

Source: RFC 8428, sections 4 (labels, base fields, time) and 12.1 (units); secondary units
after RFC 8798, from memory.
"""

import re
from dataclasses import dataclass
from typing import Any

from collector.errors import DecodeError

VERSION = 10
_RELATIVE_BELOW_S = 2**28
_LONGEST_S = 1e12
"""Times beyond this are no times; what they are cut to lies far outside of any calendar."""
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")
_VALUES = ("v", "vs", "vb", "vd")

UCUM: dict[str, str] = {
    "W": "W",
    "kW": "kW",
    "Wh": "W.h",
    "kWh": "kW.h",
    "V": "V",
    "A": "A",
    "mA": "mA",
    "Cel": "Cel",
    "K": "K",
    "Pa": "Pa",
    "bar": "bar",
    "m3": "m3",
    "l": "L",
    "m3/s": "m3/s",
    "l/s": "L/s",
    "J": "J",
    "/": "1",
    "%": "1",  # RFC 8428 section 12.1 note 2: a ratio of 0 to 1 in spite of its look
}
"""UCUM codes of the SenML units that heating plants use."""


@dataclass(frozen=True, slots=True)
class SenmlRecord:
    """One resolved record; `value` is a number, truth, text or base64 data, or None.

    `sum` is the integrated value [unit times second] where the record has one.
    """

    name: str
    time_ms: int
    unit: str | None
    value: float | bool | str | None
    sum: float | None = None


def resolve(pack: Any, now_ms: int) -> list[SenmlRecord]:
    """Resolve a parsed pack: base fields applied, times absolute, in the pack's order.

    Parameters
    ----------
    pack : list of dict
        JSON content of the message.
    now_ms : int
        Moment of arrival, to which small times are relative [ms].

    Raises
    ------
    DecodeError
        Not a pack, a newer version, a field that must be understood, or a bad name.
    """
    if not isinstance(pack, list):
        raise DecodeError("a SenML pack must be a JSON array")
    base: dict[str, Any] = {}
    records = []
    for entry in pack:
        if not isinstance(entry, dict):
            raise DecodeError("a SenML record must be a JSON object")
        _check_labels(entry)
        base |= {k: v for k, v in entry.items() if k.startswith("b")}
        if any(label in entry for label in (*_VALUES, "s")):
            records.append(_record(entry, base, now_ms))
    return records


def _check_labels(entry: dict[str, Any]) -> None:
    must = [label for label in entry if label.endswith("_")]
    if must:
        raise DecodeError(f"SenML field {must[0]!r} must be understood, but is unknown here")
    if _number(entry, "bver", VERSION) > VERSION:
        raise DecodeError(f"SenML version {entry['bver']} is newer than {VERSION}")


def _record(entry: dict[str, Any], base: dict[str, Any], now_ms: int) -> SenmlRecord:
    name = f"{base.get('bn', '')}{entry.get('n', '')}"
    if not _NAME.fullmatch(name):
        raise DecodeError(f"SenML name {name!r} is not allowed")
    time_s = _number(base, "bt", 0.0) + _number(entry, "t", 0.0)
    relative = abs(time_s) < _RELATIVE_BELOW_S or time_s < 0
    value: float | bool | str | None = next((entry[k] for k in _VALUES if k in entry), None)
    if "v" in entry:
        value = _number(entry, "v", 0.0) + _number(base, "bv", 0.0)
    total = _number(entry, "s", 0.0) + _number(base, "bs", 0.0) if "s" in entry else None
    time_ms = round(time_s * 1000) if abs(time_s) < _LONGEST_S else round(_LONGEST_S * 1000)
    return SenmlRecord(
        name, time_ms + (now_ms if relative else 0), _unit(entry, base), value, total
    )


def _unit(entry: dict[str, Any], base: dict[str, Any]) -> str | None:
    unit = entry.get("u", base.get("bu"))
    if unit is not None and not isinstance(unit, str):
        raise DecodeError(f"SenML unit must be text, not {unit!r:.60}")
    return unit


def _number(entry: dict[str, Any], label: str, default: float) -> float:
    value = entry.get(label, default)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise DecodeError(f"SenML field {label!r} must be a number, not {value!r}")
    return value
