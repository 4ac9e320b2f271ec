"""How charts look: one style for all, legible on light and on dark ground.

Texts, grid and hover boxes take their colours from the stylesheet, which overrides what is
drawn into the chart; traces use `COLOURS`, mid tones that stand out on both grounds.
"""

from collections.abc import Sequence
from typing import Any

from dash import dcc, html

from dashboard.parts.page import Component

COLOURS = (
    "#2f7fd1", "#d9622b", "#2a9d6f", "#b0489f", "#a68100", "#6a5fd0", "#c43f4f", "#3a93a8",
)  # fmt: skip
FLOW_COLOUR, RETURN_COLOUR = "#d9622b", "#2f7fd1"
"""Warm and cool side of a circuit."""

CONFIG: dict[str, Any] = {
    "displaylogo": False,
    "responsive": True,
    # Nothing of the plant leaves the house: the button that uploads a chart goes.
    "modeBarButtonsToRemove": ["sendChartToCloud", "lasso2d", "select2d", "autoScale2d"],
    "showTips": False,
}


def faint(colour: str, share: float = 0.22) -> str:
    """A colour of `COLOURS` as a see-through one, for bands."""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},{share})"


def layout(height: int = 320, **more: Any) -> dict[str, Any]:
    """Layout of a chart in our style."""
    base: dict[str, Any] = {
        "height": height,
        "margin": {"l": 56, "r": 12, "t": 12, "b": 40},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": "inherit", "size": 13},
        "colorway": list(COLOURS),
        "hovermode": "x unified",
        "showlegend": False,
        "xaxis": axis(),
        "yaxis": axis(),
        "legend": {"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0},
    }
    return base | more


def axis(title: str | None = None, **more: Any) -> dict[str, Any]:
    """Draw an axis in our style."""
    base: dict[str, Any] = {
        "gridcolor": "rgba(128,128,128,0.25)",
        "zeroline": False,
        "automargin": True,
    }
    if title is not None:
        base["title"] = {"text": title}
    return base | more


def chart(figure: dict[str, Any], says: str, *, name: Any = None) -> Component:
    """Return a chart with the words it stands for, for who cannot see it.

    Parameters
    ----------
    figure : dict
        ``data`` and ``layout``.
    says : str
        What the chart shows, in a sentence.
    name : str or dict, optional
        Id of the graph, where callbacks need one.
    """
    given = {} if name is None else {"id": name}
    graph = dcc.Graph(figure=figure, config=CONFIG, responsive=True, **given)
    height = figure["layout"].get("height", 320)
    return html.Figure(
        [html.Div(graph, style={"height": f"{height}px"}), html.Figcaption(says, className="aside")]
    )


def bands(
    low: Sequence[float], high: Sequence[float], x: Sequence[Any], colour: str
) -> dict[str, Any]:
    """Area between two lines without gaps, as one trace."""
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [*x, *reversed(x)],
        "y": [*high, *reversed(low)],
        "fill": "toself",
        "fillcolor": faint(colour),
        "line": {"width": 0},
        "hoverinfo": "skip",
        "showlegend": False,
    }
