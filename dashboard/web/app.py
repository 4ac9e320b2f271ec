"""Builds the pages of one installation: frame, menu, and the one way a page is drawn."""

from collections import Counter
from typing import Any
from zoneinfo import ZoneInfo

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update
from flask import Flask, Response

from analysis.base.time import from_ms
from collector.files.settings import WEB_PASSWORD
from collector.installation.site import Site
from collector.store.protocol import clock_ms
from dashboard.pages import PAGES
from dashboard.parts import svg as drawing
from dashboard.parts.page import Component, NotHereError, Page, View, view_of, view_still_there
from dashboard.web.gate import ask_for_own_name, close_gate

_PULSE_MS = 15_000
_FRAME = """<!DOCTYPE html>
<html lang="en">
<head>
{%metas%}
<meta name="color-scheme" content="light dark">
<title>{%title%}</title>
{%favicon%}
{%css%}
</head>
<body>
{%app_entry%}
<footer>{%config%}{%scripts%}{%renderer%}</footer>
</body>
</html>"""


def create_app(site: Site) -> Dash:
    """The Dash application over a site.

    Parameters
    ----------
    site : Site
        What is shown. Where its settings or the environment give a web
        password, nothing is served without it; else only by a name of the house.
    """
    app = Dash(
        __name__,
        title="Stokehold",
        update_title="",
        index_string=_FRAME,
        compress=True,
        suppress_callback_exceptions=True,
        meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
    )
    password = site.settings.secret(WEB_PASSWORD, site.settings.web.password_file)
    if password:
        close_gate(app.server, password)
    else:
        ask_for_own_name(app.server, [name.lower() for name in site.settings.web.names])
    _forbid_foreign_sources(app.server)
    app.layout = html.Div(
        [
            dcc.Location(id="address"),
            dcc.Interval(id="tick", interval=5_000, disabled=True),
            dcc.Interval(id="pulse", interval=_PULSE_MS),
            html.Header(id="top"),
            html.P(id="said", role="status"),
            html.Main(id="page"),
        ]
    )
    _draw_pages(app, site)
    _keep_top(app, site)
    drawing.callbacks(app)
    for page in PAGES:
        if page.callbacks:
            page.callbacks(app, site)
    return app


def _forbid_foreign_sources(server: Flask) -> None:
    """Nothing is ever loaded from elsewhere, whatever a name or a note contains."""

    @server.after_request
    def _headers(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = (
            "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
            "script-src 'self' 'unsafe-inline' 'unsafe-eval'; frame-ancestors 'none'"
        )
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "same-origin"
        return response


def _draw_pages(app: Dash, site: Site) -> None:
    @app.callback(
        Output("page", "children"),
        Output("top", "children"),
        Output("tick", "interval"),
        Output("tick", "disabled"),
        Output("said", "children"),
        Input("address", "pathname"),
        Input("address", "search"),
        Input("tick", "n_intervals"),
    )
    def _draw(path: str | None, search: str | None, _tick: int | None) -> tuple[Any, ...]:
        try:
            view = view_of(site, search, clock_ms())
        except NotHereError as error:
            first = view_of(site, "", clock_ms())
            return _no_plant(first, str(error)), _top(first, ""), 60_000, True, ""
        page = page_at(path)
        if page is None:
            return _nowhere(view), _top(view, ""), 60_000, True, ""
        drawn = page.layout(view), _top(view, page.path)
        if ctx.triggered_id == "tick":
            return *drawn, no_update, no_update, no_update
        every = round((page.refresh_s or 60.0) * 1000)
        return *drawn, every, page.refresh_s is None, ""


def _keep_top(app: Dash, site: Site) -> None:
    """Number of alarms and clock stay true on a page with forms or charts, which stands still."""

    @app.callback(
        Output("top", "children", allow_duplicate=True),
        Input("pulse", "n_intervals"),
        State("address", "pathname"),
        State("address", "search"),
        prevent_initial_call=True,
    )
    def _pulse(_beats: int | None, path: str | None, search: str | None) -> Any:
        page = page_at(path)
        if page is not None and page.refresh_s is not None:
            return no_update  # it is drawn anew with its page
        return _top(view_still_there(site, search), page.path if page else "")


def page_at(path: str | None) -> Page | None:
    """Page of an address."""
    wanted = "/" + (path or "/").strip("/")
    return next((p for p in PAGES if p.path == wanted), None)


def _nowhere(view: View) -> Component:
    return html.Div(
        [html.H1("No such page"), html.P(["Go to ", dcc.Link("the plant", href=view.link("/"))])]
    )


def _no_plant(view: View, why: str) -> Component:
    """Where a bookmark or an open page names a plant of the past: never another one instead."""
    links = [html.Li(dcc.Link(p.name, href=f"/?plant={p.key}")) for p in view.site.plants]
    return html.Div(
        [html.H1("No such plant"), html.P(f"{why[:1].upper()}{why[1:]}."), html.Ul(links)]
    )


def _top(view: View, path: str) -> list[Component]:
    """Name of the plant, choice of plants, and the menu."""
    asking = _asking(view)
    here = asking[view.plant.key]
    items = [_item(view, p, path, here if p.path == "/alarms" else 0) for p in PAGES if p.in_menu]
    return [
        html.Div(
            [
                html.Span("Stokehold", className="brand"),
                *_plants(view, path, asking),
                _clock(view),
            ],
            className="title",
        ),
        html.Nav(items, **{"aria-label": "Pages"}),
        *_arriving(view),
    ]


def _arriving(view: View) -> list[Component]:
    """What is still on its way in: until then the pages know less than they will."""
    words = view.site.live.arriving
    return [html.P(words, className="banner note arriving")] if words else []


def _clock(view: View) -> Component:
    """The zone that every time on the page is of; who reads it may be elsewhere."""
    zone = view.plant.timezone
    here = from_ms(view.now_ms).astimezone(ZoneInfo(zone))
    place = "" if zone == here.tzname() else f" ({zone.replace('_', ' ')})"
    return html.Span(f"{here:%H:%M} {here.tzname()}{place}", className="zone aside")


def _asking(view: View) -> Counter[str]:
    """How many alarms of each plant wait for somebody."""
    standing = view.site.journal.alarms(standing_only=True)
    return Counter(a.plant for a, _ in standing if a.state in ("unacknowledged", "returned"))


def _item(view: View, page: Page, path: str, count: int) -> Component:
    is_here = page.path == path or (page.path != "/" and path.startswith(f"{page.path}/"))
    here = {"className": "here"} if is_here else {}
    return dcc.Link([page.title, *_badge(count)], href=view.link(page.path), **here)


def _badge(count: int) -> list[Component]:
    return [html.Span(str(count), className="badge", title="waiting for you")] if count else []


def _plants(view: View, path: str, asking: Counter[str]) -> list[Component]:
    """The other plants, first those whose alarms wait for somebody."""
    others = [p for p in view.site.plants if p.key != view.plant.key]
    if not others:
        return [html.Span(view.plant.name, className="plant")]
    others.sort(key=lambda p: asking[p.key] == 0)
    links = [
        dcc.Link([p.name, *_badge(asking[p.key])], href=f"{path or '/'}?plant={p.key}")
        for p in others
    ]
    elsewhere = _badge(sum(asking[p.key] for p in others))
    head = html.Summary([view.plant.name, *elsewhere])
    return [html.Details([head, html.Div(links)], className="plants")]
