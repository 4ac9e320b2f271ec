"""Which pump was in place when: a swap parts a span into stretches of different pumps."""

from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

from analysis.base.time import Span, to_ms
from analysis.plant.plant import Plant, Pump, PumpPlate


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
    times = [to_ms(s.time) for s in swaps]
    inside = [t for t in times if span.start_ms < t < span.end_ms]
    found = []
    for start, end in pairwise([span.start_ms, *inside, span.end_ms]):
        ahead = next((s for s, t in zip(swaps, times, strict=True) if t > start), None)
        # The pump of a stretch is the one the next swap takes out, or the last one brought in.
        if ahead is not None:
            before = replace(pump, rated_power_w=None)  # the plant file's plate is not its own
            found.append(Placed(Span(start, end), _as_plated(before, ahead.old)))
        else:
            here = _as_plated(pump, swaps[-1].new) if swaps else pump
            found.append(Placed(Span(start, end), here))
    return found


def _as_plated(pump: Pump, plate: PumpPlate) -> Pump:
    always = pump.always_on if plate.always_on is None else plate.always_on
    rated = plate.rated_power_w or pump.rated_power_w
    return replace(pump, drive=plate.drive or pump.drive, always_on=always, rated_power_w=rated)


def is_switched(plant: Plant, pump: Pump, span: Span) -> bool:
    """Whether a swap's plate says of the pump of a stretch that it does not run always.

    Parameters
    ----------
    plant, pump
        See `placed_pumps`.
    span : Span
        A stretch in which no swap lies.
    """
    swaps = sorted((s for s in plant.swaps if s.pump == pump.id), key=lambda s: s.time)
    ahead = next((s for s in swaps if to_ms(s.time) > span.start_ms), None)
    if ahead is not None:
        return ahead.old.always_on is False
    return bool(swaps) and swaps[-1].new.always_on is False


def present_span(plant: Plant, pump: Pump, span: Span) -> Span:
    """The part of a span in which the pump that is in place now was there."""
    return placed_pumps(plant, pump, span)[-1].span
