"""Fuel: volume to heat, heat by day from the meter or the burner's hours, a year with interval.

Heat is on net calorific value, as boilers are rated. Gas is billed on gross value, which is a
ninth more: the two are never mixed.
"""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from analysis.climate import (
    YEAR_DAYS,
    Days,
    belief_of_zone,
    drawn_years,
    first_day_of_year,
    outdoor_days,
)
from analysis.cycles import sources_of
from analysis.errors import AnalysisError
from analysis.estimate import Estimate, plain
from analysis.firing import Firings
from analysis.full_hours import as_sized
from analysis.heating_days import HeatingDays, heating_days
from analysis.metered import counter_days
from analysis.plant import Boiler, Fuel, Plant, Tariff
from analysis.readings import (
    FloatArray,
    Readings,
    Record,
    hold_limit_ms,
    holds,
    summarise,
)
from analysis.season import year_draws
from analysis.season_weather import History
from analysis.signature import Points, Signature
from analysis.timebase import DAY_MS, Span, local_day_edges
from analysis.uncertainty import rectangular

KWH = "kW.h"
GROSS_PER_NET: dict[Fuel, float] = {"gas": 1.1097, "oil": 1.06, "lpg": 1.087}
"""Gross over net heat: methane 890.63 / 802.60 (ISO 6976); oil and propane from memory."""


@dataclass(frozen=True, slots=True)
class HeatValue:
    """Net heat of a metered cubic metre [kWh/m3] and the half-width it is known to."""

    net_kwh_per_m3: float
    half_width: float
    words: str


HEAT_VALUES: dict[Fuel, HeatValue] = {
    "gas": HeatValue(9.8, 0.055, "9.8 kWh net a m3 of gas, within 5.5 % (usual supplies)"),
    "oil": HeatValue(9_960.0, 0.02, "9.96 kWh net a litre of oil, within 2 %"),
    "lpg": HeatValue(25.8, 0.04, "25.8 kWh net a m3 of propane vapour, within 4 %"),
}
"""From memory; a bill tells the supply's own value."""


def gas_gross_kwh(volume_m3: float, calorific_mj_m3: float, correction: float) -> float:
    """Gross heat of metered gas as it is billed [kWh].

    Parameters
    ----------
    volume_m3 : float
        As the meter counts it.
    calorific_mj_m3 : float
        Gross calorific value on the bill [MJ/m3].
    correction : float
        To standard volume, as on the bill; in Britain 1.02264 (SI 1996/439).
    """
    return volume_m3 * correction * calorific_mj_m3 / 3.6


def heat_value(fuel: Fuel, tariff: Tariff) -> HeatValue:
    """Net heat of a metered cubic metre: by the gas bill where its value was entered, else usual.

    A house's gas meter in service may be off by 3 % (twice the limit of class 1.5, from memory).
    """
    if fuel != "gas" or tariff.gas_mj_per_m3 is None:
        return HEAT_VALUES[fuel]
    correction = tariff.gas_correction or 1.0
    net = gas_gross_kwh(1.0, tariff.gas_mj_per_m3, correction) / GROSS_PER_NET["gas"]
    words = f"{tariff.gas_mj_per_m3:g} MJ gross a m3 by the bill"
    if tariff.gas_correction is None:
        return HeatValue(net, 0.055, f"{words}, its correction to standard volume not entered")
    return HeatValue(net, 0.03, f"{words}, corrected by {correction:g}")


# days


Source = Literal["meter", "burner hours", "burner hours and fan power"]


@dataclass(frozen=True, slots=True, eq=False)
class FuelDays:
    """Fuel heat by day [kWh net], what it was taken from, and how far the scale may be off.

    `spread` is the relative standard uncertainty common to all days.
    """

    days: Days
    source: Source
    channel: str
    spread: float
    words: str


