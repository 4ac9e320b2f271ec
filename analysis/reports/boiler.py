"""Everything about one boiler in one document: firings, starts, condition, service."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.base.estimate import Estimate, plain
from analysis.base.time import DAY_MS, MINUTE_MS, Span, format_rfc3339, from_ms
from analysis.energy.fuel_by_day import fuel_days
from analysis.energy.heat_meter import Heat, efficiency_of, heat_of
from analysis.energy.standing_loss import boiler_rates, loss_of_store, store_rates, surroundings
from analysis.faults.return_too_warm import condensing_share
from analysis.faults.short_cycling import causes
from analysis.faults.store_too_cool import warmth_of
from analysis.firing.cycle_statistics import demand_hours, lost_hours
from analysis.firing.daily_firings import Fired, fired_in
from analysis.firing.heat_per_cycle import flame_of
from analysis.firing.yearly_starts import StartsAt, starts_by_outdoor, starts_of_year
from analysis.plant.plant import Boiler, Plant
from analysis.readings.readings import FloatArray, Holds, Readings, Record, hold_limit_ms, value_at
from analysis.readings.situation import Situation
from analysis.reports.service_due import Deed, Service, median_estimate, service_of

LENGTHS_MIN = (0.0, 1.0, 2.0, 3.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, np.inf)
"""Edges of the classes of run lengths [min]."""


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """Figures of the firings for one purpose."""

    starts: int
    starts_per_day: float | None
    per_demand_hour: float | None
    on_hours: float
    median_on_min: Estimate
    lengths: tuple[int, ...]

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "starts": self.starts,
            "starts_per_day": plain(self.starts_per_day, 4),
            "starts_per_demand_hour": plain(self.per_demand_hour, 4),
            "on_hours": plain(self.on_hours, 5),
            "median_on": self.median_on_min.document(),
            "lengths": list(self.lengths),
        }


@dataclass(frozen=True, slots=True, eq=False)
class HeatUp:
    """Warming at the start of firings in one month [K/min]."""

    month: str
    rate: Estimate


@dataclass(frozen=True, slots=True, eq=False)
class StoreState:
    """Standing loss of a store, the warmest hour of its days, and hygiene guidance beside it."""

    store: str
    standing_loss: Estimate
    warmest_hour: Estimate
    hygiene: str

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "store": self.store,
            "standing_loss": self.standing_loss.document(),
            "warmest_hour": self.warmest_hour.document(),
            "hygiene": self.hygiene,
        }


@dataclass(frozen=True, slots=True, eq=False)
class BoilerReport:
    """What is known of one boiler over a span."""

    fired: Fired
    heating: Part
    charging: Part
    per_year: Estimate
    by_outdoor: tuple[StartsAt, ...]
    causes: tuple[str, ...]
    condensing: Estimate
    standing: Estimate
    stores: tuple[StoreState, ...]
    heat_up: tuple[HeatUp, ...]
    heat_up_note: str
    service: Service
    heat: Heat | str
    efficiency: Estimate

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        found = self.fired.found
        head = found.document()
        del head["cycles"]
        return head | {
            "levels": [level.document() for level in found.levels],
            "heating": self.heating.document(),
            "charging": self.charging.document(),
            "lengths_min": [plain(edge) for edge in LENGTHS_MIN],
            "starts_per_year": self.per_year.document(),
            "starts_by_outdoor": [one.document() for one in self.by_outdoor],
            "short_cycling_causes": list(self.causes),
            "condensing_share": self.condensing.document(),
            "cooling_at_rest": self.standing.document(),
            "stores": [one.document() for one in self.stores],
            "heat_up": [{"month": h.month, "rate": h.rate.document()} for h in self.heat_up],
            "heat_up_note": self.heat_up_note,
            "service": self.service.document(),
            "heat": {"reason": self.heat} if isinstance(self.heat, str) else self.heat.document(),
            "efficiency": self.efficiency.document(),
            "days": self._days(),
            "last_firings": self._last(),
        }

    def _days(self) -> dict[str, Any]:
        days = self.fired.days
        return {
            "start": [format_rfc3339(t) for t in days.start_ms.tolist()],
            "starts": [plain(v) for v in days.starts.tolist()],
            "charges": [plain(v) for v in days.charges.tolist()],
            "on_h": [plain(v, 4) for v in days.on_h.tolist()],
            "outdoor_c": [plain(v, 3) for v in days.outdoor_c.tolist()],
            "is_whole": days.is_whole.tolist(),
        }

    def _last(self) -> list[dict[str, Any]]:
        """Firings of the last eight days, for the strip of a day."""
        cycles = self.fired.found.cycles
        if not cycles:
            return []
        since = cycles[-1].end_ms - 8 * DAY_MS
        return [
            {
                "start": format_rfc3339(c.start_ms),
                "end": format_rfc3339(c.end_ms),
                "complete": c.is_complete,
                "charging": bool(is_charge),
            }
            for c, is_charge in zip(cycles, self.fired.is_charge, strict=True)
            if c.end_ms >= since
        ]


def boiler_report(
    plant: Plant, boiler: Boiler, record: Record, *, span: Span, deeds: Iterable[Deed] = ()
) -> BoilerReport:
    """Everything about one boiler.

    Parameters
    ----------
    plant : Plant
        Where channels are named.
    boiler : Boiler
        Which one.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Time to look at.
    deeds : iterable of Deed
        Logbook entries about the boiler.
    """
    seen = fired_in(plant, boiler, record, span)
    rates = heat_up_rates(plant, seen, record)
    months = _by_month(seen, rates)
    situation = Situation(plant=plant, record=record, span=span, subject=boiler.id)
    is_short = seen.found.summary.short_cycling.is_short
    heat = _heat(plant, boiler, record, span)
    return BoilerReport(
        fired=seen,
        heating=_part(seen, ~seen.is_charge),
        charging=_part(seen, seen.is_charge),
        per_year=starts_of_year(seen.days, plant.timezone, flame_of(seen)),
        by_outdoor=starts_by_outdoor(seen.days),
        causes=causes(situation, seen) if is_short else (),
        condensing=_condensing(plant, seen, record),
        standing=_standing(plant, seen, record, span),
        stores=_stores(plant, record, span),
        heat_up=months,
        heat_up_note=heat_up_words(months),
        service=service_of(seen, deeds, span=span, heat_up=rates, rules=plant.rules),
        heat=heat,
        efficiency=_efficiency(plant, boiler, record, span, heat=heat),
    )


def _heat(plant: Plant, boiler: Boiler, record: Record, span: Span) -> Heat | str:
    """Heat by the boiler's own flow meter, else by that of a pump's circuit."""
    own = heat_of(plant, boiler.id, record, span)
    if not isinstance(own, str):
        return own
    of_pumps = (heat_of(plant, pump.id, record, span) for pump in plant.pumps)
    return next((one for one in of_pumps if not isinstance(one, str)), own)


def _efficiency(
    plant: Plant, boiler: Boiler, record: Record, span: Span, *, heat: Heat | str
) -> Estimate:
    """Heat over fuel, where the boiler's own water is measured."""
    if isinstance(heat, str):
        return Estimate.unknown("1", heat)
    if heat.part != boiler.id:
        return Estimate.unknown("1", "the flow meter measures one circuit, not the whole boiler")
    fuel = fuel_days(plant, boiler, record, span)
    if isinstance(fuel, str):
        return Estimate.unknown("1", fuel)
    return efficiency_of(heat, fuel.days, fuel.spread)


