"""Which pump was in place when: a swap parts a span into stretches of different pumps."""

from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

from analysis.plant import Plant, Pump
from analysis.timebase import Span, to_ms


class Placed(NamedTuple):
    """A stretch in which one pump was in place, with that pump's drive and habit."""

    span: Span
    pump: Pump


def placed_pumps(plant: Plant, pump: Pump, span: Span) -> list[Placed]:
    """Stretches of a span between swaps of a pump, oldest first; the whole span without swaps.

    Parameters
    ----------
    plant : Plant
        Names the swaps.
    pump : Pump
        As the plant file has it: the pump that is in place now.
    span : Span
        What is looked at.
    """
    swaps = sorted((s for s in plant.swaps if s.pump == pump.id), key=lambda s: s.time)
    inside = [s for s in swaps if span.start_ms < to_ms(s.time) < span.end_ms]
    edges = [span.start_ms, *(to_ms(s.time) for s in inside), span.end_ms]
    plates = [s.old for s in inside] + [inside[-1].new if inside else None]
    found = []
    for (a, b), plate in zip(pairwise(edges), plates, strict=True):
        always = plate.always_on if plate and plate.always_on is not None else pump.always_on
        drive = (plate.drive if plate else None) or pump.drive
        found.append(Placed(Span(a, b), replace(pump, drive=drive, always_on=always)))
    return found


def present_span(plant: Plant, pump: Pump, span: Span) -> Span:
    """The part of a span in which the pump that is in place now was there."""
    return placed_pumps(plant, pump, span)[-1].span
