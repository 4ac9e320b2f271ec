"""A page of pictures of the rehearsed cases, for an engineer to look through."""

from collections.abc import Iterable
from html import escape
from pathlib import Path

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from analysis.base.time import DAY_MS, HOUR_MS, Span
from analysis.readings.readings import Readings
from analysis.rehearsal.plan.cases import CASES, cases
from analysis.rehearsal.rehearse import Rehearsal, rehearse

SHOWN_MS = int(1.6 * DAY_MS)
INK = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00", "#000000")
"""Okabe-Ito colours (Wong, Nature Methods 8:441, 2011)."""
CONFIG = {"displaylogo": False, "modeBarButtonsToRemove": ["sendChartToCloud"]}


def write_pictures(path: Path, case: str | None, seed: int) -> None:
    """Draw one case, or all of them, around what befalls the house, into one HTML page."""
    names = list(cases()) if case in (None, "all") else [str(case)]
    parts = [_head()]
    for k, name in enumerate(names):
        rehearsal = rehearse(name, CASES[name].shown_days, seed + k, year=False)
        parts.append(f"<h2>{escape(name)}</h2><p>{escape(_words(name, rehearsal))}</p>")
        figure = picture(rehearsal)
        parts.append(figure.to_html(full_html=False, include_plotlyjs=k == 0, config=CONFIG))
    path.write_text("\n".join([*parts, "</body></html>"]), encoding="utf-8")


def _head() -> str:
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        "<title>Rehearsed cases</title></head><body style='font-family:sans-serif'>"
        "<h1>Rehearsed cases</h1><p>Readings of a model, nothing here was measured. Shaded: the "
        "fault (red) and what only looks like one (grey).</p>"
    )


def _words(name: str, rehearsal: Rehearsal) -> str:
    plant = rehearsal.plant
    boiler = plant.boilers[0]
    pumps = ", ".join(
        f"{pump.id} {pump.drive} at {(rehearsal.truth.settings or {}).get(pump.id)}"
        for pump in plant.pumps
    )
    kind = "condensing " if boiler.condensing else ""
    return (
        f"{cases()[name]}. {plant.name}: {kind}{boiler.fuel} boiler, {boiler.input_kw:.0f} kW, "
        f"{rehearsal.scene.spec.control}-controlled; {pumps}."
    )


def picture(rehearsal: Rehearsal) -> go.Figure:
    """Temperatures, boiler power, pump power and pressure of the telling days."""
    span = telling_span(rehearsal)
    rows = _rows(rehearsal)
    figure = make_subplots(
        rows=len(rows),
        shared_xaxes=True,
        vertical_spacing=0.03,
        row_heights=[3.0, *[1.3] * (len(rows) - 1)],
    )
    for k, (title, channels) in enumerate(rows, 1):
        _draw(figure, k, rehearsal, channels, span)
        figure.update_yaxes(title_text=title, row=k, col=1)
    figure.update_yaxes(range=[-15.0, 100.0], row=1, col=1)
    for shade, begin, end in _shades(rehearsal, span):
        figure.add_vrect(
            x0=_time(begin), x1=_time(end), fillcolor=shade, opacity=0.13, line_width=0
        )
    figure.update_layout(
        height=230 + 130 * len(rows),
        width=1250,
        template="plotly_white",
        margin={"l": 60, "r": 10, "t": 20, "b": 30},
    )
    return figure


def telling_span(rehearsal: Rehearsal) -> Span:
    """Stretch around the fault, the marked event, or the middle of the record."""
    truth = rehearsal.truth
    at = (truth.start_ms + truth.end_ms) // 2
    marked = [n.start_ms for n in truth.negatives if n.what in truth.case]
    if truth.swap is not None:
        at = truth.swap.time_ms
    elif truth.faults:
        fault = truth.faults[0]
        at = fault.separable_ms or fault.detectable_ms or fault.onset_ms
    elif marked:
        at = marked[0]
    start = min(max(at - int(0.6 * DAY_MS), truth.start_ms), truth.end_ms - SHOWN_MS)
    return Span(start, start + SHOWN_MS)


def _rows(rehearsal: Rehearsal) -> list[tuple[str, list[str]]]:
    plant = rehearsal.plant
    temperatures = [c.id for c in plant.channels if c.quantity == "temperature"]
    pumps = [c.id for p in plant.pumps for c in plant.select(of=p.id, quantity="power")]
    rows = [("temperature, °C", temperatures), ("pumps, W", pumps)]
    for quantity, title in (("power_factor", "power factor"), ("pressure", "pressure, bar")):
        found = [c.id for c in plant.select(quantity=quantity)]
        if found:
            rows.append((title, found))
    boilers = [c.id for b in plant.boilers for c in plant.select(of=b.id, quantity="power")]
    return [*rows, ("boiler, W", boilers)] if boilers else rows


def _draw(
    figure: go.Figure, row: int, rehearsal: Rehearsal, channels: Iterable[str], span: Span
) -> None:
    for k, channel in enumerate(channels):
        readings = _thinned(rehearsal.record[channel].within(span))
        figure.add_trace(
            go.Scatter(
                x=(readings.time_ms // 1000).astype("datetime64[s]"),
                y=np.round(readings.value, 2),
                name=channel,
                mode="lines",
                line={
                    "width": 1.2,
                    "color": INK[k % len(INK)],
                    "shape": "hv",
                    "dash": "solid" if k < len(INK) else "dot",
                },
                legend=f"legend{row}" if row > 1 else "legend",
            ),
            row=row,
            col=1,
        )
    top = 1.0 - (row - 1) * 0.9 / max(len(_rows(rehearsal)), 1)
    figure.update_layout({f"legend{row}" if row > 1 else "legend": {"y": top, "x": 1.01}})


def _thinned(readings: Readings, most: int = 1100) -> Readings:
    step = max(len(readings) // most, 1)
    return Readings(readings.time_ms[::step], readings.value[::step])


def _shades(rehearsal: Rehearsal, span: Span) -> list[tuple[str, int, int]]:
    truth = rehearsal.truth
    found = [("#D55E00", f.onset_ms, f.end_ms or truth.end_ms) for f in truth.faults]
    found += [
        ("#777777", n.start_ms, max(n.end_ms, n.start_ms + HOUR_MS // 6))
        for n in truth.negatives
        if n.end_ms - n.start_ms < 0.9 * (truth.end_ms - truth.start_ms)
    ]
    return [
        (shade, max(a, span.start_ms), min(b, span.end_ms))
        for shade, a, b in found
        if a < span.end_ms and b > span.start_ms
    ]


def _time(time_ms: int) -> pd.Timestamp:
    return pd.Timestamp(np.datetime64(time_ms, "ms")).tz_localize("UTC")