def _part(seen: Fired, own: np.ndarray) -> Part:
    start, end = seen.start_ms[own], seen.end_ms[own]
    complete = np.array([c.is_complete for c in seen.found.cycles], bool)[own]
    on_min = (end - start)[complete] / MINUTE_MS
    hours = demand_hours(start, end)
    watched_h = seen.found.covered_h - lost_hours(seen.found.cycles)
    return Part(
        starts=len(on_min),
        starts_per_day=len(on_min) / watched_h * 24 if watched_h > 0 else None,
        per_demand_hour=len(start) / hours if hours >= 1 else None,
        on_hours=float(on_min.sum()) / 60.0,
        median_on_min=median_estimate(on_min, "min"),
        lengths=tuple(np.histogram(on_min, LENGTHS_MIN)[0].tolist()),
    )


def _condensing(plant: Plant, seen: Fired, record: Record) -> Estimate:
    if not seen.boiler.condensing:
        return Estimate.unknown("1", "not a condensing boiler")
    return condensing_share(plant, seen, record)


def _standing(plant: Plant, seen: Fired, record: Record, span: Span) -> Estimate:
    busy = Holds(seen.start_ms, seen.end_ms, np.ones(len(seen.start_ms)))
    rates = boiler_rates(plant, seen.boiler, record, span, busy=busy)
    if rates is None:
        return Estimate.unknown("h-1", "no flow temperature of the boiler")
    return rates.estimate()


def _stores(plant: Plant, record: Record, span: Span) -> tuple[StoreState, ...]:
    _, is_measured = surroundings(plant, record, span)
    found = []
    for store in plant.stores:
        rates = store_rates(plant, store, record, span)
        loss = (
            Estimate.unknown("W/K", "no temperature of the store")
            if rates is None
            else loss_of_store(rates, store, is_measured=is_measured)
        )
        found.append(StoreState(store.id, loss, *warmth_of(plant, store, record, span)))
    return tuple(found)


def heat_up_rates(plant: Plant, seen: Fired, record: Record) -> FloatArray:
    """Warming of the flow from one to three minutes after each start [K/min], NaN where unknown.

    Only firings of at least three minutes for heating tell: how fast the same
    flame warms the same water.
    """
    start, end = seen.start_ms, seen.end_ms
    channel = plant.first(seen.boiler.id, "temperature", "flow")
    readings = record.get(channel.id, Readings.empty()) if channel else Readings.empty()
    if channel is None or not len(readings) or not len(start):
        return np.full(len(start), np.nan)
    hold_ms = hold_limit_ms(readings, channel)
    early, late = (value_at(readings, start + m * MINUTE_MS, hold_ms) for m in (1, 3))
    long = (end - start >= 3 * MINUTE_MS) & ~seen.is_charge
    return np.where(long, (late - early) / 2.0, np.nan)


def _by_month(seen: Fired, rates: FloatArray) -> tuple[HeatUp, ...]:
    months = np.array([from_ms(t).strftime("%Y-%m") for t in seen.start_ms.tolist()])
    found = [
        HeatUp(str(m), median_estimate(rates[months == m], "K/min")) for m in np.unique(months)
    ]
    return tuple(h for h in found if h.rate.value is not None)


def heat_up_words(months: tuple[HeatUp, ...]) -> str:
    """Whether firings warm the water more slowly than a year before, same month against same."""
    by = {h.month: h.rate for h in months}
    for month in reversed(list(by)):
        year, rest = month.split("-")
        old, new = by.get(f"{int(year) - 1}-{rest}"), by[month]
        if old is None or old.low is None or new.high is None or not old.value or not new.value:
            continue
        change = f"{old.value:.1f} K/min in {int(year) - 1}-{rest}, {new.value:.1f} in {month}"
        if new.high < old.low:
            return (
                f"Warms more slowly than a year before: {change}. Scale, soot, a worn nozzle, "
                "less gas, or another pump setting."
            )
        return f"Warms as fast as a year before: {change}."
    return "No month can be compared with the same one a year before."
