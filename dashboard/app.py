"""Builds the pages of one installation: frame, menu, and the one way a page is drawn."""

from typing import Any

from dash import Dash, Input, Output, ctx, dcc, html, no_update
from flask import Flask, Response

from collector.settings import WEB_PASSWORD
from collector.site import Site
from collector.store import clock_ms
from dashboard import drawing
from dashboard.gate import close_gate
from dashboard.page import Component, Page, View, view_of
from dashboard.pages import PAGES

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
        password, nothing is served without it.
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
    _forbid_foreign_sources(app.server)
    app.layout = html.Div(
        [
            dcc.Location(id="address"),
            dcc.Interval(id="tick", interval=5_000, disabled=True),
            html.Header(id="top"),
            html.P(id="said", role="status"),
            html.Main(id="page"),
        ]
    )
    _draw_pages(app, site)
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
        view = view_of(site, search, clock_ms())
        page = page_at(path)
        if page is None:
            return _nowhere(view), _top(view, ""), 60_000, True, ""
        drawn = page.layout(view), _top(view, page.path)
        if ctx.triggered_id == "tick":
            return *drawn, no_update, no_update, no_update
        every = round((page.refresh_s or 60.0) * 1000)
        return *drawn, every, page.refresh_s is None, ""


def page_at(path: str | None) -> Page | None:
    """Page of an address."""
    wanted = "/" + (path or "/").strip("/")
    return next((p for p in PAGES if p.path == wanted), None)


def _nowhere(view: View) -> Component:
    return html.Div(
        [html.H1("No such page"), html.P(["Go to ", dcc.Link("the plant", href=view.link("/"))])]
    )


def _top(view: View, path: str) -> list[Component]:
    """Name of the plant, choice of plants, and the menu."""
    standing = [a.alarm for a in view.site.journal.alarms() if a.alarm.is_standing]
    asking = sum(a.state in ("unacknowledged", "returned") for a in standing)
    items = [_item(view, p, path, asking if p.path == "/alarms" else 0) for p in PAGES if p.in_menu]
    return [
        html.Div(
            [html.Span("Stokehold", className="brand"), *_plants(view, path)], className="title"
        ),
        html.Nav(items, **{"aria-label": "Pages"}),
    ]


def _item(view: View, page: Page, path: str, count: int) -> Component:
    badge = [html.Span(str(count), className="badge", title="waiting for you")] if count else []
    is_here = page.path == path or (page.path != "/" and path.startswith(f"{page.path}/"))
    here = {"className": "here"} if is_here else {}
    return dcc.Link([page.title, *badge], href=view.link(page.path), **here)


def _plants(view: View, path: str) -> list[Component]:
    others = [p for p in view.site.plants if p.key != view.plant.key]
    if not others:
        return [html.Span(view.plant.name, className="plant")]
    links = [dcc.Link(p.name, href=f"{path or '/'}?plant={p.key}") for p in others]
    return [html.Details([html.Summary(view.plant.name), html.Div(links)], className="plants")]
