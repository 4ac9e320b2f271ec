"""What a machine uses in a year, and what that costs, each with the interval it deserves."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.as_set import as_set
from analysis.climate import YEAR_DAYS, Days, outdoor_days
from analysis.estimate import Estimate
from analysis.habits import Kind
from analysis.metered import Metered, metered_days, readings_of
from analysis.plant import Boiler, Plant, Pump
from analysis.readings import FloatArray, Record
from analysis.season import year_draws
from analysis.season_weather import History
from analysis.standby import unseen_standby_w
from analysis.timebase import Span, to_ms
from analysis.tolerances import meter_of
from analysis.uncertainty import Meter

KWH = "kW.h"
_KINDS: dict[str, Kind] = {
    "heating": "heating", "other": "heating", "store": "water", "recirculation": "water",
}  # fmt: skip
_USUAL_W = {"induction": 60.0, "electronic": 20.0}
"""Usual power of a pump that was never seen running [W] (common practice, no source)."""
LOW_FACTOR = 0.02
"""An electronic pump's power factor is low, where plugs read too little rather than too much."""
OWN_USE = Estimate(
    8.8, 4.4, 13.1, KWH, "0.5 to 1.5 W all year, usual for plugs (common practice, not measured)"
)
"""What a plug itself uses in a year; it is in none of the machines' figures."""


@dataclass(frozen=True, slots=True, eq=False)
class MeteredYear:
    """A machine's year: possibilities [kWh], equally likely, and what they rest on."""

    kwh: FloatArray
    basis: str

    def estimate(self, *, confidence: float = 0.95) -> Estimate:
        """Energy of the year with its interval."""
        tail = (1.0 - confidence) / 2.0
        low, middle, high = np.quantile(self.kwh, (tail, 0.5, 1.0 - tail))
        return Estimate(float(middle), float(low), float(high), KWH, self.basis, confidence)


def metered_year(
    plant: Plant, machine: Pump | Boiler, record: Record, span: Span
) -> MeteredYear | str:
    """Energy of a machine's year from any history of a day or more, or why there is none.

    The year is the one that begins with the history, or of a longer history
    the last 365 days; of an exchanged pump only the time since the exchange
    counts, and it goes on as it is set now. Days that were not measured come from the season.

    Parameters
    ----------
    plant : Plant
        Where machine and channels are named.
    machine : Pump or Boiler
        Whose energy.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Time to look at.
    """
    since = _since_swap(plant, machine, span)
    metered = metered_days(plant, machine, record, since)
    if metered is None:
        return "less than a day of readings"
    if not metered.days.known.any():
        return "less than a day of readings without gaps"
    metered, surplus = _as_set_now(plant, machine, metered, record=record, span=since)
    history = _history(plant, machine, metered, outdoor_days(plant, record, since))
    drawn = year_draws(history)
    kwh = np.maximum(drawn.kwh - surplus, 0.0)
    kwh = kwh * _meter_factor(machine, metered, kwh, meter=_meter(plant, machine))
    return MeteredYear(
        kwh + _unseen_kwh(plant, machine, record, running_w=history.full_kwh[0] / 0.024, kwh=kwh),
        f"{drawn.measured_days} of {YEAR_DAYS} days measured; {drawn.words}; plug error included",
    )


def _as_set_now(
    plant: Plant, machine: Pump | Boiler, metered: Metered, *, record: Record, span: Span
) -> tuple[Metered, float]:
    """The machine as it is set now, and what its days then hold more than was measured [kWh]."""
    changed = (
        as_set(plant, machine, record, span, metered.days) if isinstance(machine, Pump) else None
    )
    if changed is None:
        return metered, 0.0
    since = metered_days(plant, machine, record, Span(changed.since_ms, span.end_ms))
    running_w = metered.running_w if since is None else since.running_w
    return replace(metered, days=changed.days, running_w=running_w), changed.surplus_kwh


def _unseen_kwh(
    plant: Plant, machine: Pump | Boiler, record: Record, *, running_w: float, kwh: FloatArray
) -> FloatArray:
    """What a pump at rest may draw unseen by its plug [kWh a year]."""
    power = readings_of(plant, machine, "power", record=record)
    if power is None or not isinstance(machine, Pump):
        return np.zeros(len(kwh))
    rest_h = np.maximum(24.0 * YEAR_DAYS - kwh * 1000.0 / running_w, 0.0)
    return rest_h * unseen_standby_w(machine, power[1], number=len(kwh)) / 1000.0


def _since_swap(plant: Plant, machine: Pump | Boiler, span: Span) -> Span:
    times = [to_ms(swap.time) for swap in plant.swaps if swap.pump == machine.id]
    past = [t for t in times if t < span.end_ms]
    return Span(max([span.start_ms, *past]), span.end_ms)


def _history(
    plant: Plant, machine: Pump | Boiler, metered: Metered, outdoor: Days | None
) -> History:
    pump = machine if isinstance(machine, Pump) else None
    watts, spread = _full_power(machine, metered)
    return History(
        days=_clipped(metered.days),
        outdoor=outdoor,
        full_kwh=(watts * 0.024, spread),
        is_steady=pump is not None and pump.drive == "induction",
        rests=metered.rests,
        kind="boiler" if pump is None else _KINDS[pump.duty],
        is_always_on=pump is not None and pump.always_on,
        timezone=plant.timezone,
    )


def _clipped(days: Days) -> Days:
    """Days from the first to the last that is known, of at most two years."""
    known = np.flatnonzero(days.known)
    first = max(known[0], known[-1] - 2 * YEAR_DAYS + 1)
    return Days(days.start_ms[first : known[-1] + 1], days.value[first : known[-1] + 1])


def _full_power(machine: Pump | Boiler, metered: Metered) -> tuple[float, float]:
    """Power while it runs [W] and how far that may be off, as a relative spread."""
    if metered.running_w is not None:
        steady = isinstance(machine, Pump) and machine.drive == "induction"
        return metered.running_w, 0.06 if steady else 0.2
    if isinstance(machine, Boiler):
        return 40.0, 0.7
    if machine.rated_power_w is not None:
        low, high = machine.rated_power_w
        return max(0.3 * low + 0.7 * high, 1.0), 0.35
    return _USUAL_W[machine.drive], 0.7


def _meter(plant: Plant, machine: Pump | Boiler) -> Meter:
    return meter_of(plant.first(machine.id, "energy") or plant.first(machine.id, "power"))


def _meter_factor(
    machine: Pump | Boiler, metered: Metered, kwh: FloatArray, *, meter: Meter
) -> FloatArray:
    """What the plug may be wrong by, as factors: its class, its offset, low power factor."""
    rng = np.random.default_rng(23)
    mean_w = max(float(np.median(kwh)) / (YEAR_DAYS * 0.024), 0.1)
    running = 1.0 - metered.rests
    of_one = meter.uncertainty_w(mean_w / max(running, 0.05)) * max(running, 0.05) / mean_w
    factor = 1.0 + min(of_one, 0.3) * rng.standard_normal(len(kwh))
    if isinstance(machine, Pump) and machine.drive == "electronic":
        factor += LOW_FACTOR * np.abs(rng.standard_normal(len(kwh)))
    return np.maximum(np.asarray(factor, np.float64), 0.0)
