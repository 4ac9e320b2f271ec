"""Any channels over any span: what is chosen stands in the address, so it can be kept and sent."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

import numpy as np
from dash import Dash, Input, Output, State, dcc, html, no_update

from analysis.base.quantities import QUANTITIES
from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, Span, from_ms, to_ms
from analysis.plant.plant import Channel
from collector.installation.site import Site
from collector.store.chart_spans import Picture, picture
from collector.store.protocol import plant_extent
from dashboard.parts import words
from dashboard.parts.cards import empty, link, table
from dashboard.parts.charts import COLOURS, axis, chart, faint
from dashboard.parts.charts import layout as chart_layout
from dashboard.parts.last_values import channel_amount, channel_name
from dashboard.parts.page import Component, Page, View, view_still_there

PIXELS = 700
_MOST_CHANNELS = 12
_LEAST_MS = 2 * MINUTE_MS
_LENGTHS = {
    "hour": HOUR_MS, "6 h": 6 * HOUR_MS, "day": DAY_MS, "week": 7 * DAY_MS, "month": 30 * DAY_MS,
    "year": 365 * DAY_MS,
}  # fmt: skip
_FORMS = {"raw": "single readings", "minute": "minute summaries", "hour": "hour summaries"}


class Asked(NamedTuple):
    """What the address asks for: channels and a span, and whether the span follows the clock."""

    channels: tuple[Channel, ...]
    span: Span
    is_following: bool


def asked(view: View) -> Asked:
    """Read the address; whatever it leaves open or gets wrong has a sensible answer."""
    names = [n for n in view.query.get("channels", "").split(",") if n]
    chosen = tuple(c for c in view.plant.channels if c.id in names) or _usual(view)
    span, is_following = _asked_span(view)
    return Asked(chosen[:_MOST_CHANNELS], span, is_following)


def _usual(view: View) -> tuple[Channel, ...]:
    """Powers and temperatures of machines first: what most questions are about."""
    wanted = [c for c in view.plant.channels if c.quantity in ("power", "temperature")]
    wanted.sort(key=lambda c: (c.quantity != "power", c.of == "plant"))
    return tuple(wanted[:8]) or view.plant.channels[:8]


def _asked_span(view: View) -> tuple[Span, bool]:
    query = view.query
    if query.get("span") == "all":
        whole = plant_extent(view.site.store, view.plant)
        if whole is not None:
            return Span(whole.start_ms, max(whole.end_ms, whole.start_ms + _LEAST_MS)), False
    try:
        start, end = int(query["from"]), int(query["to"])
    except (KeyError, ValueError):
        length = _LENGTHS.get(query.get("span", "day"), DAY_MS)
        return Span(view.now_ms - length, view.now_ms), True
    if not 0 < start < end < 1 << 45:
        return Span(view.now_ms - DAY_MS, view.now_ms), True
    return Span(start, max(end, start + _LEAST_MS)), False


def layout(view: View) -> Component:
    """Choice, chart, and the same in figures."""
    what = asked(view)
    return html.Div(
        [
            html.H1("History"),
            _choice(view, what),
            _spans(view, what),
            *_drawn(view, what),
        ]
    )


def _choice(view: View, what: Asked) -> Component:
    options = [{"label": channel_name(c), "value": c.id} for c in view.plant.channels]
    return html.Label(
        [
            f"Channels (at most {_MOST_CHANNELS})",
            dcc.Dropdown(
                options,
                [c.id for c in what.channels],
                id="history-channels",
                multi=True,
                clearable=False,
                placeholder="Choose what to draw",
            ),
        ]
    )


def _spans(view: View, what: Asked) -> Component:
    """Lengths, a step back or forward, out, a day of choice."""
    span = what.span
    length = span.end_ms - span.start_ms
    buttons = []
    for name, ms in [*_LENGTHS.items(), ("all", 0)]:
        here = what.is_following and ms == length
        buttons.append(_to(view, what, name, "button here" if here else "button", span=name))
    for name, by in (("\u2190 earlier", -length), ("later \u2192", length)):
        moved = {"from": str(span.start_ms + by), "to": str(span.end_ms + by)}
        buttons.append(_to(view, what, name, "button", **moved))
    wide = {"from": str(span.start_ms - length // 2), "to": str(span.end_ms + length // 2)}
    buttons.append(_to(view, what, "wider", "button", **wide))
    zone = ZoneInfo(view.plant.timezone)
    day = dcc.DatePickerSingle(
        id="history-day",
        date=from_ms(span.start_ms).astimezone(zone).date().isoformat(),
        display_format="D MMM YYYY",
        first_day_of_week=1,
    )
    return html.Div([*buttons, html.Span("day of", className="aside"), day], className="row")


def _to(view: View, what: Asked, text: str, kind: str, **query: str) -> Component:
    channels = ",".join(c.id for c in what.channels)
    return link(text, view.link("/history", channels=channels, **query), kind)


# the chart


def _drawn(view: View, what: Asked) -> list[Component]:
    pictures = pictures_of(view.site, view, what)
    zone = view.plant.timezone
    times = [words.moment(t, zone, view.now_ms) for t in (what.span.start_ms, what.span.end_ms)]
    if not any(p.overall.coverage for p in pictures):
        return [empty(f"Nothing was measured on these channels from {times[0]} to {times[1]}.")]
    forms = ", ".join(dict.fromkeys(_FORMS[p.resolution] for p in pictures))
    says = (
        f"{times[0]} to {times[1]} ({zone}), drawn from {forms}; the pale band spans the least "
        "and greatest reading, breaks are gaps. Drag across the chart to look closer."
    )
    figure = history_figure(what, pictures, zone)
    says += clock_change(what.span, zone)
    return [chart(figure, says, name="history-chart"), _figures(what, pictures)]


def pictures_of(site: Site, view: View, what: Asked) -> list[Picture]:
    """Read what is asked for."""
    return [picture(site.store, view.plant, c, what.span, pixels=PIXELS) for c in what.channels]


def offset_ms(span: Span, timezone: str) -> int:
    """By how much the plant's clock is ahead of UTC at the end of a span [ms].

    The whole chart is drawn with this one offset, so that time runs evenly and a
    zoom back into moments is exact; `clock_change` says where that misleads.
    """
    return _ahead_ms(span.end_ms, timezone)


def _ahead_ms(time_ms: int, timezone: str) -> int:
    offset = from_ms(time_ms).astimezone(ZoneInfo(timezone)).utcoffset() or timedelta()
    return round(offset.total_seconds() * 1000)


_MOST_TOLD_MS = 60 * DAY_MS


def clock_change(span: Span, timezone: str) -> str:
    """What to add where the clocks changed within a span in which an hour can be seen."""
    off_ms = offset_ms(span, timezone) - _ahead_ms(span.start_ms, timezone)
    if not off_ms or span.end_ms - span.start_ms > _MOST_TOLD_MS:
        return ""
    side = "ahead of" if off_ms > 0 else "behind"
    return (
        " The clocks changed within it: the axis keeps the clock of its end, and before the change "
        f"it is {abs(off_ms) // 60_000} minutes {side} the clock on the wall."
    )


def history_figure(what: Asked, pictures: list[Picture], timezone: str) -> dict[str, Any]:
    """Figure with a row a quantity, all over one time axis."""
    offset = offset_ms(what.span, timezone)
    rows = list(dict.fromkeys(c.quantity for c in what.channels))
    data: list[dict[str, Any]] = []
    for i, (channel, drawn) in enumerate(zip(what.channels, pictures, strict=True)):
        row = rows.index(channel.quantity) + 1
        traces = _traces(channel, drawn, COLOURS[i % len(COLOURS)], offset)
        data += [t | {"yaxis": f"y{row}" if row > 1 else "y"} for t in traces]
    ends = [t + offset for t in (what.span.start_ms, what.span.end_ms)]
    height = 60 + 230 * len(rows)
    look = chart_layout(
        height,
        dragmode="zoom",
        xaxis=axis(type="date", range=ends, anchor=f"y{len(rows)}" if len(rows) > 1 else "y"),
    )
    return {"data": data, "layout": look | _rows(rows)}


def _rows(quantities: Sequence[str]) -> dict[str, Any]:
    """A vertical axis a quantity, the first on top."""
    n, gap = len(quantities), 0.06
    share = (1 - gap * (n - 1)) / n
    axes = {}
    for i, quantity in enumerate(quantities):
        top = 1 - i * (share + gap)
        label, unit = QUANTITIES[quantity].label, words.unit(QUANTITIES[quantity].unit)
        title = f"{label} [{unit}]" if unit else label
        name = f"yaxis{i + 1}" if i else "yaxis"
        axes[name] = axis(title, domain=[max(0.0, top - share), top], fixedrange=True)
    return axes


def _traces(channel: Channel, drawn: Picture, colour: str, offset: int) -> list[dict[str, Any]]:
    """Band and line of a channel; x is the plant's clock, which the chart takes for UTC."""
    trace: dict[str, Any] = {
        "type": "scatter", "mode": "lines", "legendgroup": channel.id,
        "name": channel_name(channel), "connectgaps": False,
    }  # fmt: skip
    line = trace | {
        "x": drawn.line.time_ms + offset,
        "y": np.round(drawn.line.value, 3),
        "line": {"color": colour, "width": 1.5, "shape": "linear" if drawn.band else "hv"},
        "meta": channel.id,
    }
    if drawn.band is None:
        return [line]
    band = trace | {
        "x": drawn.band.time_ms + offset,
        "y": np.round(drawn.band.value, 3),
        "fill": "toself", "fillcolor": faint(colour), "line": {"width": 0},
        "hoverinfo": "skip", "showlegend": False,
    }  # fmt: skip
    return [band, line]


