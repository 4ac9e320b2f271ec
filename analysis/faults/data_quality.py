"""Departure from a learned normal: where a channel leaves the level it kept, and comes back.

Unsupervised: the first part of the values teaches level and scatter, nothing is set per machine.
The smoothed value is compared with a slow reference that follows the normal wander and stands
still while the value is departed. Two limits keep a departure in one piece: it begins beyond
`LIMIT` scatters and ends when most of the way back is gone.

Judged over a finished stretch of time, so the smoothing looks both ways and adds no delay.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from analysis.base.quantities import QUANTITIES
from analysis.base.time import SECOND_MS, Span
from analysis.plant.finding import DataProblem
from analysis.plant.plant import Channel, Plant, Pump
from analysis.readings.readings import FloatArray, IntArray, Record, summarise, usual_step_ms
from analysis.readings.two_levels import BoolArray
from analysis.statistics.control_charts import ewma

LEAST_LEARNED = 400
"""Values that teach the normal; what the protocol of the pump rig gives."""
LIMIT = 3.0
RETURNED = 0.3
"""A departure ends when less than this share of its greatest deviation is left."""
_SMOOTH_SHARE = 1 / 40
_REFERENCE_SHARE = 1 / 2
_SETTLE_SHARE = 1 / 4
_MOST_VALUES = 20_000


class Course(NamedTuple):
    """Deviation of each value [learned scatters], and whether it counts as departed."""

    deviation: FloatArray
    departed: BoolArray
    reference: FloatArray
    smoothed: FloatArray


def course(values: FloatArray, learned: int) -> Course:
    """Follow one channel: learn from its first values, then tell departures.

    Parameters
    ----------
    values : ndarray of float64, shape (n,)
        In order and evenly spaced, all known.
    learned : int
        How many of the first values teach the normal; none of them is departed.

    Returns
    -------
    Course
        Arrays of shape (n,).
    """
    weight = min(1.0, 1.0 / max(_SMOOTH_SHARE * learned, 1.0))
    follow = 1.0 / max(_REFERENCE_SHARE * learned, 1.0)
    smoothed = _both_ways(values, weight)
    lesson = _both_ways(values[:learned], weight)
    level = float(np.median(values[: max(learned // 4, 1)]))
    reference = ewma(lesson, weight=follow, start=level).value
    distance = lesson - np.append([level], reference[:-1])
    scatter = _scatter(distance[learned // 4 :], values[:learned], weight)
    followed, departed = _follow(
        smoothed[learned:], float(reference[-1]), scatter=scatter, follow=follow
    )
    whole = np.concatenate((reference, followed))
    state = np.concatenate((np.zeros(learned, bool), departed))
    return Course((smoothed - whole) / scatter, state, whole, smoothed)


def _both_ways(values: FloatArray, weight: float) -> FloatArray:
    """Smooth forward, then backward: no delay."""
    head, tail = float(values[:20].mean()), float(values[-20:].mean())
    forward = ewma(values, weight=weight, start=head).value
    back = ewma(forward[::-1], weight=weight, start=min(max(tail, forward.min()), forward.max()))
    return back.value[::-1]


def _scatter(distance: FloatArray, values: FloatArray, weight: float) -> float:
    """Usual distance from the reference, not below what the smoothed noise alone gives."""
    usual = float(np.sqrt(np.mean(distance**2)))
    noise = float(np.sqrt(np.mean(np.diff(values) ** 2) / 2))
    size = float(np.ptp(values)) or max(abs(float(values[0])), 1.0)
    return max(usual, noise * float(np.sqrt(weight / 4)), 1e-6 * size)


def _follow(
    smoothed: FloatArray, reference: float, *, scatter: float, follow: float
) -> tuple[FloatArray, BoolArray]:
    """Reference and state after the lesson; the reference waits while the value is away."""
    followed, state = np.empty(len(smoothed)), np.zeros(len(smoothed), bool)
    peak, settle = 0.0, round(_SETTLE_SHARE / follow)
    for i, value in enumerate(smoothed.tolist()):
        away = (value - reference) / scatter
        if peak == 0.0 and abs(away) <= LIMIT:
            reference += follow * (value - reference)
        elif peak == 0.0 or abs(away) > abs(peak):
            peak = away
        if peak != 0.0 and away * np.sign(peak) < RETURNED * abs(peak):
            # It came back, or near: where it comes to rest is the new normal.
            reference = float(np.median(smoothed[i : i + settle]))
            peak = 0.0
        followed[i], state[i] = reference, peak != 0.0
    return followed, state


def departures(values: FloatArray, learned: int) -> list[tuple[slice, Course]]:
    """Departed stretches of one channel, each with the course it was seen in.

    Stretches closer than the smoothing can part are one.
    """
    seen = course(values, learned)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], seen.departed, [False]))))
    apart = np.diff(edges)[1::2] > _SMOOTH_SHARE * learned
    starts = edges[::2][np.append([True], apart)[: len(edges) // 2]]
    ends = edges[1::2][np.append(apart, [True])[-(len(edges) // 2) :]] if len(edges) else edges
    return [(slice(int(a), int(b)), seen) for a, b in zip(starts, ends, strict=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Departure:
    """One channel away from what it had shown; `end_ms` None while it lasts.

    `usual` and `seen` in the channel's unit, `deviation` in learned scatters, signed.
    """

    channel: str
    unit: str
    start_ms: int
    end_ms: int | None
    usual: float
    seen: float
    deviation: float

    @property
    def words(self) -> str:
        """What happened, as a person reads it."""
        side = "above" if self.deviation > 0 else "below"
        return (
            f"{side} what it showed before while the pump ran: {self.seen:.4g} {self.unit} "
            f"against {self.usual:.4g} ({abs(self.deviation):.1f} times its usual scatter)"
        )


_DUTY = ("flow", "current")
"""Quantities that tell how a pump works. Its temperatures wander with the weather and the load,
so that no level of theirs is a normal to depart from."""
_RUNNING = 0.2
"""A pump runs while its current is above this share of its usual one."""


def pump_departures(plant: Plant, pump: Pump, record: Record, span: Span) -> list[Departure]:
    """Departures of a pump's own flow and current while it runs.

    Needs a measured flow. The first third of the running time teaches, at least
    `LEAST_LEARNED` values; a shorter record gives none.

    Parameters
    ----------
    plant : Plant
        Names the channels.
    pump : Pump
        Which one.
    record : Record
        Readings by channel id.
    span : Span
        What is looked at.
    """
    channels = [c for q in _DUTY if (c := _measured(plant, pump, q, record)) is not None]
    if not channels or channels[0].quantity != "flow":
        return []
    time_ms, table = _running_together(channels, record, span)
    learned = max(LEAST_LEARNED, len(time_ms) // 3)
    if len(time_ms) < 1.5 * learned:
        return []
    found = []
    for channel, values in zip(channels, table, strict=True):
        for part, seen in departures(values, learned):
            found.append(_departure(channel, time_ms, part, seen))
    return sorted(found, key=lambda d: (d.start_ms, d.channel))


def _measured(plant: Plant, pump: Pump, quantity: str, record: Record) -> Channel | None:
    channel = plant.first(pump.id, quantity)
    return channel if channel is not None and len(record.get(channel.id, ())) > 1 else None


def _running_together(
    channels: Iterable[Channel], record: Record, span: Span
) -> tuple[IntArray, FloatArray]:
    """Moments at which every channel is known and the pump runs, and their values by channel."""
    chosen = list(channels)
    usual = max(usual_step_ms(record[c.id].within(span)) for c in chosen)
    step = max(usual, SECOND_MS, (span.end_ms - span.start_ms) // _MOST_VALUES)
    edges = np.arange(span.start_ms, span.end_ms + step, step, dtype=np.int64)
    # A value counts for its own step only: a filled gap would look steadier than it was.
    table = np.stack([summarise(record[c.id], edges, step).mean for c in chosen])
    there = ~np.isnan(table).any(axis=0)
    for channel, row in zip(chosen, table, strict=True):
        if channel.quantity == "current" and there.any():
            there &= row > _RUNNING * np.quantile(row[there], 0.75)
    return edges[:-1][there], table[:, there]


def _departure(channel: Channel, time_ms: IntArray, part: slice, seen: Course) -> Departure:
    inside = seen.deviation[part]
    at = part.start + int(np.argmax(np.abs(inside)))
    lasts = part.stop == len(time_ms)
    return Departure(
        channel=channel.id,
        unit=QUANTITIES[channel.quantity].unit,
        start_ms=int(time_ms[part.start]),
        end_ms=None if lasts else int(time_ms[part.stop]),
        usual=float(seen.reference[at]),
        seen=float(seen.smoothed[at]),
        deviation=float(seen.deviation[at]),
    )


def departed_channels(plant: Plant, record: Record, span: Span) -> tuple[DataProblem, ...]:
    """Departures of every pump with a measured flow, as notes on its channels.

    They name no fault: a valve turned, a filter filling, a leak and a meter
    drifting look alike in these channels alone.
    """
    return tuple(
        DataProblem(d.channel, d.words, d.start_ms, d.end_ms)
        for pump in plant.pumps
        for d in pump_departures(plant, pump, record, span)
    )
