"""Puts our own SVG drawings into a page, where the stylesheet and links reach them."""

from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, dcc, html
from dash.dependencies import MATCH

from dashboard.parts.page import Component


def drawing(name: str, svg: str, says: str) -> Component:
    """Return a drawing as a component.

    Parameters
    ----------
    name : str
        Tells the drawings of a page apart.
    svg : str
        The drawing; every text in it must have been escaped.
    says : str
        What it shows, in a sentence.
    """
    where: dict[str, Any] = {"type": "drawing-ground", "name": name}
    return html.Div(
        [
            html.Div(id=where, className="drawing", role="img", **{"aria-label": says}),
            dcc.Store(id={"type": "drawing", "name": name}, data=svg),
        ]
    )


def callbacks(app: Dash) -> None:
    """Draw in the browser whenever a drawing's text changes."""
    app.clientside_callback(
        ClientsideFunction("stokehold", "draw"),
        Output({"type": "drawing-ground", "name": MATCH}, "title"),
        Input({"type": "drawing", "name": MATCH}, "data"),
    )
