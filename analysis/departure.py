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

from analysis.charts import ewma
from analysis.levels import BoolArray
from analysis.plant import Channel, Plant, Pump
from analysis.readings import FloatArray, IntArray, Record, hold_limit_ms, summarise, usual_step_ms
from analysis.timebase import SECOND_MS, Span

LEAST_LEARNED = 400
"""Values that teach the normal; what the protocol of the pump rig gives."""
LIMIT = 3.0
RETURNED = 0.3
"""A departure ends when less than this share of its greatest deviation is left."""
_SMOOTH_SHARE = 1 / 40
_REFERENCE_SHARE = 1 / 2
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
    step = float(np.ptp(values)) or max(abs(float(values[0])), 1.0)
    return max(usual, noise * np.sqrt(weight / 4), 1e-6 * step)


def _follow(
    smoothed: FloatArray, reference: float, *, scatter: float, follow: float
) -> tuple[FloatArray, BoolArray]:
    """Reference and state after the lesson; the reference waits while the value is away."""
    followed, state = np.empty(len(smoothed)), np.zeros(len(smoothed), bool)
    peak = 0.0
    for i, value in enumerate(smoothed.tolist()):
        away = (value - reference) / scatter
        if peak == 0.0 and abs(away) <= LIMIT:
            reference += follow * (value - reference)
        elif peak == 0.0 or abs(away) > abs(peak):
            peak = away
        if peak != 0.0 and away * np.sign(peak) < RETURNED * abs(peak):
            # It came back, or near: where it rests now is the new normal.
            reference = value if abs(away) > LIMIT else reference
            peak = 0.0
        followed[i], state[i] = reference, peak != 0.0
    return followed, state


def departures(values: FloatArray, learned: int) -> list[tuple[slice, Course]]:
    """Departed stretches of one channel, each with the course it was seen in."""
    seen = course(values, learned)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], seen.departed, [False]))))
    return [(slice(int(a), int(b)), seen) for a, b in edges.reshape(-1, 2)]


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
