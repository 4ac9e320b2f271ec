"""The part of a page that follows the present while charts and forms beside it stand still."""

from collections.abc import Callable
from typing import Any

from dash import Dash, Input, Output, State, dcc, html

from collector.installation.site import Site
from dashboard.parts.page import Component, View, view_still_there

_LOOK_EVERY_MS = 5_000


def followed(name: str, children: list[Component]) -> list[Component]:
    """The part as it is now, and what makes it follow; `name` is that of `follow`."""
    return [
        html.Div(children, id=f"{name}-live"),
        dcc.Interval(id=f"{name}-look", interval=_LOOK_EVERY_MS),
    ]


def follow(app: Dash, site: Site, name: str, draw: Callable[[View], list[Component]]) -> None:
    """Draw a part of a page anew every few seconds.

    Parameters
    ----------
    app, site : Dash, Site
        The pages, and what they show.
    name : str
        One word that is the part's own.
    draw : callable
        Gives the part for the page's view.
    """

    @app.callback(
        Output(f"{name}-live", "children"),
        Input(f"{name}-look", "n_intervals"),
        State("address", "search"),
        prevent_initial_call=True,
    )
    def _look(_ticks: int | None, search: str | None) -> Any:
        return draw(view_still_there(site, search))