def fuel_days(plant: Plant, boiler: Boiler, record: Record, span: Span) -> FuelDays | str:
    """Fuel of a boiler by day: from its meter, else its burner's hours, or why there is none.

    Parameters
    ----------
    plant : Plant
        Where the boiler's channels and the zone are named.
    boiler : Boiler
        Which boiler.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Time to look at.
    """
    for channel in plant.select(boiler.id, "fuel_volume"):
        readings = record.get(channel.id)
        if readings is not None and len(readings) > 2:
            return _from_meter(plant, boiler, channel.id, readings=readings, span=span)
    if boiler.input_kw is None:
        return "no fuel meter, and no input_kw of the boiler in the plant file"
    firings = next(sources_of(plant, boiler, record, span), None)
    if firings is None:
        return "no channel shows the firing"
    if firings.tells == "running":
        return f"no fuel meter, and {firings.note}"
    return _from_burner(plant, boiler, record, span, firings=firings)


def _from_meter(
    plant: Plant, boiler: Boiler, channel: str, *, readings: Readings, span: Span
) -> FuelDays:
    value = heat_value(boiler.fuel, plant.tariff)
    heat = Readings(readings.time_ms, readings.value * value.net_kwh_per_m3).within(span)
    most_w = 1.5e3 * (boiler.input_kw or 100.0)
    days = counter_days(heat, local_day_edges(span, plant.timezone), most_w=most_w)
    return FuelDays(days, "meter", channel, rectangular(value.half_width), value.words)


_RATED_SPREAD = 0.03
"""Nozzle and gas setting keep the rated input to a few per cent (common practice, no source)."""
_WARMS_ON, _WARMS_ON_SPREAD = 1.3, 0.35
"""By how much a firing told by its water is longer than its flame, and how far that may be off: on
33 rehearsed houses 1.36 in the median, its logarithm spread by 0.4 (a model, no measurement)."""
_PART_LOAD = (0.45, 0.11)
"""Mean load while firing of a modulating burner (common practice; tried on rehearsed houses)."""
_LEAST_LOAD = 0.25
"""Least load of modulating burners: 0.18 to 0.33 of the rated (common practice, no source)."""


def _from_burner(
    plant: Plant, boiler: Boiler, record: Record, span: Span, *, firings: Firings
) -> FuelDays:
    channel = next(c for c in plant.channels if c.id == firings.channel)
    readings = record[channel.id]
    known = holds(readings, hold_limit_ms(readings, channel), span)
    at = np.searchsorted(firings.runs.start_ms, known.start_ms, side="right") - 1
    fires = (at >= 0) & (known.start_ms < firings.runs.end_ms[np.maximum(at, 0)])
    load, spread, source, words = _load(boiler, firings, known.value, fires)
    series = Readings(known.start_ms, np.where(fires, load, 0.0))
    edges = local_day_edges(span, plant.timezone)
    found = summarise(series, edges, hold_limit_ms(readings, channel))
    length_h = np.diff(edges) / 3.6e6
    enough = found.covered_s >= 0.75 * 3600.0 * length_h
    kwh = np.where(enough, found.mean * length_h * (boiler.input_kw or 0.0), np.nan)
    return FuelDays(Days(edges[:-1], kwh), source, channel.id, spread, words)


def _load(
    boiler: Boiler, firings: Firings, value: FloatArray, fires: np.ndarray
) -> tuple[FloatArray | float, float, Source, str]:
    """Share of the rated input while firing: whole, or of a modulating burner by its fan."""
    if not boiler.condensing and firings.method == "temperature":
        words = f"{boiler.input_kw:g} kW rated over hours told by the water, which warms on"
        return 1.0 / _WARMS_ON, _WARMS_ON_SPREAD, "burner hours", words
    if not boiler.condensing:
        return 1.0, _RATED_SPREAD, "burner hours", f"{boiler.input_kw:g} kW rated while it fires"
    if firings.method == "power" and fires.any():
        low, high = np.quantile(value[fires], (0.02, 0.98))
        if high > 1.3 * low > 0:
            return (
                _fan_load(value, low, high),
                0.1,
                "burner hours and fan power",
                ("rated input shared by the fan's power, as the burner modulates"),
            )
    share, spread = _PART_LOAD
    if firings.method == "temperature":
        spread = float(np.hypot(spread, share * _WARMS_ON_SPREAD))
    return (
        share,
        spread / share,
        "burner hours",
        (f"the burner modulates unseen: {share:.0%} of {boiler.input_kw:g} kW taken"),
    )


