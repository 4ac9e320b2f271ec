"""Computation for heating plants: words of the trade and pure functions of readings.

``from analysis import Plant, boiler_cycles`` gives a notebook the functions the program itself
uses; where they take readings they take pandas frames and series as well (`analysis.notebook`).
"""

from typing import Any


def __getattr__(name: str) -> Any:
    """Load what is offered only when it is asked for."""
    from analysis.notebook import offered  # noqa: PLC0415 - it loads the modules above it

    return offered(name)
