"""The table of units against the list of the Unified Code for Units of Measure itself."""

import pytest
from ucumvert import PintUcumRegistry

from analysis.base.quantities import QUANTITIES
from collector.errors import DecodeError
from collector.payloads.senml import UCUM
from collector.payloads.units import _UNITS, Linear, conversion


@pytest.fixture(scope="module")
def ucum() -> PintUcumRegistry:
    """Units as ucumvert reads them from the code's own list, version 2.2."""
    return PintUcumRegistry()


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_conversions_are_those_of_the_code(quantity: str, ucum: PintUcumRegistry) -> None:
    """Every unit of the table that fits a quantity, at two points of its scale.

    Source: UCUM 2.2 (unitsofmeasure.org, revision of 2024-06-17), by way of ucumvert and pint.
    """
    kept = ucum.from_ucum(QUANTITIES[quantity].unit).units
    fitting = [u for u in _UNITS if ucum.from_ucum(u).units.dimensionality == kept.dimensionality]
    assert set(fitting) >= set(QUANTITIES[quantity].units)
    for unit in fitting:
        for x in (0.0, 20.0):
            scale, offset = conversion(unit, quantity)
            expected = ucum.Quantity(x, ucum.from_ucum(unit).units).to(kept).magnitude
            assert scale * x + offset == pytest.approx(expected, rel=1e-10, abs=1e-8)


def test_every_unit_of_a_plant_file_and_of_senml_is_known() -> None:
    """What may be written, and what devices may say, finds its row."""
    written = {unit for row in QUANTITIES.values() for unit in row.units}
    assert written | set(UCUM.values()) <= set(_UNITS)


@pytest.mark.parametrize("unit", ["furlong", "V", "", "cel", "kw"])
def test_unknown_and_unfitting_units_are_refused(unit: str) -> None:
    """Codes are case sensitive; volts are no temperature."""
    with pytest.raises(DecodeError, match="cannot be turned into Cel"):
        conversion(unit, "temperature")


def test_the_way_back_returns_the_reading() -> None:
    """A plant that publishes in its own unit reads back what it sent."""
    there = conversion("[degF]", "temperature")
    back = there.inverse()
    assert isinstance(back, Linear)
    assert back.scale * (there.scale * 140.0 + there.offset) + back.offset == pytest.approx(140.0)
