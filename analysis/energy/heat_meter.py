"""Heat carried by water: from flow rate and the two temperatures, by density and enthalpy.

As in a heat meter, volume is weighed by the density at the flow sensor and each kilogram gives
the difference of its enthalpies: the heat coefficient of EN 1434-1. Sensors strapped to a pipe are
outside of that standard, so what is told here is no figure to bill by.
"""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from analysis.base.estimate import Estimate, plain
from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Span, local_day_edges
from analysis.plant.plant import Channel, Plant
from analysis.readings.readings import (
    FloatArray,
    Readings,
    Record,
    hold_limit_ms,
    summarise,
    usual_step_ms,
)
from analysis.statistics.uncertainty import rectangular
from analysis.weather.degree_days import Days

Side = Literal["return", "flow"]

_DENSITY = (1000.6263, 5.3585492, -81.15037, 62.99105, -43.039232, 17.302399, -3.0322115)
_ENTHALPY = (1.5996856, 420.61254, -9.9533922, 14.379196, -10.407397, 4.8796284, -0.88484961)
"""Polynomials in hundreds of Cel fitted to IAPWS-IF97 at 16 bar, the pressure EN 1434-1 reckons
with, from 0.5 to 150 Cel: density within 2e-5 of its value, enthalpy within 0.012 kJ/kg."""


def water_density(temp_c: ArrayLike) -> FloatArray:
    """Density of liquid water [kg/m3] at 16 bar, 0 to 150 Cel."""
    hundreds = np.asarray(temp_c, float) / 100.0
    return np.asarray(np.polynomial.polynomial.polyval(hundreds, _DENSITY), np.float64)


def water_enthalpy(temp_c: ArrayLike) -> FloatArray:
    """Specific enthalpy of liquid water [kJ/kg] at 16 bar, 0 to 150 Cel."""
    hundreds = np.asarray(temp_c, float) / 100.0
    return np.asarray(np.polynomial.polynomial.polyval(hundreds, _ENTHALPY), np.float64)


def heat_content(flow_c: ArrayLike, return_c: ArrayLike, *, sensor: Side = "return") -> FloatArray:
    """Heat that a cubic metre of water gives between two temperatures [kWh/m3].

    Parameters
    ----------
    flow_c, return_c : array_like
        Temperatures of flow and return [Cel].
    sensor : {"return", "flow"}
        The pipe in which the volume is measured.
    """
    at_sensor = return_c if sensor == "return" else flow_c
    apart = water_enthalpy(flow_c) - water_enthalpy(return_c)
    return np.asarray(water_density(at_sensor) * apart / 3600.0, np.float64)


def heat_coefficient(
    flow_c: ArrayLike, return_c: ArrayLike, *, sensor: Side = "return"
) -> FloatArray:
    """Heat coefficient of EN 1434-1 [MJ/(m3 K)]; NaN where both temperatures are the same."""
    apart = np.asarray(flow_c, float) - np.asarray(return_c, float)
    content = heat_content(flow_c, return_c, sensor=sensor)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(apart == 0, np.nan, 3.6 * content / apart), np.float64)


