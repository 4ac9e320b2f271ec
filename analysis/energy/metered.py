"""Electric energy as plugs and meters tell it: counters stitched, energy day by day."""

from dataclasses import dataclass

import numpy as np

from analysis.base.time import HOUR_MS, SECOND_MS, Span, local_day_edges
from analysis.plant.plant import Boiler, Channel, Plant, Pump
from analysis.readings.power_levels import run_state
from analysis.readings.readings import (
    FloatArray,
    IntArray,
    Readings,
    Record,
    hold_limit_ms,
    holds,
    summarise,
)
from analysis.readings.two_levels import BoolArray, weighted_quantile
from analysis.readings.worked_once import once
from analysis.weather.degree_days import Days

_LEAST_COVER = 0.5
"""Share of a day that must be known: lost messages are spread over it, more than nights are."""
_JITTER_KWH = 0.02
"""A counter that falls by less shows its last digit's unrest, no reset."""


def readings_of(
    plant: Plant, machine: Pump | Boiler, quantity: str, *, record: Record
) -> tuple[Channel, Readings] | None:
    """First channel of a machine's quantity that has readings, with them."""
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


# counters


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


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """A counter's steps between neighbouring readings: what was counted, and which are sure."""

    time_ms: IntArray
    counted: FloatArray
    is_reset: BoolArray
    is_jump: BoolArray

    @property
    def hours(self) -> FloatArray:
        """Length of each step [h]."""
        return np.asarray(np.diff(self.time_ms) / HOUR_MS, np.float64)

    @property
    def is_covered(self) -> BoolArray:
        """Steps over which nothing is lost."""
        return np.asarray(~(self.is_reset | self.is_jump))


def counter_steps(readings: Readings, *, most_w: float) -> Steps:
    """Steps of a cumulative counter [kWh], stitched over resets.

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
    known = _without_echoes(readings.known())
    step = np.diff(known.value)
    hours = np.diff(known.time_ms) / HOUR_MS
    limit_w = max(most_w, _usual_most_w(step, hours))
    possible: FloatArray = limit_w * hours / 1000 + _JITTER_KWH
    reset = step < -_JITTER_KWH
    jump = step > possible
    since = np.where(reset & (known.value[1:] <= possible), known.value[1:], 0.0)
    return Steps(known.time_ms, np.where(reset, since, np.where(jump, 0.0, step)), reset, jump)


_ECHO_MS = 5_000


def _without_echoes(known: Readings) -> Readings:
    """Counter readings without a broker's retained value that comes again after a silence.

    It repeats the last value a moment before the new one, and would turn all
    that was used meanwhile into a leap of seconds.
    """
    if len(known) < 3:
        return known
    apart = np.diff(known.time_ms)
    again = (np.diff(known.value)[:-1] == 0) & (apart[1:] < _ECHO_MS) & (apart[:-1] > 60_000)
    kept = np.concatenate(([True], ~again, [True]))
    return Readings(known.time_ms[kept], known.value[kept])


def energy_from_counter(readings: Readings, *, most_w: float) -> Counted:
    """Energy from a cumulative counter, see `counter_steps`."""
    steps = counter_steps(readings, most_w=most_w)
    if not len(steps.counted):
        return Counted(0.0, 0.0, 0, 0)
    return Counted(
        float(steps.counted.sum()),
        float(steps.hours[steps.is_covered].sum()),
        int(steps.is_reset.sum()),
        int(steps.is_jump.sum()),
    )


def _usual_most_w(step_kwh: FloatArray, hours: FloatArray) -> float:
    """Power the counter itself shows often [W]: what is frequent is no leap."""
    rising = step_kwh > 0
    if rising.sum() < 50:
        return 0.0
    return 3.0 * float(np.quantile(step_kwh[rising] / hours[rising], 0.95)) * 1000


# day by day


@dataclass(frozen=True, slots=True, eq=False)
class Metered:
    """What is known of a machine's use of energy.

    Attributes
    ----------
    days : Days
        Energy of whole local days [kWh]; NaN where too little of the day is known.
    running_w : float or None
        Power it reaches while running; None where it was not seen running.
    rests : float
        Share of the known time at rest.
    source : {"counter", "power"}
        What it was taken from.
    """

    days: Days
    running_w: float | None
    rests: float
    source: str


@once
def metered_days(
    plant: Plant, machine: Pump | Boiler, record: Record, span: Span
) -> Metered | None:
    """Energy of a machine by day, from its counter or its power, whichever knows more days.

    Parameters
    ----------
    plant : Plant
        Where the machine's channels and the zone are named.
    machine : Pump or Boiler
        Whose energy.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Time to look at.
    """
    edges = local_day_edges(span, plant.timezone)
    power = readings_of(plant, machine, "power", record=record)
    counter = readings_of(plant, machine, "energy", record=record)
    found = []
    if counter is not None:
        steps = counter_steps(counter[1].within(span), most_w=most_power_w(machine))
        if len(steps.counted):
            found.append(_from_counter(machine, steps, edges))
    if power is not None:
        found.append(_from_power(machine, *power, span=span, edges=edges))
    if not found:
        return None
    best = max(found, key=lambda one: one.days.known.sum())
    running = next((one.running_w for one in reversed(found) if one.running_w is not None), None)
    return Metered(best.days, running, found[-1].rests, best.source)


def counter_days(readings: Readings, edges_ms: IntArray, *, most_w: float) -> Days:
    """Energy of the days between edges, from a cumulative counter [kWh].

    Parameters
    ----------
    readings : Readings
        Counter values [kWh].
    edges_ms : ndarray of int64
        Local midnights [ms].
    most_w : float
        Greatest power that is possible [W].
    """
    steps = counter_steps(readings, most_w=most_w)
    if not len(steps.counted):
        return Days(edges_ms[:-1], np.full(len(edges_ms) - 1, np.nan))
    return _days_of(steps, edges_ms)


def _days_of(steps: Steps, edges: IntArray) -> Days:
    covered_h = np.append([0.0], np.cumsum(steps.hours * steps.is_covered))
    hours = np.diff(np.interp(edges, steps.time_ms, covered_h))
    return _whole(edges, np.diff(np.interp(edges, steps.time_ms, _total(steps))), hours)


def _total(steps: Steps) -> FloatArray:
    return np.append([0.0], np.cumsum(steps.counted * steps.is_covered))


def _from_counter(machine: Pump | Boiler, steps: Steps, edges: IntArray) -> Metered:
    watts, length = _hourly_w(steps, _total(steps))
    return Metered(_days_of(steps, edges), *_running(machine, watts, length), "counter")


def _hourly_w(steps: Steps, total: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean power of the hours of a counter, and their lengths."""
    start, end = steps.time_ms[0], steps.time_ms[-1]
    hours = np.arange(start, end + 1, HOUR_MS)
    watts = np.diff(np.interp(hours, steps.time_ms, total)) * 1000
    return watts, np.ones(len(watts))