def _figures(what: Asked, pictures: list[Picture]) -> Component:
    head = ("Channel", "Mean", "Least", "Greatest", "Known")
    rows = []
    for i, (channel, drawn) in enumerate(zip(what.channels, pictures, strict=True)):
        told, name = drawn.overall, _with_colour(i, channel_name(channel))
        if not told.coverage:
            rows.append([name, *[words.NOTHING] * 3, "never"])
            continue
        figures = [channel_amount(channel, v) for v in (told.mean, told.low, told.high)]
        rows.append([name, *figures, f"{told.coverage:.1%} of the time"])
    return table(head, rows)


def _with_colour(i: int, name: str) -> Component:
    """A channel's name after the colour of its line: the table is the chart's legend."""
    swatch = html.Span(className="swatch", style={"background": COLOURS[i % len(COLOURS)]})
    return html.Span([swatch, name])


# what a person does


def callbacks(app: Dash, site: Site) -> None:
    """Zoom, choice of channels and of a day each lead to another address."""
    # One callback each: a page without a chart has nothing to zoom.
    to_address = Output("address", "search", allow_duplicate=True)
    address = State("address", "search")

    @app.callback(
        to_address, Input("history-chart", "relayoutData"), address, prevent_initial_call=True
    )
    def _zoom(zoomed: Mapping[str, Any] | None, search: str) -> Any:
        view = view_still_there(site, search)
        return _to_span(view, zoomed_span(zoomed or {}, asked(view).span, view.plant.timezone))

    @app.callback(to_address, Input("history-day", "date"), address, prevent_initial_call=True)
    def _day(day: str | None, search: str) -> Any:
        view = view_still_there(site, search)
        return _to_span(view, day_span(day, asked(view).span, view.plant.timezone))

    @app.callback(
        to_address, Input("history-channels", "value"), address, prevent_initial_call=True
    )
    def _channels(names: list[str] | None, search: str) -> Any:
        view = view_still_there(site, search)
        if not names or set(names) == {c.id for c in asked(view).channels}:
            return no_update
        return _search(view, {"channels": ",".join(names)})


