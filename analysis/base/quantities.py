"""The measured quantities: unit, kind and physical range of each, as one table."""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["gauge", "counter", "state"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """One measurable quantity.

    Attributes
    ----------
    name : str
        Word used in the plant file.
    unit : str
        UCUM code of the unit kept inside; others are converted on the way in.
    kind : str
        ``gauge`` holds until the next reading, ``counter`` only rises (and may
        be reset), ``state`` is on or off.
    low, high : float
        Physical range in `unit`; a reading outside is no measurement.
    units : tuple of str
        UCUM codes accepted in the plant file.
    label : str
        Word shown to a person.
    """

    name: str
    unit: str
    kind: Kind
    low: float
    high: float
    units: tuple[str, ...]
    label: str


QUANTITIES: dict[str, Quantity] = {
    q.name: q
    for q in (
        Quantity("power", "W", "gauge", -5.0, 25_000.0, ("W", "kW"), "power"),
        Quantity("energy", "kW.h", "counter", 0.0, 1e8, ("kW.h", "W.h"), "energy counter"),
        Quantity("voltage", "V", "gauge", 0.0, 500.0, ("V",), "mains voltage"),
        Quantity("current", "A", "gauge", -0.1, 100.0, ("A", "mA"), "current"),
        Quantity("power_factor", "1", "gauge", -1.0, 1.0, ("1",), "power factor"),
        Quantity(
            "temperature", "Cel", "gauge", -40.0, 130.0, ("Cel", "K", "[degF]"), "temperature"
        ),
        Quantity("pressure", "bar", "gauge", -1.0, 25.0, ("bar", "kPa"), "pressure"),
        Quantity("flow", "L/min", "gauge", -2000.0, 2000.0, ("L/min", "m3/h"), "flow rate"),
        Quantity("fuel_volume", "m3", "counter", 0.0, 1e8, ("L", "m3"), "fuel counter"),
        Quantity("contact", "1", "state", 0.0, 1.0, ("1",), "contact"),
    )
}
"""Ranges are physical bounds (common practice, no source), not limits of good order."""

PLACES = (
    "flow",
    "return",
    "body",
    "ambient",
    "outdoor",
    "room",
    "top",
    "bottom",
    "flue",
)
"""Where a temperature is taken."""

_TEMPERATURE_RANGE: dict[str, tuple[float, float]] = {
    "flue": (-40.0, 600.0),
    "outdoor": (-60.0, 60.0),
    "room": (-30.0, 70.0),
}


def physical_range(quantity: str, place: str | None) -> tuple[float, float]:
    """Lowest and highest value that can be a measurement at all.

    Parameters
    ----------
    quantity : str
        Name of the quantity.
    place : str or None
        Place of a temperature; ignored for other quantities.

    Returns
    -------
    tuple of float
        Bounds in the quantity's own unit.
    """
    if quantity == "temperature" and place in _TEMPERATURE_RANGE:
        return _TEMPERATURE_RANGE[place]
    row = QUANTITIES[quantity]
    return row.low, row.high
