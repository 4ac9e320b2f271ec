"""Judges of what must be known at once: a pump that stands still, a temperature too high."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from analysis.finding import Evidence, Finding
from analysis.levels import runs_above, two_levels, weighted_quantile
from analysis.plant import Channel, Plant, Pump
from analysis.readings import Holds, Readings, Record, hold_limit_ms, holds, summarise, value_at
from analysis.timebase import MINUTE_MS, Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """What a judge gets to see.

    `normal_w` holds each pump's own running power learned from its past, where
    that is not within the span itself. `is_live` tells that the span ends now.
    `memo` keeps what several judges of one examination need, so that it is worked out once.
    """

    plant: Plant
    record: Record
    span: Span
    subject: str = "plant"
    normal_w: Mapping[str, float] = field(default_factory=dict)
    is_live: bool = False
    memo: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Verdict:
    """Findings of one judge on one part, or what is missing for judging at all."""

    findings: tuple[Finding, ...] = ()
    needs: str = ""


# stall

_LEAST_RUN_MS = 10 * MINUTE_MS
_TOO_LITTLE = 0.4
"""A running pump draws at least this share of its own usual power; common practice, no source."""
_HOT_CEL = 45.0
"""Flow this warm and rising means that heat is being made that wants moving."""


def judge_stall(situation: Situation) -> Verdict:
    """A pump that should run by its plant entry or the demand, and draws nothing or too little."""
    plant = situation.plant
    pump = next(p for p in plant.pumps if p.id == situation.subject)
    channel = plant.first(pump.id, "power")
    if channel is None or not len(situation.record.get(channel.id, Readings.empty())):
        return Verdict(needs=f"a power channel of '{pump.id}'")
    readings = situation.record[channel.id]
    normal = situation.normal_w.get(pump.id) or running_power_w(readings, channel, situation.span)
    if normal is None:
        return Verdict(needs=f"a time when '{pump.id}' was seen running")
    demand = _demand(situation, pump)
    if demand is None:
        return Verdict(needs="flow temperature or power of the boiler, to know when it should run")
    known = holds(readings, hold_limit_ms(readings, channel), situation.span)
    if not len(known.value):
        return Verdict(needs=f"readings of '{channel.id}' within this time")
    # What lasts to the last reading lasts: silence after it is no recovery.
    last_ms = int(known.end_ms[-1])
    idle = _idle_on_demand(known, demand, too_little_w=_TOO_LITTLE * normal)
    found = tuple(
        _stall_finding(situation, channel, span, normal_w=normal, is_over=span.end_ms < last_ms)
        for span in idle
    )
    return Verdict(found)


def running_power_w(readings: Readings, channel: Channel, span: Span) -> float | None:
    """Usual power of a pump while it runs [W]: the upper of two levels, or the only one."""
    known = holds(readings, hold_limit_ms(readings, channel), span)
    if not len(known.value):
        return None
    levels = two_levels(known, 2.0)
    if levels and levels.low < _TOO_LITTLE * levels.high:
        return levels.high
    length = (known.end_ms - known.start_ms).astype(float)
    middle = weighted_quantile(known.value, length, 0.5)
    return middle if middle > 1.0 else None


def _demand(situation: Situation, pump: Pump) -> Holds | None:
    """Stretches over which the pump should run, or None where that cannot be known."""
    span = situation.span
    if pump.always_on:
        return Holds(np.array([span.start_ms]), np.array([span.end_ms]), np.ones(1))
    for boiler in situation.plant.boilers:
        channel = situation.plant.first(boiler.id, "power")
        readings = situation.record.get(channel.id) if channel else None
        if channel and readings is not None and len(readings):
            known = holds(readings, hold_limit_ms(readings, channel), span)
            levels = two_levels(known, 8.0)
            if levels:
                runs = runs_above(known, levels.on, levels.off)
                return Holds(runs.start_ms, runs.end_ms, np.ones(len(runs.start_ms)))
    return _hot_flow(situation)


def _hot_flow(situation: Situation) -> Holds | None:
    """Stretches over which some boiler's flow pipe is hot."""
    for boiler in situation.plant.boilers:
        channel = situation.plant.first(boiler.id, "temperature", "flow")
        readings = situation.record.get(channel.id) if channel else None
        if channel and readings is not None and len(readings):
            known = holds(readings, hold_limit_ms(readings, channel), situation.span)
            runs = runs_above(known, _HOT_CEL, _HOT_CEL - 5)
            return Holds(runs.start_ms, runs.end_ms, np.ones(len(runs.start_ms)))
    return None


