"""What a machine uses in a year, and what that costs, each with the interval it deserves."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.base.estimate import Estimate
from analysis.base.time import Span, local_day_edges
from analysis.energy.at_present_setting import as_set
from analysis.energy.instrument_limits import meter_of
from analysis.energy.metered import Metered, metered_days, readings_of
from analysis.energy.season_model import YearDraws, years_together
from analysis.energy.season_weather import History
from analysis.energy.standby import unseen_standby_w
from analysis.energy.use_patterns import Kind
from analysis.plant.installed_pump import Placed, is_switched, placed_pumps
from analysis.plant.plant import Boiler, Plant, Pump
from analysis.readings.readings import FloatArray, Readings, Record
from analysis.readings.worked_once import once
from analysis.statistics.uncertainty import Meter
from analysis.weather.degree_days import YEAR_DAYS, Days, outdoor_days

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


LEAST_DAYS = 3
"""Fewer measured days of a pump are no measurement of it, for those of another to stand on."""


@dataclass(frozen=True, slots=True, eq=False)
class MeteredYear:
    """A machine's year: possibilities [kWh], equally likely, and what they rest on.

    `as_read` is what its plug would read, `kwh` has the plug's error in it.
    """

    kwh: FloatArray
    as_read: FloatArray
    basis: str

    def estimate(self, *, confidence: float = 0.95) -> Estimate:
        """Energy of the year with its interval."""
        tail = (1.0 - confidence) / 2.0
        low, middle, high = np.quantile(self.kwh, (tail, 0.5, 1.0 - tail))
        return Estimate(float(middle), float(low), float(high), KWH, self.basis, confidence)


@once
def metered_year(
    plant: Plant, machine: Pump | Boiler, record: Record, span: Span
) -> MeteredYear | str:
    """Energy of a machine's year from any history of a day or more, or why there is none.

    The year is the one that begins with the history, or of a longer history
    the last 365 days; of an exchanged pump it is the new one's, and it goes on as it is set now.
    Days that were not measured come from the season, of which the old pump's days tell as well.

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
    placed = placed_pumps(plant, machine, span) if isinstance(machine, Pump) else []
    if len(placed) > 1:
        return years_about(plant, placed[-2], placed[-1], record).new
    here = placed[0].pump if placed else machine
    stretch = _stretch(plant, here, record, span)
    if isinstance(stretch, str):
        return stretch
    return _years((stretch,), outdoor_days(plant, record, span))[0]


@dataclass(frozen=True, slots=True, eq=False)
class YearsAbout:
    """Years of the pump before a swap and of the one after it, or why there is none of one.

    Where `are_paired` the possibilities belong together, row by row: the difference of two rows
    is a saving. Else each stands for itself. `outdoor` is the weather of both, None where unknown.
    """

    old: MeteredYear | str
    new: MeteredYear | str
    are_paired: bool
    outdoor: Days | None = None


def years_about(plant: Plant, old: Placed, new: Placed, record: Record) -> YearsAbout:
    """Years of two pumps of which the second took the place of the first.

    They are paired where the same hours call for both and both were measured.

    Parameters
    ----------
    plant : Plant
        Where channels and swaps are named.
    old, new : Placed
        The two pumps with their stretches, see `analysis.plant.installed_pump.placed_pumps`.
    record : mapping of str to Readings
        What was measured.
    """
    outdoor = outdoor_days(plant, record, Span(old.span.start_ms, new.span.end_ms))
    before, after = (
        _stretch(plant, one.pump, record, _whole_days(plant, one.span)) for one in (old, new)
    )
    if isinstance(before, str) or isinstance(after, str) or not _are_alike(before, after):
        first, second = (
            one if isinstance(one, str) else _years((one,), outdoor)[0] for one in (before, after)
        )
        return YearsAbout(first, second, are_paired=False, outdoor=outdoor)
    both = _years((before, after), outdoor)
    days = int(before.history.days.known.sum())
    told = f"{both[1].basis}; {days} days of the pump before it tell of the season as well"
    return YearsAbout(both[0], replace(both[1], basis=told), are_paired=True, outdoor=outdoor)


def _are_alike(before: "_Stretch", after: "_Stretch") -> bool:
    """Whether the same hours call for both, and both were measured."""
    # one that never rested and gave way to one that is switched had other hours
    is_freed = before.history.is_always_on and after.history.is_switched
    return not is_freed and before.is_enough and after.is_enough


