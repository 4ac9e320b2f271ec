"""The report's pictures, drawn by matplotlib without a display."""

from collections.abc import Sequence
from zoneinfo import ZoneInfo

import numpy as np
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter, date2num
from matplotlib.figure import Figure

from analysis.base.time import HOUR_MS, Span, from_ms, local_day_edges
from analysis.plant.plant import Plant, Pump
from analysis.readings.readings import FloatArray, IntArray, Record, hold_limit_ms, summarise
from dashboard.parts.charts import COLOURS
from dashboard.report.blocks import Picture, drawn

BLUE, ORANGE = COLOURS[0], COLOURS[1]
_LEAST_SHARE = 0.5
"""A day less covered than this is left out of the picture."""


def axes(height_in: float = 2.8) -> tuple[Figure, Axes]:
    """An empty picture as wide as the page."""
    figure = Figure(figsize=(7.0, height_in), layout="constrained")
    drawing = figure.add_subplot()
    drawing.grid(visible=True, alpha=0.3)
    for side in ("top", "right"):
        drawing.spines[side].set_visible(False)
    return figure, drawing


def daily_power(plant: Plant, pump: Pump, record: Record, span: Span) -> Picture | None:
    """Mean power of each day of a pump, with its swaps; None where nothing was measured."""
    days = _daily_means(plant, pump, record, span)
    if days is None:
        return None
    when = moments(days[0], plant.timezone)
    figure, drawing = axes()
    drawing.bar(when, days[1], width=0.9, color=BLUE)
    for swap in (s for s in plant.swaps if s.pump == pump.id):
        at = float(date2num(swap.time))
        drawing.axvline(at, color=ORANGE, linewidth=2)
        drawing.annotate(
            " swap", (at, 0.97), xycoords=("data", "axes fraction"), va="top", color=ORANGE
        )
    drawing.set_ylabel("mean power [W]")
    dates(drawing, plant.timezone)
    words = (
        f"Mean electric power of {pump.id}, day by day; days with less than half their readings "
        "are left out."
    )
    return drawn(figure, words)


def _daily_means(
    plant: Plant, pump: Pump, record: Record, span: Span
) -> tuple[IntArray, FloatArray] | None:
    channel = plant.first(pump.id, "power")
    readings = record.get(channel.id) if channel else None
    if channel is None or readings is None or not len(readings) or span.days < 1:
        return None
    edges = local_day_edges(span, plant.timezone)
    found = summarise(readings, edges, hold_limit_ms(readings, channel))
    share = found.covered_s * 1000 / np.diff(edges)
    known = share >= _LEAST_SHARE
    return (edges[:-1][known], found.mean[known]) if known.any() else None


def moments(time_ms: Sequence[int] | IntArray, timezone: str) -> FloatArray:
    """Noons of the days that begin at these moments, in the days of a picture."""
    zone = ZoneInfo(timezone)
    noons = [from_ms(int(t) + 12 * HOUR_MS).astimezone(zone) for t in time_ms]
    return np.asarray(date2num(noons), np.float64)


def dates(drawing: Axes, timezone: str) -> None:
    """Write the days under a picture."""
    zone = ZoneInfo(timezone)
    locator = AutoDateLocator(tz=zone)
    drawing.xaxis.set_major_locator(locator)
    drawing.xaxis.set_major_formatter(ConciseDateFormatter(locator, tz=zone))
