"""Electric energy of pumps and boilers: measured, covered, and what it comes to in a year."""

from dataclasses import dataclass
from typing import Any

from analysis.base.estimate import Estimate, plain
from analysis.base.time import HOUR_MS, Span
from analysis.energy.machine_year import KWH, metered_year
from analysis.energy.metered import energy_from_counter, most_power_w, readings_of
from analysis.plant.installed_pump import placed_pumps
from analysis.plant.plant import Boiler, Channel, Plant, Pump, Tariff
from analysis.readings.power_levels import pump_state
from analysis.readings.readings import (
    Holds,
    Readings,
    Record,
    covered_hours,
    hold_limit_ms,
    holds,
)
from analysis.readings.two_levels import two_levels

_WORKS_W = 2.0
"""Below this no part of a boiler turns (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class EnergyUse:
    """Electric energy of one machine over a span.

    `measured_kwh` is what was seen, `covered_hours` the time it was seen over;
    what lies in gaps is unknown and in neither. `run_hours` is None where the
    readings cannot tell running from rest.
    """

    subject: str
    measured_kwh: float
    covered_hours: float
    span_hours: float
    run_hours: float | None
    per_year: Estimate
    cost_per_year: Estimate

    @property
    def coverage(self) -> float:
        """Share of the span that is covered."""
        return min(self.covered_hours / self.span_hours, 1.0) if self.span_hours > 0 else 0.0

    @property
    def mean_power_w(self) -> float | None:
        """Mean power over the covered time [W]."""
        return self.measured_kwh / self.covered_hours * 1000 if self.covered_hours > 0 else None

    def document(self, kind: str) -> dict[str, Any]:
        """Return the JSON form; `kind` is ``pump`` or ``boiler``."""
        return {
            kind: self.subject,
            "measured_kwh": plain(self.measured_kwh, 9),
            "covered_hours": plain(self.covered_hours, 9),
            "span_hours": plain(self.span_hours, 9),
            "coverage": plain(self.coverage, 4),
            "mean_power_w": plain(self.mean_power_w),
            "run_hours": plain(self.run_hours),
            "per_year": self.per_year.document(),
            "cost_per_year": self.cost_per_year.document(),
        }


def energy_use(plant: Plant, machine: Pump | Boiler, record: Record, span: Span) -> EnergyUse:
    """Electric energy of a pump or boiler, from its counter or its power.

    A counter is preferred, as it goes on counting while readings are missing.

    Parameters
    ----------
    plant : Plant
        Where the machine's channels are named, and the tariff.
    machine : Pump or Boiler
        Whose energy.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Time to look at.
    """
    kwh = hours = 0.0
    run_hours = None
    power = readings_of(plant, machine, "power", record=record)
    counter = readings_of(plant, machine, "energy", record=record)
    if power:
        kwh, hours = _from_power(*power, span)
        run_hours = _run_hours(plant, machine, record, span)
    if counter:
        counted = energy_from_counter(counter[1].within(span), most_w=most_power_w(machine))
        if counted.covered_h >= hours:
            kwh, hours = counted.kwh, counted.covered_h
    per_year = _per_year(plant, machine, record, span)
    return EnergyUse(
        machine.id, kwh, hours, span.hours, run_hours, per_year, _cost(per_year, plant.tariff)
    )


def _from_power(channel: Channel, readings: Readings, span: Span) -> tuple[float, float]:
    """Energy [kWh] and covered time [h] from power."""
    known = holds(readings, hold_limit_ms(readings, channel), span)
    hours = (known.end_ms - known.start_ms) / HOUR_MS
    return float((known.value * hours).sum()) / 1000, covered_hours(known)


def _run_hours(plant: Plant, machine: Pump | Boiler, record: Record, span: Span) -> float | None:
    """Running time from power [h], of each pump that was in place by its own levels."""
    found = readings_of(plant, machine, "power", record=record)
    if found is None:
        return None
    channel, readings = found
    hold_ms = hold_limit_ms(readings, channel)
    if isinstance(machine, Boiler):
        known = holds(readings, hold_ms, span)
        return _hours_above(known, _boiler_works_w(known))
    placed = placed_pumps(plant, machine, span)
    states = [(part, pump_state(plant, one, record, part)) for part, one in placed]
    if not any(state is not None and state.is_told for _, state in states):
        return None
    return sum(
        _hours_above(holds(readings, hold_ms, part), state.above_w)
        for part, state in states
        if state is not None
    )


def _boiler_works_w(known: Holds) -> float:
    """Power above which a boiler's fan or pump works [W]."""
    levels = two_levels(known, _WORKS_W)
    return levels.on if levels and levels.low < 0.3 * levels.high else _WORKS_W


def _hours_above(known: Holds, above_w: float) -> float:
    hours = (known.end_ms - known.start_ms) / HOUR_MS
    return float(hours[known.value >= above_w].sum())


def _per_year(plant: Plant, machine: Pump | Boiler, record: Record, span: Span) -> Estimate:
    year = metered_year(plant, machine, record, span)
    return Estimate.unknown(KWH, year) if isinstance(year, str) else year.estimate()


def _cost(per_year: Estimate, tariff: Tariff) -> Estimate:
    if tariff.electricity_per_kwh is None:
        return Estimate.unknown(tariff.currency, "no electricity price in [tariff]")
    return per_year.times(tariff.electricity_per_kwh, tariff.currency)