@dataclass(frozen=True, slots=True, eq=False)
class _Stretch:
    """What is known of a machine over a stretch of time.

    `surplus_kwh` is what its days hold more than was measured, `shown` its power as read; the
    history's weather is laid in when its year is drawn.
    """

    machine: Pump | Boiler
    metered: Metered
    history: History
    surplus_kwh: float
    meter: Meter
    shown: Readings | None

    @property
    def is_enough(self) -> bool:
        """Whether it was measured for long enough, and seen running."""
        has_run = self.metered.running_w is not None
        return has_run and int(self.history.days.known.sum()) >= LEAST_DAYS


def _stretch(plant: Plant, machine: Pump | Boiler, record: Record, span: Span) -> _Stretch | str:
    """What is known of a machine over a span, but for the weather."""
    metered = metered_days(plant, machine, record, span)
    if metered is None:
        return "less than a day of readings"
    if not metered.days.known.any():
        return "less than a day of readings without gaps"
    metered, surplus = _as_set_now(plant, machine, metered, record=record, span=span)
    power = readings_of(plant, machine, "power", record=record)
    return _Stretch(
        machine,
        metered,
        _history(plant, machine, metered, span),
        surplus,
        _meter(plant, machine),
        None if power is None else power[1].within(span),
    )


def _years(stretches: tuple[_Stretch, ...], outdoor: Days | None) -> tuple[MeteredYear, ...]:
    """Years of one machine, or of two that one house calls for alike, in weather as measured."""
    drawn = years_together([replace(one.history, outdoor=outdoor) for one in stretches])
    return tuple(_metered(one, year) for one, year in zip(stretches, drawn, strict=True))


def _metered(stretch: _Stretch, drawn: YearDraws) -> MeteredYear:
    machine, kwh = stretch.machine, np.maximum(drawn.kwh - stretch.surplus_kwh, 0.0)
    unseen = _unseen_kwh(stretch, kwh)
    factor = _meter_factor(machine, stretch.metered, kwh, meter=stretch.meter)
    words = f"{drawn.measured_days} of {YEAR_DAYS} days measured; {drawn.words}"
    return MeteredYear(kwh * factor + unseen, kwh + unseen, f"{words}; plug error included")


def _whole_days(plant: Plant, span: Span) -> Span:
    """The local days that lie wholly within a span, or the span where none does."""
    edges = local_day_edges(span, plant.timezone)
    inside = edges[(edges >= span.start_ms) & (edges <= span.end_ms)]
    return Span(int(inside[0]), int(inside[-1])) if len(inside) > 1 else span


def _as_set_now(
    plant: Plant, machine: Pump | Boiler, metered: Metered, *, record: Record, span: Span
) -> tuple[Metered, float]:
    """The machine as it was set last, and what its days then hold more than measured [kWh]."""
    changed = (
        as_set(plant, machine, record, span, metered.days) if isinstance(machine, Pump) else None
    )
    if changed is None:
        return metered, 0.0
    since = metered_days(plant, machine, record, Span(changed.since_ms, span.end_ms))
    running_w = metered.running_w if since is None else since.running_w
    return replace(metered, days=changed.days, running_w=running_w), changed.surplus_kwh


def _unseen_kwh(stretch: _Stretch, kwh: FloatArray) -> FloatArray:
    """What a pump at rest may draw unseen by its plug [kWh a year]."""
    if stretch.shown is None or not isinstance(stretch.machine, Pump):
        return np.zeros(len(kwh))
    running_w = stretch.history.full_kwh[0] / 0.024
    rest_h = np.maximum(24.0 * YEAR_DAYS - kwh * 1000.0 / running_w, 0.0)
    return rest_h * unseen_standby_w(stretch.machine, stretch.shown, number=len(kwh)) / 1000.0


def _history(plant: Plant, machine: Pump | Boiler, metered: Metered, span: Span) -> History:
    pump = machine if isinstance(machine, Pump) else None
    watts, spread = _full_power(machine, metered)
    return History(
        days=_clipped(metered.days),
        outdoor=None,
        full_kwh=(watts * 0.024, spread),
        is_steady=pump is not None and pump.drive == "induction",
        rests=metered.rests,
        kind="boiler" if pump is None else _KINDS[pump.duty],
        is_always_on=pump is not None and pump.always_on,
        timezone=plant.timezone,
        is_switched=pump is not None and is_switched(plant, pump, span),
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
