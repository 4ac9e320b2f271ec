"""Units: readings come in UCUM codes of the plant file and are kept in one unit a quantity."""

from functools import cache
from typing import NamedTuple

from pint.errors import DimensionalityError, UndefinedUnitError
from ucumvert import PintUcumRegistry
from ucumvert.parser import InvalidUcumError

from analysis.base.quantities import QUANTITIES
from collector.errors import DecodeError


class Linear(NamedTuple):
    """Conversion ``scale * x + offset``."""

    scale: float
    offset: float

    def inverse(self) -> "Linear":
        """Return the way back."""
        return Linear(1 / self.scale, -self.offset / self.scale)


@cache
def _registry() -> PintUcumRegistry:
    return PintUcumRegistry()


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
    registry = _registry()
    try:
        source, target = registry.from_ucum(unit).units, registry.from_ucum(kept).units
        zero, one = (registry.Quantity(x, source).to(target).magnitude for x in (0.0, 1.0))
    except (
        DimensionalityError,
        UndefinedUnitError,
        InvalidUcumError,
        ValueError,
        TypeError,
        AttributeError,
    ) as error:
        raise DecodeError(f"unit {unit!r} cannot be turned into {kept} for '{quantity}'") from error
    return Linear(_clean(one - zero), _clean(zero))


def _clean(x: float) -> float:
    """Drop the last digits, which only the conversion's own rounding put there."""
    return float(f"{x:.12g}")
