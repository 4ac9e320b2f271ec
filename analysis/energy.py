"""Electric energy of pumps and boilers: measured, covered, and what it comes to in a year."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.estimate import Estimate, plain
from analysis.levels import two_levels
from analysis.plant import Boiler, Channel, Plant, Pump, Tariff
from analysis.readings import (
    FloatArray,
    Readings,
    Record,
    covered_hours,
    hold_limit_ms,
    holds,
)
from analysis.timebase import HOUR_MS, YEAR_H, Span


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
    power = _readings_of(plant, machine, "power", record=record)
    counter = _readings_of(plant, machine, "energy", record=record)
    if power:
        kwh, hours, run_hours = _from_power(*power, span)
    if counter:
        counted = energy_from_counter(counter[1].within(span), most_w=most_power_w(machine))
        if counted.covered_h >= hours:
            kwh, hours = counted.kwh, counted.covered_h
    per_year = _per_year(machine, kwh, hours)
    return EnergyUse(
        machine.id, kwh, hours, span.hours, run_hours, per_year, _cost(per_year, plant.tariff)
    )


def _readings_of(
    plant: Plant, machine: Pump | Boiler, quantity: str, *, record: Record
) -> tuple[Channel, Readings] | None:
    for channel in plant.select(machine.id, quantity):
        readings = record.get(channel.id)
        if readings is not None and len(readings):
            return channel, readings
    return None


def most_power_w(machine: Pump | Boiler) -> float:
    """Power the machine can hardly exceed [W], to tell counter jumps from consumption."""
    if isinstance(machine, Pump) and machine.rated_power_w:
        return 2.0 * machine.rated_power_w[1] + 20.0
    return 500.0


def _from_power(
    channel: Channel, readings: Readings, span: Span
) -> tuple[float, float, float | None]:
    """Energy [kWh], covered time [h] and running time [h] from power."""
    known = holds(readings, hold_limit_ms(readings, channel), span)
    hours = (known.end_ms - known.start_ms) / HOUR_MS
    kwh = float((known.value * hours).sum()) / 1000
    levels = two_levels(known, 2.0)
    threshold = levels.on if levels and levels.low < 0.3 * levels.high else 2.0
    return kwh, covered_hours(known), float(hours[known.value >= threshold].sum())


@dataclass(frozen=True, slots=True)
class Counted:
    """What a counter says.

    Attributes
    ----------
    kwh : float
        Sum of its steps over the covered time.
    covered_h : float
        Time over which it counted without a break [h].
    resets, jumps : int
        Falls taken as a reset; leaps that no such machine can use, left out.
    """

    kwh: float
    covered_h: float
    resets: int
    jumps: int


_JITTER_KWH = 0.02
"""A counter that falls by less shows its last digit's unrest, no reset."""


def energy_from_counter(readings: Readings, *, most_w: float) -> Counted:
    """Energy from a cumulative counter, stitched over resets.

    Between two readings a counter says exactly what was used, however long
    they lie apart. Where it fell, it counts on from zero if the new value is
    possible since then, else from an older saved value; either way what was
    used just before is unknown and the step is not covered. A leap above
    `most_w`, and above all that the counter usually shows, is no consumption.

    Parameters
    ----------
    readings : Readings
        Counter values [kWh].
    most_w : float
        Greatest power that is possible [W].
    """
    known = readings.known()
    if len(known) < 2:
        return Counted(0.0, 0.0, 0, 0)
    step = np.diff(known.value)
    hours = np.diff(known.time_ms) / HOUR_MS
    limit_w = max(most_w, _usual_most_w(step, hours))
    possible: FloatArray = limit_w * hours / 1000 + _JITTER_KWH
    reset = step < -_JITTER_KWH
    jump = step > possible
    since = np.where(reset & (known.value[1:] <= possible), known.value[1:], 0.0)
    counted = np.where(reset, since, np.where(jump, 0.0, step))
    covered = ~(reset | jump)
    return Counted(
        float(counted.sum()), float(hours[covered].sum()), int(reset.sum()), int(jump.sum())
    )


def _usual_most_w(step_kwh: FloatArray, hours: FloatArray) -> float:
    """Power the counter itself shows often [W]: what is frequent is no leap."""
    rising = step_kwh > 0
    if rising.sum() < 50:
        return 0.0
    return 3.0 * float(np.quantile(step_kwh[rising] / hours[rising], 0.95)) * 1000


def _per_year(machine: Pump | Boiler, kwh: float, hours: float) -> Estimate:
    """First honest bounds for a year: the season is not yet in them.

    A year's coverage is scaled by its share. With less, the machine has used
    at least what was measured and at most its mean power all year; where it is
    always on, the mean power holds all year.
    """
    unit = "kW.h"
    if hours < 24:
        return Estimate.unknown(unit, "less than a day of readings")
    scaled = kwh / hours * YEAR_H
    if hours >= 0.9 * YEAR_H:
        share = min(hours / YEAR_H, 1.0)
        spread = 0.03 + (1 - share)
        return Estimate(scaled, scaled * (1 - spread), scaled * (1 + spread), unit, "a whole year")
    if isinstance(machine, Pump) and machine.always_on:
        return Estimate(scaled, scaled * 0.9, scaled * 1.1, unit, "always on: mean power all year")
    return Estimate(
        (kwh + scaled) / 2,
        kwh,
        scaled,
        unit,
        f"{hours / 24:.0f} days only: between what was measured and its mean power all year",
    )


def _cost(per_year: Estimate, tariff: Tariff) -> Estimate:
    if tariff.electricity_per_kwh is None:
        return Estimate.unknown(tariff.currency, "no electricity price in [tariff]")
    return per_year.times(tariff.electricity_per_kwh, tariff.currency)