def _idle_on_demand(known: Holds, demand: Holds, *, too_little_w: float) -> list[Span]:
    """Stretches of demand over which the pump drew too little for long enough."""
    low = runs_above(known._replace(value=-known.value), -too_little_w, -1.5 * too_little_w)
    found: list[Span] = []
    for start, end in zip(demand.start_ms, demand.end_ms, strict=True):
        a, b = np.searchsorted(low.end_ms, start), np.searchsorted(low.start_ms, end)
        for i in range(int(a), int(b)):
            span = Span(int(max(start, low.start_ms[i])), int(min(end, low.end_ms[i])))
            if span.end_ms - span.start_ms >= _LEAST_RUN_MS:
                found.append(span)
    return found


def _stall_finding(
    situation: Situation, channel: Channel, span: Span, *, normal_w: float, is_over: bool
) -> Finding:
    readings = situation.record[channel.id]
    edges = np.array([span.start_ms, span.end_ms])
    mean = summarise(readings, edges, hold_limit_ms(readings, channel)).mean[0]
    evidence = Evidence(
        channel.id,
        "power while heat is asked for",
        float(mean),
        f"about {normal_w:.0f} when running",
        "W",
    )
    return Finding(
        subject=situation.subject,
        fault="stall",
        start_ms=span.start_ms,
        end_ms=span.end_ms if is_over else None,
        urgency="now",
        confidence=0.8,
        evidence=(evidence,),
    )


# overheating

LIMIT_CEL: dict[str, float] = {
    "flow": 95.0,
    "return": 90.0,
    "body": 110.0,
    "top": 90.0,
    "bottom": 90.0,
    "room": 40.0,
    "ambient": 50.0,
}
"""Limits by place; water-side values are below the 100 to 110 Cel of limit thermostats
(common practice, no source)."""
_DEAD_BAND_K = 3.0


def judge_overheating(situation: Situation) -> Verdict:
    """Temperatures above the limit of their place in two readings that follow each other."""
    channels = [c for c in situation.plant.select(quantity="temperature") if c.place in LIMIT_CEL]
    measured = [c for c in channels if _is_measured(situation, c)]
    if not measured:
        return Verdict(needs="a temperature channel with readings within this time")
    return Verdict(tuple(f for c in measured for f in _too_hot(situation, c)))


def _is_measured(situation: Situation, channel: Channel) -> bool:
    readings = situation.record.get(channel.id, Readings.empty())
    return len(holds(readings, hold_limit_ms(readings, channel), situation.span).value) > 0


def _too_hot(situation: Situation, channel: Channel) -> list[Finding]:
    readings = situation.record[channel.id]
    limit = LIMIT_CEL[channel.place or "flow"]
    hold_ms = hold_limit_ms(readings, channel)
    twice = Readings(readings.time_ms[1:], np.minimum(readings.value[1:], readings.value[:-1]))
    known = holds(twice, hold_ms, situation.span)
    runs = runs_above(known, limit, limit - _DEAD_BAND_K)
    found = []
    for start, end, closes in zip(runs.start_ms, runs.end_ms, runs.closes, strict=True):
        hottest = float(np.nanmax(value_at(readings, np.arange(start, end, MINUTE_MS), hold_ms)))
        found.append(
            Finding(
                subject=channel.of,
                fault="overheating",
                start_ms=int(start),
                end_ms=int(end) if closes else None,
                urgency="now",
                confidence=0.9,
                evidence=(Evidence(channel.id, "highest", hottest, f"at most {limit:.0f}", "Cel"),),
            )
        )
    return found
