"""What a plant uses and costs in a year: electricity of every machine, fuel of every boiler."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.base.estimate import Estimate, plain
from analysis.base.time import DAY_MS, Span, format_rfc3339
from analysis.energy.fuel_by_day import fuel_days
from analysis.energy.fuel_year import FuelYear, year_of_days
from analysis.energy.heating_season import HeatingDays
from analysis.energy.machine_year import KWH, OWN_USE
from analysis.energy.measured import EnergyUse, energy_use
from analysis.plant.plant import Plant
from analysis.readings.readings import Record
from analysis.statistics.change_point_regression import lack_k
from analysis.weather.degree_days import Days, outdoor_days


def summed(estimates: Sequence[Estimate], unit: str, basis: str) -> Estimate:
    """Sum of estimates of one house.

    One season and one weather rule them all, so that their errors add up in full
    (GUM 5.2.2, note 1: correlation of 1). One that is unknown makes the sum unknown.
    """
    for one in estimates:
        if one.value is None:
            return Estimate.unknown(unit, one.reason or "a part is unknown")
    if not estimates:
        return Estimate.unknown(unit, "nothing is measured")
    value, low, high = np.array([[e.value, e.low, e.high] for e in estimates], float).sum(axis=0)
    return Estimate(float(value), float(low), float(high), unit, basis)


@dataclass(frozen=True, slots=True, eq=False)
class FuelPicture:
    """A boiler's fuel with the days it rests on.

    `year` is in words why where there is none; `outdoor_c` and `kwh` are the
    days with both known, in order, `start_ms` their midnights.
    """

    boiler: str
    year: FuelYear | str
    start_ms: tuple[int, ...]
    outdoor_c: tuple[float, ...]
    kwh: tuple[float, ...]

    def document(self) -> dict[str, Any]:
        """Return the JSON form, with the signature's line and its interval."""
        if isinstance(self.year, str):
            return {"boiler": self.boiler, "reason": self.year}
        return self.year.document() | {
            "days": {
                "start": [format_rfc3339(t) for t in self.start_ms],
                "outdoor_c": [plain(t, 4) for t in self.outdoor_c],
                "kwh": [plain(k, 4) for k in self.kwh],
            },
            "line": _line(self.year.heating, self.outdoor_c),
        }


def _line(heating: HeatingDays | None, outdoor_c: tuple[float, ...]) -> dict[str, Any] | None:
    """Signature over the temperatures seen: its line and the interval of that line.

    Above the limit at which heating is shut off it is the use of warm days.
    """
    if heating is None or not outdoor_c:
        return None
    signature = heating.signature
    limit = np.inf if heating.limit_c.value is None else heating.limit_c.value
    edges = [limit - 1e-3, limit + 1e-3] if min(outdoor_c) < limit < max(outdoor_c) else []
    temp = np.sort([*np.linspace(min(outdoor_c), max(outdoor_c), 40), *edges])
    base, slope, change = (column[:, None] for column in signature.draws.T)
    drawn = base + slope * np.where(temp > limit, 0.0, lack_k(signature.shape, temp, change))
    low, high = np.quantile(drawn, (0.025, 0.975), axis=0)
    kwh = np.where(temp > limit, signature.base_use, signature.use_at(temp))
    columns = {"outdoor_c": temp, "kwh": kwh, "low": low, "high": high}
    return {name: [plain(v, 5) for v in column.tolist()] for name, column in columns.items()}


@dataclass(frozen=True, slots=True, eq=False)
class Costs:
    """Electricity and fuel of a plant.

    `plug_own_kwh` is what each plug uses itself, in none of the other figures.
    """

    pumps: tuple[EnergyUse, ...]
    boilers: tuple[EnergyUse, ...]
    fuel: tuple[FuelPicture, ...]
    electricity: Estimate
    electricity_cost: Estimate
    plug_own_kwh: Estimate

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "pumps": [use.document("pump") for use in self.pumps],
            "boilers": [use.document("boiler") for use in self.boilers],
            "fuel": [one.document() for one in self.fuel],
            "electricity_per_year": self.electricity.document(),
            "electricity_cost_per_year": self.electricity_cost.document(),
            "plug_own_per_year": self.plug_own_kwh.document(),
        }


def plant_costs(plant: Plant, record: Record, span: Span) -> Costs:
    """Electricity of pumps and boilers, and fuel, in a year and in money.

    Parameters
    ----------
    plant : Plant
        With its prices.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Time to look at.
    """
    pumps = tuple(energy_use(plant, p, record, span) for p in plant.pumps)
    boilers = tuple(energy_use(plant, b, record, span) for b in plant.boilers)
    seen = [use for use in (*pumps, *boilers) if use.covered_hours > 0]
    words = f"{len(seen)} of {len(plant.machines)} machines measured"
    return Costs(
        pumps,
        boilers,
        tuple(fuel_picture(plant, b.id, record, span) for b in plant.boilers),
        summed([use.per_year for use in seen], KWH, words),
        summed([use.cost_per_year for use in seen], plant.tariff.currency, words),
        OWN_USE,
    )


def fuel_picture(plant: Plant, boiler: str, record: Record, span: Span) -> FuelPicture:
    """Fuel of one boiler with its days, for whoever draws or tells it."""
    machine = next(b for b in plant.boilers if b.id == boiler)
    found = fuel_days(plant, machine, record, span)
    if isinstance(found, str):
        return FuelPicture(boiler, found, (), (), ())
    outdoor = outdoor_days(plant, record, span)
    year = year_of_days(plant, machine, found, outdoor)
    if outdoor is None:
        return FuelPicture(boiler, year, (), (), ())
    start, temp, kwh = _together(found.days, outdoor)
    return FuelPicture(boiler, year, tuple(start), tuple(temp), tuple(kwh))


_MOST_DAYS = 730


def _together(days: Days, outdoor: Days) -> tuple[list[int], list[float], list[float]]:
    """Days of which fuel and temperature are known, the newest two years of them."""
    number, theirs = ((d.start_ms + DAY_MS // 2) // DAY_MS for d in (days, outdoor))
    _, mine, there = np.intersect1d(number, theirs, return_indices=True)
    known = np.isfinite(days.value[mine]) & np.isfinite(outdoor.value[there])
    mine, there = mine[known][-_MOST_DAYS:], there[known][-_MOST_DAYS:]
    return days.start_ms[mine].tolist(), outdoor.value[there].tolist(), days.value[mine].tolist()
