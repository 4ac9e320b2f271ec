"""Every source of a boiler's firings against the truth of a rehearsal."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from analysis.base.time import SECOND_MS, Span, parse_rfc3339
from analysis.firing.burner_cycles import cycles_of, sources_of
from analysis.firing.firings import Firings
from analysis.plant.plant import Boiler, Plant
from analysis.readings.readings import Readings, Record, gaps, hold_limit_ms, value_at
from analysis.score.score import score_cycles
from analysis.score.tally import CycleTally, Tally

_COARSE_S, _COARSE_K = 60, 0.5
"""Sampling and step of a plain sensor on the flow pipe."""


def score_sources(tally: Tally, plant: Plant, record: Record, truth: Mapping[str, Any]) -> None:
    """Count the firings that each source of a plant's boilers tells, by kind of source and burner.

    The flow temperature is counted as fitted, and as a sensor of 60 s and 0.5 K would tell it.

    Parameters
    ----------
    tally : Tally
        Counted into, in place: its `sources`.
    plant, record : Plant, mapping of str to Readings
        A rehearsed house.
    truth : mapping
        Its truth document.
    """
    span = Span(parse_rfc3339(truth["from"]), parse_rfc3339(truth["to"]))
    for boiler in plant.boilers:
        burner = "condensing" if boiler.condensing else boiler.fuel
        for found in sources_of(plant, boiler, record, span):
            kind = f"{found.method}{_every(plant, found)}, {burner}"
            known = heard(plant, record, span, found.channel)
            step_s = step_of(plant, found.channel, found.step_s)
            _score_source(tally.sources[kind], found, truth, known=known, step_s=step_s)
        alone, coarse = _with_coarse_flow(plant, boiler, record, span)
        for found in sources_of(alone, boiler, coarse, span):
            kind = f"{found.method} at {_COARSE_S} s and {_COARSE_K} K, {burner}"
            known = heard(alone, coarse, span, found.channel)
            _score_source(tally.sources[kind], found, truth, known=known, step_s=_COARSE_S)


def heard(plant: Plant, record: Record, span: Span, channel: str | None) -> list[Span] | None:
    """Stretches between gaps of the channel that cycles were taken from."""
    by_id = {c.id: c for c in plant.channels}
    if channel not in by_id or channel not in record:
        return None
    readings = record[channel]
    silent = gaps(readings, hold_limit_ms(readings, by_id[channel]), span)
    starts = [span.start_ms, *(one.end_ms for one in silent)]
    ends = [*(one.start_ms for one in silent), span.end_ms]
    return [Span(a, b) for a, b in zip(starts, ends, strict=True) if b > a]


def step_of(plant: Plant, channel: str | None, step_s: float) -> float | None:
    """Distance of a channel's readings [s]; None where changes are told as they happen."""
    told = next((c.reports for c in plant.channels if c.id == channel), "change")
    return None if told == "change" else step_s


def _score_source(
    one: CycleTally,
    found: Firings,
    truth: Mapping[str, Any],
    *,
    known: list[Span] | None,
    step_s: float | None,
) -> None:
    one.sources += 1
    if found.tells == "firings":
        one.told += 1
        cycles = [cycle.document() for cycle in cycles_of(found)]
        told = {"boilers": [{"method": found.method, "cycles": cycles}]}
        score_cycles(one, truth, told, known, step_s=step_s)


def _every(plant: Plant, found: Firings) -> str:
    """How often a plug reports; other sources are not told apart by it."""
    if found.method != "power":
        return ""
    channel = next(c for c in plant.channels if c.id == found.channel)
    return " on change" if channel.reports == "change" else f" every {channel.interval_s:.0f} s"


def _with_coarse_flow(
    plant: Plant, boiler: Boiler, record: Record, span: Span
) -> tuple[Plant, Record]:
    """The house with nothing but the boiler's flow temperature, each minute in half kelvins."""
    time_ms = np.arange(span.start_ms, span.end_ms, _COARSE_S * SECOND_MS)
    channels, coarse = [], {}
    for channel in plant.select(boiler.id, "temperature", "flow"):
        if channel.id in record:
            readings = record[channel.id]
            value = value_at(readings, time_ms, hold_limit_ms(readings, channel))
            known = np.isfinite(value)
            steps = np.round(value[known] / _COARSE_K) * _COARSE_K
            coarse[channel.id] = Readings.of(time_ms[known], steps)
            channels.append(replace(channel, interval_s=_COARSE_S, reports="periodic"))
    return replace(plant, channels=tuple(channels)), coarse
