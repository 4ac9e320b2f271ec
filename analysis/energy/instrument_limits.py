"""Error limits that standards hold instruments to, and what they make of a reading's uncertainty.

A channel may name its class in the plant file (`accuracy_class`): A, B or C of the Measuring
Instruments Directive for power and energy, AA, A, B or C of IEC 60751 for temperature. Without one
the usual errors of consumer plugs and strap-on sensors hold.
"""

from typing import NamedTuple

from analysis.base.errors import StokeholdError
from analysis.plant.plant import Channel
from analysis.statistics.uncertainty import Meter, rectangular

PLUG = Meter()
STRAP_ON_K = 1.0
"""Half-width of a sensor strapped to a pipe, insulated (common practice, no source)."""

_PLATINUM: dict[str, tuple[float, float]] = {
    "AA": (0.10, 0.0017),
    "A": (0.15, 0.002),
    "B": (0.30, 0.005),
    "C": (0.60, 0.010),
}
"""IEC 60751: limit is a + b |t| [K], t in Cel (A and B from memory, checked; AA and C from memory).
"""

_AT_ROOM, _AWAY = (5.0, 30.0), (-10.0, 40.0)
_ELECTRIC: dict[str, tuple[tuple[float, float], tuple[float, float]]] = {
    "A": ((0.035, 0.035), (0.05, 0.045)),
    "B": ((0.02, 0.02), (0.025, 0.025)),
    "C": ((0.01, 0.007), (0.013, 0.01)),
}
"""Directive 2014/32/EU, annex V, table 2: limits below and above the transitional current, at 5 to
30 Cel, and at -10 to 5 or 30 to 40 Cel."""

MAINS_V = 230.0


class Currents(NamedTuple):
    """Currents a meter is built for [A].

    From `least_a` on its limits hold, from `transition_a` on the narrow ones.
    The defaults are those of a small direct-connected one (common practice, no source).
    """

    least_a: float = 0.25
    transition_a: float = 0.5


USUAL = Currents()


def platinum_limit_k(klass: str, temp_c: float) -> float:
    """Limit of a platinum resistance thermometer's error [K].

    Parameters
    ----------
    klass : {"AA", "A", "B", "C"}
        Class after IEC 60751.
    temp_c : float
        Temperature measured [Cel].

    Raises
    ------
    StokeholdError
        There is no such class.
    """
    if klass not in _PLATINUM:
        raise StokeholdError(f"{klass!r} is no class of IEC 60751; use one of {[*_PLATINUM]}")
    fixed, share = _PLATINUM[klass]
    return fixed + share * abs(temp_c)


def meter_limit(
    klass: str, current_a: float, *, ambient_c: float = 20.0, currents: Currents = USUAL
) -> float:
    """Limit of an electricity meter's error, as a share of the reading.

    Below its least current a meter is held to nothing; its error there is
    taken to stay what it may be at that current, in watts.

    Parameters
    ----------
    klass : {"A", "B", "C"}
        Class after Directive 2014/32/EU.
    current_a : float
        Current at power factor 1 [A].
    ambient_c : float
        Temperature where the meter hangs [Cel].
    currents : Currents
        What the meter is built for.

    Raises
    ------
    StokeholdError
        There is no such class, or it is held to nothing at that temperature.
    """
    if klass not in _ELECTRIC:
        raise StokeholdError(f"{klass!r} is no class of a meter; use one of {[*_ELECTRIC]}")
    if not _AWAY[0] <= ambient_c <= _AWAY[1]:
        raise StokeholdError(f"{ambient_c:g} °C: no limits are set below -10 or above 40 °C")
    at_room = _AT_ROOM[0] <= ambient_c <= _AT_ROOM[1]
    low, high = _ELECTRIC[klass][0 if at_room else 1]
    if current_a >= currents.transition_a:
        return high
    return low * max(currents.least_a / max(current_a, 1e-9), 1.0)


def meter_of(channel: Channel | None) -> Meter:
    """What a channel of power or energy may be wrong by."""
    if channel is None or channel.accuracy_class is None:
        return PLUG
    least_w = MAINS_V * USUAL.least_a
    return Meter(
        gain=meter_limit(channel.accuracy_class, USUAL.transition_a),
        offset_w=meter_limit(channel.accuracy_class, USUAL.least_a) * least_w,
        step_w=PLUG.step_w,
    )


def sensor_uncertainty_k(channel: Channel, temp_c: float) -> float:
    """Standard uncertainty of a temperature channel [K]; strapped on where it names no class."""
    if channel.accuracy_class is None:
        return rectangular(STRAP_ON_K)
    return rectangular(platinum_limit_k(channel.accuracy_class, temp_c))


CLASSES: dict[str, tuple[str, ...]] = {
    "power": tuple(_ELECTRIC),
    "energy": tuple(_ELECTRIC),
    "temperature": tuple(_PLATINUM),
}
"""Classes that a channel of a quantity may name."""
