"""Units: readings come in UCUM codes of the plant file and are kept in one unit a quantity."""

from functools import cache
from typing import NamedTuple

from analysis.base.quantities import QUANTITIES
from collector.errors import DecodeError


class Linear(NamedTuple):
    """Conversion ``scale * x + offset``."""

    scale: float
    offset: float

    def inverse(self) -> "Linear":
        """Return the way back."""
        return Linear(1 / self.scale, -self.offset / self.scale)


class _Unit(NamedTuple):
    """What a unit measures, and the way into the coherent SI unit of that."""

    measures: str
    scale: float
    offset: float = 0.0


_HOUR_S, _MINUTE_S, _LITRE_M3 = 3600.0, 60.0, 1e-3
_UNITS: dict[str, _Unit] = {
    "W": _Unit("power", 1.0),
    "mW": _Unit("power", 1e-3),
    "kW": _Unit("power", 1e3),
    "J": _Unit("energy", 1.0),
    "kJ": _Unit("energy", 1e3),
    "MJ": _Unit("energy", 1e6),
    "W.s": _Unit("energy", 1.0),
    "W.h": _Unit("energy", _HOUR_S),
    "kW.h": _Unit("energy", 1e3 * _HOUR_S),
    "MW.h": _Unit("energy", 1e6 * _HOUR_S),
    "V": _Unit("voltage", 1.0),
    "mV": _Unit("voltage", 1e-3),
    "A": _Unit("current", 1.0),
    "mA": _Unit("current", 1e-3),
    "1": _Unit("ratio", 1.0),
    "K": _Unit("temperature", 1.0),
    "Cel": _Unit("temperature", 1.0, 273.15),
    "[degF]": _Unit("temperature", 5 / 9, 459.67 * 5 / 9),
    "Pa": _Unit("pressure", 1.0),
    "hPa": _Unit("pressure", 1e2),
    "kPa": _Unit("pressure", 1e3),
    "MPa": _Unit("pressure", 1e6),
    "mbar": _Unit("pressure", 1e2),
    "bar": _Unit("pressure", 1e5),
    "m3/s": _Unit("flow", 1.0),
    "m3/h": _Unit("flow", 1 / _HOUR_S),
    "L/s": _Unit("flow", _LITRE_M3),
    "L/min": _Unit("flow", _LITRE_M3 / _MINUTE_S),
    "L/h": _Unit("flow", _LITRE_M3 / _HOUR_S),
    "L": _Unit("volume", _LITRE_M3),
    "m3": _Unit("volume", 1.0),
}
"""Units of plant files, and those in which SenML devices speak of the same quantities.

Source: Unified Code for Units of Measure, version 2.2; the tests hold every row against its list.
"""


@cache
def conversion(unit: str, quantity: str) -> Linear:
    """Conversion from a UCUM unit to the unit in which a quantity is kept.

    Raises
    ------
    DecodeError
        The unit is unknown or measures something else.
    """
    kept = QUANTITIES[quantity].unit
    if unit == kept:
        return Linear(1.0, 0.0)
    source, target = _UNITS.get(unit), _UNITS[kept]
    if source is None or source.measures != target.measures:
        raise DecodeError(f"unit {unit!r} cannot be turned into {kept} for '{quantity}'")
    scale, offset = source.scale / target.scale, (source.offset - target.offset) / target.scale
    return Linear(_clean(scale), _clean(offset))


def _clean(x: float) -> float:
    """Drop the last digits, which only the conversion's own rounding put there."""
    return float(f"{x:.12g}")
