"""Fuel of a year with its interval, its signature, and the boiler's size against it.

Heat is on net calorific value; see `analysis.energy.fuel_by_day`.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.base.errors import AnalysisError
from analysis.base.estimate import Estimate, plain
from analysis.base.time import DAY_MS, Span
from analysis.energy.fuel_by_day import GROSS_PER_NET, FuelDays, Source, fuel_days
from analysis.energy.heating_season import HeatingDays, heating_days
from analysis.energy.season_model import year_draws
from analysis.energy.season_weather import History
from analysis.firing.full_load_hours import as_sized
from analysis.plant.plant import Boiler, Plant
from analysis.readings.readings import (
    FloatArray,
    Record,
)
from analysis.statistics.change_point_regression import Points, Signature
from analysis.weather.degree_days import (
    YEAR_DAYS,
    Days,
    belief_of_zone,
    drawn_years,
    first_day_of_year,
    outdoor_days,
)

KWH = "kW.h"


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
