"""Buttons of a pump's page that do something: one shape of callback for all of them."""

from collections.abc import Callable, Sequence
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, no_update

from dashboard.parts.page import NotHereError


def on_deed(
    app: Dash, kind: str, fields: Sequence[str], do: Callable[[dict[str, str], list[Any]], str]
) -> None:
    """Let a page's buttons do their deed, say what came of it, and draw the page anew.

    Parameters
    ----------
    app : Dash
        The pages.
    kind : str
        Type of the buttons' ids, which also name deed, plant and pump.
    fields : sequence of str
        Forms beside them, of types ``KIND-FIELD``.
    do : callable
        From a button's id and the forms' values, None where a form is not there, to what is said.
    """

    @app.callback(
        Output("said", "children", allow_duplicate=True),
        Output("tick", "n_intervals", allow_duplicate=True),
        Input({"type": kind, "deed": ALL, "plant": ALL, "pump": ALL}, "n_clicks"),
        *(State({"type": f"{kind}-{field}", "at": ALL}, "value") for field in fields),
        State("tick", "n_intervals"),
        prevent_initial_call=True,
    )
    def _do(_clicks: Any, *given: Any) -> tuple[Any, Any]:
        if not ctx.triggered or not ctx.triggered[0]["value"]:
            return no_update, no_update
        *values, ticks = given
        try:
            said = do(ctx.triggered_id, [one[0] if one else None for one in values])
        except NotHereError as error:
            said = f"Not done: {error}."
        return said, (ticks or 0) + 1