def _fan_load(power_w: FloatArray, low: float, high: float) -> FloatArray:
    """Load by fan power: a fan's flow goes with its speed, its power with the cube or less.

    With the exponent 2.2 both ends are met: `low` at the least load, `high` at the whole.
    """
    least = _LEAST_LOAD**2.2
    share = np.clip((power_w - low) / (high - low), 0.0, 1.0)
    return np.asarray((least + (1.0 - least) * share) ** (1 / 2.2), np.float64)


# the year


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FuelYear:
    """A boiler's fuel: measured, in a year, its signature, and the boiler's size against it.

    Heat is net [kW.h]; `design_kw` is the fuel heat on the coldest day of a
    usual year, `oversize` the rated input over it.
    """

    boiler: str
    source: Source
    channel: str
    measured_kwh: float
    measured_days: int
    per_year: Estimate
    gross_per_year: Estimate
    cost_per_year: Estimate
    heating: HeatingDays | None
    why_no_signature: str
    design_outdoor_c: float
    design_kw: Estimate
    oversize: Estimate

    @property
    def signature(self) -> Signature | None:
        """Signature of the days that heated."""
        return None if self.heating is None else self.heating.signature

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "boiler": self.boiler,
            "source": self.source,
            "channel": self.channel,
            "measured_kwh": plain(self.measured_kwh),
            "measured_days": self.measured_days,
            "per_year": self.per_year.document(),
            "gross_per_year": self.gross_per_year.document(),
            "cost_per_year": self.cost_per_year.document(),
            "signature": signature_document(self.heating, self.why_no_signature),
            "design": {
                "outdoor_c": plain(self.design_outdoor_c, 3),
                "fuel_kw": self.design_kw.document(),
                "oversize": self.oversize.document(),
            },
        }


def signature_document(heating: HeatingDays | None, reason: str) -> dict[str, Any]:
    """JSON form of a signature; null figures and a reason where there is none."""
    if heating is None:
        return {"base_use": None, "slope": None, "change_c": None, "reason": reason}
    signature = heating.signature
    return {
        "base_use": signature.interval("base_use").document(),
        "slope": signature.interval("slope").document(),
        "change_c": signature.interval("change_c").document(),
        "r_squared": plain(signature.r_squared, 4),
        "cv_rmse": plain(signature.cv_rmse, 4),
        "lag1": plain(signature.memory.lag1, 4),
        "days": signature.points,
        "heating_limit_c": heating.limit_c.document(),
        "resting_days": int(heating.resting.sum()),
    }


def fuel_year(plant: Plant, boiler: Boiler, record: Record, span: Span) -> FuelYear | str:
    """Fuel of a boiler in a year, its signature and its size, or why nothing can be said.

    Parameters
    ----------
    plant : Plant
        Where the boiler's channels, the zone and the prices are named.
    boiler : Boiler
        Which boiler.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Time to look at.
    """
    found = fuel_days(plant, boiler, record, span)
    if isinstance(found, str):
        return found
    return year_of_days(plant, boiler, found, outdoor_days(plant, record, span))


def year_of_days(
    plant: Plant, boiler: Boiler, found: FuelDays, outdoor: Days | None
) -> FuelYear | str:
    """`fuel_year` of days that are worked out already, and the outdoor temperature of days."""
    days = _known_stretch(found.days)
    if days is None:
        return "less than a whole day of readings"
    draws, words = _year_kwh(plant, boiler, found, days=days, outdoor=outdoor)
    per_year = _quantiles(draws, KWH, f"{words}; {found.words}")
    gross = per_year.times(GROSS_PER_NET[boiler.fuel], KWH, "gross, as gas is billed")
    heating, why = fuel_signature(days, outdoor)
    design_c = _coldest_c(plant, outdoor, days)
    design = _design_kw(heating, design_c, found.spread, why)
    return FuelYear(
        boiler=boiler.id,
        source=found.source,
        channel=found.channel,
        measured_kwh=float(np.nansum(days.value)),
        measured_days=int(days.known.sum()),
        per_year=per_year,
        gross_per_year=gross,
        cost_per_year=_cost(plant, boiler, per_year, gross),
        heating=heating,
        why_no_signature=why,
        design_outdoor_c=design_c,
        design_kw=design,
        oversize=_oversize(boiler, design),
    )


