"""The faults that can be rehearsed: the rows that the modules of this room end in."""

from collections.abc import Iterator
from importlib import import_module
from pkgutil import iter_modules

from analysis.rehearsal import faults as room
from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.faults.fault import FaultPlan, RehearsedFault


def _rows() -> Iterator[RehearsedFault]:
    """Rows of the room's modules; one without a row is a help to others."""
    for module in iter_modules(room.__path__):
        row = getattr(import_module(f"{room.__name__}.{module.name}"), "FAULT", None)
        if isinstance(row, RehearsedFault):
            yield row


FAULTS: dict[str, RehearsedFault] = {
    row.name: row for row in sorted(_rows(), key=lambda row: row.place)
}
"""Every fault of the model by its name, in the order of places."""


def apply_fault(scene: Scene, plan: FaultPlan) -> None:
    """Write a fault into the scene."""
    FAULTS[plan.fault].put_into(scene, plan)