def _to_span(view: View, span: Span | None) -> Any:
    if span is None:
        return no_update
    return _search(view, {"from": str(span.start_ms), "to": str(span.end_ms)})


def _search(view: View, changed: dict[str, str]) -> str:
    kept = {k: v for k, v in view.query.items() if not ("from" in changed and k == "span")}
    return "?" + urlencode(kept | changed)


def zoomed_span(zoomed: Mapping[str, Any], span: Span, timezone: str) -> Span | None:
    """Span a person dragged over; None where the chart tells something else.

    Parameters
    ----------
    zoomed : mapping
        What the chart reports after a drag.
    span : Span
        What it showed before, which fixes its clock.
    timezone : str
        The plant's zone.
    """
    ends = [zoomed.get(f"xaxis.range[{i}]") for i in (0, 1)]
    if None in ends:
        return None
    offset = offset_ms(span, timezone)
    start, end = (_chart_ms(e) - offset for e in ends)
    return Span(start, max(end, start + _LEAST_MS))


def _chart_ms(value: Any) -> int:
    """Moment on the chart's clock: it reports numbers or texts such as ``2026-03-01 12:00``."""
    if isinstance(value, int | float):
        return round(value)
    return to_ms(datetime.fromisoformat(str(value)[:26]).replace(tzinfo=ZoneInfo("UTC")))


def day_span(day: str | None, span: Span, timezone: str) -> Span | None:
    """The local day a person chose; None where it is the one shown already."""
    zone = ZoneInfo(timezone)
    shown = from_ms(span.start_ms).astimezone(zone).date()
    if day is None or date.fromisoformat(day[:10]) == shown:
        return None
    start = datetime.combine(date.fromisoformat(day[:10]), datetime.min.time(), zone)
    return Span(to_ms(start), to_ms(start + timedelta(days=1)))


PAGE = Page(path="/history", title="History", layout=layout, callbacks=callbacks)