_FLOW_SPREAD = rectangular(0.05)
"""Flow meters in houses keep to some 5 % (common practice, no source)."""
_PAIR_SPREAD_K = 0.7
"""Two strapped sensors part by so much where the water is the same (from memory)."""
_COARSE_MS = 5 * MINUTE_MS
_COARSE_SPREAD = 0.05
_GRID_MS = MINUTE_MS
_WHOLE = 0.75
"""Days count of which so much was watched, as for fuel."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Heat:
    """Heat that passed a flow meter.

    Attributes
    ----------
    part : str
        Boiler or pump whose water was measured.
    channel : str
        The flow meter.
    days : Days
        Heat by local day [kWh], NaN where less than three quarters were watched.
    total : Estimate
        Heat over the watched time [kW.h].
    volume_m3, volume_kelvin : float
        Water, and water times temperature difference [m3.K], over the watched time.
    covered_h : float
        Hours over which flow rate and both temperatures were known.
    note : str
        What limits the figure.
    """

    part: str
    channel: str
    days: Days
    total: Estimate
    volume_m3: float
    volume_kelvin: float
    covered_h: float
    note: str

    @property
    def kwh_per_m3k(self) -> float | None:
        """Heat over water times difference: near 1.15 for water, whatever the plant."""
        if self.total.value is None or abs(self.volume_kelvin) < 1e-6:
            return None
        return self.total.value / self.volume_kelvin

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "part": self.part,
            "channel": self.channel,
            "heat": self.total.document(),
            "volume_m3": plain(self.volume_m3, 5),
            "volume_m3k": plain(self.volume_kelvin, 5),
            "kwh_per_m3k": plain(self.kwh_per_m3k, 5),
            "covered_hours": plain(self.covered_h, 5),
            "note": self.note,
        }


def heat_of(plant: Plant, part: str, record: Record, span: Span) -> Heat | str:
    """Heat of a boiler or a pump's circuit from its flow meter, or why there is none.

    The meter is taken to sit in the return, as heat meters mostly do. Moments
    at which any of the three is unknown are left out, not taken as zero.

    Parameters
    ----------
    plant : Plant
        Where channels and the zone are named.
    part : str
        Boiler or pump with a channel ``flow`` and temperatures of flow and return.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Time to look at.
    """
    wanted = [
        plant.first(part, "flow"),
        plant.first(part, "temperature", "flow"),
        plant.first(part, "temperature", "return"),
    ]
    pairs = [(c, record.get(c.id, Readings.empty())) for c in wanted if c is not None]
    if wanted[0] is None:
        return "no flow meter: from temperatures alone heat cannot be told"
    if len(pairs) < 3 or not all(len(r) for _, r in pairs):
        return "a flow meter needs the temperatures of flow and return beside it"
    step_ms = max(_GRID_MS, *(usual_step_ms(r) for _, r in pairs))
    return _heat(plant, part, pairs, span=span, step_ms=step_ms)


def _heat(
    plant: Plant, part: str, pairs: list[tuple[Channel, Readings]], *, span: Span, step_ms: int
) -> Heat | str:
    edges = local_day_edges(span, plant.timezone)
    rows = np.arange(edges[0], edges[-1] + 1, step_ms)
    found = [summarise(r, rows, hold_limit_ms(r, c)) for c, r in pairs]
    rate, flow_c, return_c = (one.mean for one in found)
    hours = np.minimum.reduce([one.covered_s for one in found]) * SECOND_MS / HOUR_MS
    m3 = rate * 0.06 * hours
    kwh = m3 * heat_content(flow_c, return_c)
    known = np.isfinite(kwh)
    if not known.any():
        return "flow rate and both temperatures are never known at the same time"
    day = np.searchsorted(edges, rows[:-1], side="right") - 1
    count = len(edges) - 1
    kelvin = m3 * (flow_c - return_c)
    total = float(kwh[known].sum())
    water, moved = float(m3[known].sum()), float(kelvin[known].sum())
    is_coarse = step_ms > _COARSE_MS
    return Heat(
        part=part,
        channel=pairs[0][0].id,
        days=Days(edges[:-1], _by_day(kwh, hours, day, edges)[:count]),
        total=_interval(total, water=water, moved=moved, is_coarse=is_coarse),
        volume_m3=water,
        volume_kelvin=moved,
        covered_h=float(hours[known].sum()),
        note=_COARSE_NOTE if is_coarse else _NOTE,
    )


_NOTE = "sensors on the pipe: no figure to bill by; antifreeze carries a few per cent less"
_COARSE_NOTE = (
    f"{_NOTE}; readings minutes apart blur flow and difference where the burner cycles in between"
)


def _by_day(kwh: FloatArray, hours: FloatArray, day: np.ndarray, edges: np.ndarray) -> FloatArray:
    """Heat of each day, scaled to its whole length; NaN where too little of it was watched."""
    count = len(edges) - 1
    known = np.isfinite(kwh)
    sums = np.bincount(day[known], kwh[known], count)
    watched = np.bincount(day[known], hours[known], count)
    length = np.diff(edges) / HOUR_MS
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(watched >= _WHOLE * length, sums * length / watched, np.nan)


def _interval(total: float, *, water: float, moved: float, is_coarse: bool) -> Estimate:
    """Heat with the doubt of meter and sensor pair (GUM, uncorrelated parts).

    A fraction of a kelvin matters most where flow and return part by little.
    """
    mean_k = abs(moved / water) if water else 0.0
    pair = _PAIR_SPREAD_K / mean_k if mean_k > 0 else np.inf
    spread = float(np.sqrt(_FLOW_SPREAD**2 + pair**2 + (_COARSE_SPREAD * is_coarse) ** 2))
    words = f"{water:.1f} m3 of water, {mean_k:.1f} K between flow and return on average"
    if not np.isfinite(spread):
        return Estimate.unknown("kW.h", "no water flowed")
    wide = 1.96 * spread * abs(total)
    return Estimate(total, total - wide, total + wide, "kW.h", words)


def efficiency_of(heat: Heat, fuel: Days, spread: float) -> Estimate:
    """Heat to the water over net fuel heat, on days of which both are known.

    Parameters
    ----------
    heat : Heat
        From the boiler's flow meter.
    fuel : Days
        Net fuel heat by local day [kWh].
    spread : float
        Relative standard uncertainty of the fuel common to all days.
    """
    number, theirs = ((days.start_ms + DAY_MS // 2) // DAY_MS for days in (heat.days, fuel))
    _, mine, there = np.intersect1d(number, theirs, return_indices=True)
    given, burnt = heat.days.value[mine], fuel.value[there]
    both = np.isfinite(given) & np.isfinite(burnt)
    if both.sum() < 3 or burnt[both].sum() <= 0:
        return Estimate.unknown("1", "fewer than three days with both heat and fuel")
    total = heat.total
    if not total.value or total.low is None or total.high is None:
        return Estimate.unknown("1", total.reason or "no heat was measured")
    value = float(given[both].sum() / burnt[both].sum())
    doubt = (total.high - total.low) / (2 * 1.96 * abs(total.value))
    wide = 1.96 * float(np.hypot(doubt, spread)) * value
    words = f"{int(both.sum())} days; on net calorific value, where condensing may exceed 1"
    return Estimate(value, value - wide, value + wide, "1", words)
