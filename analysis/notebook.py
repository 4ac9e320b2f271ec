"""The same functions for a notebook: pandas frames go where readings do.

A frame has a UTC DatetimeIndex and one column a channel id; a series stands for one channel.
"""

from collections.abc import Callable
from functools import wraps
from importlib import import_module
from inspect import Signature, signature
from typing import Any

import pandas as pd

from analysis.readings.readings import Readings, record_from_frame, record_span

OFFERED: dict[str, str] = {
    "Boiler": "plant.plant",
    "Channel": "plant.plant",
    "Plant": "plant.plant",
    "Pump": "plant.plant",
    "PumpPlate": "plant.plant",
    "PumpTable": "exchange.efficiency_index",
    "Readings": "readings.readings",
    "Situation": "readings.situation",
    "Span": "base.time",
    "Store": "plant.plant",
    "Swap": "plant.plant",
    "Tariff": "plant.plant",
    "boiler_cycles": "firing.burner_cycles",
    "energy_use": "energy.measured",
    "examine": "faults.registry",
    "gaps": "readings.readings",
    "outdoor_days": "weather.degree_days",
    "rate": "exchange.efficiency_index",
    "record_from_frame": "readings.readings",
    "saving_of": "savings.saving",
    "summarise": "readings.readings",
}
"""Name of every function and class offered, and the module it lives in."""


def offered(name: str) -> Any:
    """The class or function of a name, functions taking frames as well.

    Raises
    ------
    AttributeError
        Nothing of that name is offered.
    """
    if name not in OFFERED:
        raise AttributeError(f"module 'analysis' has no attribute {name!r}")
    found = getattr(import_module(f"analysis.{OFFERED[name]}"), name)
    return found if isinstance(found, type) else taking_frames(found)


def taking_frames(function: Callable[..., Any]) -> Callable[..., Any]:
    """Let a function of readings take a frame or a series in their place.

    A `span` left out is that of the readings; an empty frame needs one.
    """
    form = signature(function)

    @wraps(function)
    def taken(*args: Any, **kwargs: Any) -> Any:
        bound = form.bind_partial(*args, **kwargs)
        for name, value in bound.arguments.items():
            bound.arguments[name] = _plain(value)
        _fill_span(form, bound.arguments)
        return function(*bound.args, **bound.kwargs)

    return taken


def _plain(value: Any) -> Any:
    if isinstance(value, pd.DataFrame):
        return record_from_frame(value)
    return Readings.from_series(value) if isinstance(value, pd.Series) else value


def _fill_span(form: Signature, arguments: dict[str, Any]) -> None:
    if "span" not in form.parameters or "span" in arguments or "record" not in arguments:
        return
    span = record_span(arguments["record"])
    if span is None:
        raise ValueError("the frame holds no readings; give a span")
    arguments["span"] = span