def _from_power(
    machine: Pump | Boiler, channel: Channel, readings: Readings, *, span: Span, edges: IntArray
) -> Metered:
    hold_ms = hold_limit_ms(readings, channel)
    found = summarise(readings, edges, hold_ms)
    hours = found.covered_s * SECOND_MS / HOUR_MS
    days = _whole(edges, np.nan_to_num(found.mean) * hours / 1000, hours)
    known = holds(readings, hold_ms, span)
    length = (known.end_ms - known.start_ms) / HOUR_MS
    thin = slice(None, None, 1 + len(length) // 400_000)
    running = _running(machine, known.value[thin], length[thin])
    return Metered(days, *running, "power")


def _whole(edges: IntArray, kwh: FloatArray, hours: FloatArray) -> Days:
    """Energy of whole days, where enough of a day is known."""
    length = np.diff(edges) / HOUR_MS
    with np.errstate(invalid="ignore", divide="ignore"):
        return Days(
            edges[:-1], np.where(hours >= _LEAST_COVER * length, kwh / hours * length, np.nan)
        )


_BOILER_WORKS_W, _BOILER_SHARE = 2.0, 0.15
"""Below this no part of a boiler turns, nor below this share of what it mostly takes at work
(common practice, no source)."""


def _running(
    machine: Pump | Boiler, watts: FloatArray, hours: FloatArray
) -> tuple[float | None, float]:
    """Power reached while running [W], and share of the time at rest."""
    total = float(hours.sum())
    above_w = (
        run_state(watts, hours, machine).above_w if isinstance(machine, Pump) else _BOILER_WORKS_W
    )
    on = watts > above_w
    if total <= 0 or not on.any():
        return None, 1.0
    running = weighted_quantile(watts[on], hours[on], 0.9)
    if isinstance(machine, Boiler):
        on = watts >= max(_BOILER_SHARE * running, _BOILER_WORKS_W)
    return running, float(hours[~on].sum()) / total
