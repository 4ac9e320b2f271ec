"""One channel over one span as a chart wants it: from readings or summaries, whichever suits."""

from typing import NamedTuple

from analysis.base.time import SECOND_MS, Span
from analysis.plant.plant import Channel, Plant
from analysis.readings.readings import hold_limit_ms, holds, summarise
from analysis.readings.thinning import (
    Line,
    Overall,
    Resolution,
    bucket_edges,
    centred,
    merged,
    outline,
    overall,
    resolution,
    stepped,
)
from collector.store.protocol import STEP_MS, Readable, Step, address


class Picture(NamedTuple):
    """A line, the band of its extremes where readings were put together, and four figures."""

    resolution: Resolution
    line: Line
    band: Line | None
    overall: Overall


_COARSER: dict[Resolution, Resolution] = {"raw": "minute", "minute": "hour"}
_DEFAULT_INTERVAL_S = 60.0


def picture(store: Readable, plant: Plant, channel: Channel, span: Span, *, pixels: int) -> Picture:
    """Draw a channel over a span.

    Where readings or minutes of so long ago were thinned out, the next coarser
    form that is still kept takes their place.

    Parameters
    ----------
    store : Readable
        Where to read.
    plant, channel : Plant, Channel
        What to read.
    span : Span
        What to draw.
    pixels : int
        About how many points are of use.
    """
    name = address(plant, channel)
    form = resolution(span, channel.interval_s or _DEFAULT_INTERVAL_S)
    while True:
        if form == "raw":
            found = _from_readings(store, name, channel, span, pixels=pixels)
        else:
            found = _from_summaries(store, name, span, form, pixels=pixels)
        if found.overall.coverage > 0 or form not in _COARSER:
            return found
        form = _COARSER[form]


def _from_readings(
    store: Readable, name: str, channel: Channel, span: Span, *, pixels: int
) -> Picture:
    readings = store.read(name, span, lead=True)
    hold_ms = hold_limit_ms(readings, channel)
    edges = bucket_edges(span, SECOND_MS, pixels)
    summary = summarise(readings, edges, hold_ms)
    known = holds(readings, hold_ms, span)
    if len(known.value) <= pixels:
        return Picture("raw", stepped(known), None, overall(summary, span))
    return Picture("raw", centred(summary), outline(summary), overall(summary, span))


def _from_summaries(store: Readable, name: str, span: Span, step: Step, *, pixels: int) -> Picture:
    kept = store.summary(name, span, step)
    summary = merged(kept, bucket_edges(span, STEP_MS[step], pixels))
    return Picture(step, centred(summary), outline(summary), overall(kept, span))