def _known_stretch(days: Days) -> Days | None:
    there = np.flatnonzero(days.known)
    if not len(there):
        return None
    first = max(int(there[0]), int(there[-1]) - 2 * YEAR_DAYS + 1)
    return Days(days.start_ms[first : there[-1] + 1], days.value[first : there[-1] + 1])


def _year_kwh(
    plant: Plant, boiler: Boiler, found: FuelDays, *, days: Days, outdoor: Days | None
) -> tuple[FloatArray, str]:
    most = float(np.nanmax(days.value))
    full = 24.0 * boiler.input_kw if boiler.input_kw else 2.0 * most
    history = History(
        days=days,
        outdoor=outdoor,
        full_kwh=(max(full, most), 0.2),
        is_steady=True,
        rests=1.0,
        kind="boiler",
        is_always_on=False,
        timezone=plant.timezone,
    )
    drawn = year_draws(history)
    scale = np.random.default_rng(29).standard_normal(len(drawn.kwh))
    words = f"{drawn.measured_days} of {YEAR_DAYS} days measured"
    kwh = np.maximum(drawn.kwh * (1.0 + found.spread * scale), 0.0)
    return (as_sized(kwh, boiler.input_kw) if boiler.input_kw else kwh), words


def _quantiles(draws: FloatArray, unit: str, basis: str) -> Estimate:
    low, middle, high = np.quantile(draws, (0.025, 0.5, 0.975))
    return Estimate(float(middle), float(low), float(high), unit, basis)


def fuel_signature(days: Days, outdoor: Days | None) -> tuple[HeatingDays | None, str]:
    """Signature of a boiler's fuel on days that heated, or why there is none."""
    if outdoor is None:
        return None, "no outdoor temperature is measured"
    number = (days.start_ms + DAY_MS // 2) // DAY_MS
    theirs = (outdoor.start_ms + DAY_MS // 2) // DAY_MS
    _, mine, there = np.intersect1d(number, theirs, return_indices=True)
    points = Points.of(outdoor.value[there], days.value[mine], at=number[mine])
    try:
        return heating_days(points), ""
    except AnalysisError as error:
        return None, str(error)


def _coldest_c(plant: Plant, outdoor: Days | None, days: Days) -> float:
    """Mean temperature of the coldest day of a usual year here [Cel]."""
    first = first_day_of_year(int(days.start_ms[0]), plant.timezone)
    years = drawn_years(outdoor, belief_of_zone(plant.timezone), float(first), number=200)
    return float(np.median(years.temp_c.min(axis=1)))


def _design_kw(heating: HeatingDays | None, design_c: float, spread: float, why: str) -> Estimate:
    """Fuel heat needed on the design day [kW]."""
    if heating is None:
        return Estimate.unknown("kW", why)
    base, slope, change = heating.signature.draws.T
    scale = np.random.default_rng(31).standard_normal(len(base))
    draws = (base + slope * np.maximum(change - design_c, 0.0)) / 24.0 * (1.0 + spread * scale)
    return _quantiles(draws, "kW", f"signature at {design_c:.0f} °C, coldest usual day here")


def _oversize(boiler: Boiler, design: Estimate) -> Estimate:
    if boiler.input_kw is None:
        return Estimate.unknown("1", "no input_kw of the boiler in the plant file")
    if design.value is None or not design.low or not design.high or design.value <= 0:
        return Estimate.unknown("1", design.reason or "no need of heat was seen")
    rated = boiler.input_kw
    basis = f"{rated:g} kW rated over {design.basis}"
    return Estimate(rated / design.value, rated / design.high, rated / design.low, "1", basis)


def _cost(plant: Plant, boiler: Boiler, net: Estimate, gross: Estimate) -> Estimate:
    tariff = plant.tariff
    if tariff.fuel_per_kwh is None:
        return Estimate.unknown(tariff.currency, "no fuel price in [tariff]")
    if boiler.fuel == "gas":
        words = "price a gross kWh, as gas is billed"
        return gross.times(tariff.fuel_per_kwh, tariff.currency, words)
    return net.times(tariff.fuel_per_kwh, tariff.currency, "price a net kWh")
