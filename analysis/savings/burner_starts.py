"""Whether the boiler starts more or less often since a pump's exchange, at equal weather."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.base.estimate import Estimate, plain
from analysis.base.time import Span, local_day_edges, to_ms
from analysis.firing.burner_cycles import boiler_cycles
from analysis.plant.plant import Boiler, Plant, Swap
from analysis.readings.readings import FloatArray, IntArray, Record
from analysis.readings.two_levels import BoolArray
from analysis.savings.equal_context import temperature_on
from analysis.statistics.uncertainty import effective_count, expansion, lag1
from analysis.weather.degree_days import Days, outdoor_days

LEAST_DAYS = 5
"""Whole days wanted on each side of the exchange."""
_PER_DAY = "1/d"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycling:
    """Starts of one boiler by day: means as seen, and the change at equal outdoor temperature."""

    boiler: str
    before_per_day: float
    after_per_day: float
    change: Estimate

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "boiler": self.boiler,
            "before_per_day": plain(self.before_per_day, 4),
            "after_per_day": plain(self.after_per_day, 4),
            "change_per_day": self.change.document(),
        }


def changed_cycling(
    plant: Plant, boiler: Boiler, swap: Swap, *, record: Record, span: Span
) -> Cycling | None:
    """Compare a boiler's starts a day before and after a pump's exchange.

    Days are compared by a straight line over outdoor temperature common to
    both sides, the residuals' memory in the interval. What else changed with
    the exchange cannot be told from it.

    Parameters
    ----------
    plant : Plant
        Where channels and zone are named.
    boiler : Boiler
        Whose starts.
    swap : Swap
        The exchange; its own day is left out.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Time to look at.

    Returns
    -------
    Cycling or None
        None where a side has too few days, or no source tells the firings.
    """
    edges = local_day_edges(span, plant.timezone)
    edges = edges[(edges >= span.start_ms) & (edges <= span.end_ms)]
    found = boiler_cycles(plant, boiler, record, span)
    if len(edges) < 2 * LEAST_DAYS or not found.cycles:
        return None
    starts = np.histogram([c.start_ms for c in found.cycles], bins=edges)[0].astype(np.float64)
    at = to_ms(swap.time)
    before, after = edges[1:] <= at, edges[:-1] >= at
    if before.sum() < LEAST_DAYS or after.sum() < LEAST_DAYS:
        return None
    there = before | after
    change = _change(
        starts[there], after[there], _temperature(plant, record, span, edges[:-1][there])
    )
    return Cycling(
        boiler=boiler.id,
        before_per_day=float(starts[before].mean()),
        after_per_day=float(starts[after].mean()),
        change=change,
    )


def cyclings(plant: Plant, swap: Swap, record: Record, *, span: Span) -> list[Cycling]:
    """Changed cycling of every boiler whose starts are known, see `changed_cycling`."""
    found = (changed_cycling(plant, b, swap, record=record, span=span) for b in plant.boilers)
    return [one for one in found if one is not None]


def _temperature(plant: Plant, record: Record, span: Span, start_ms: IntArray) -> FloatArray:
    outdoor: Days | None = outdoor_days(plant, record, span)
    return temperature_on(outdoor, start_ms)


def _change(starts: FloatArray, is_after: BoolArray, temp_c: FloatArray) -> Estimate:
    """Step of the starts at the exchange, with its 95 % interval."""
    known = np.isfinite(temp_c)
    is_matched = known.mean() > 0.8 and min(is_after[known].sum(), (~is_after)[known].sum()) >= 3
    rows = known if is_matched else np.ones(len(starts), bool)
    columns = [np.ones(rows.sum()), is_after[rows].astype(float)]
    if is_matched:
        columns.append(temp_c[rows])
    design = np.column_stack(columns)
    fit = np.linalg.lstsq(design, starts[rows], rcond=None)[0]
    residual = starts[rows] - design @ fit
    free = max(len(residual) - design.shape[1], 1)
    memory = min(max(lag1(residual, in_time_order=True), 0.0), 0.9)
    inflation = len(residual) / effective_count(len(residual), memory)
    variance = float(residual @ residual) / free * inflation
    error = float(np.sqrt(variance * np.linalg.pinv(design.T @ design)[1, 1]))
    half = expansion(0.95, max(free / inflation, 2.0)) * error
    words = "days at equal outdoor temperature" if is_matched else "no outdoor sensor to match by"
    value = float(fit[1])
    return Estimate(value, value - half, value + half, _PER_DAY, words)
