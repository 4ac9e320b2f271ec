"""Faults of the plant as a whole: a boiler without mains, frost."""

from collections.abc import Iterator

import numpy as np

from analysis.base.time import MINUTE_MS, Span
from analysis.faults.pump_state.pump_watch import Watched, at_work, watched
from analysis.plant.finding import Evidence, Finding
from analysis.plant.plant import Channel
from analysis.readings.mains_voltage import SEEN_STANDBY_W, without_mains
from analysis.readings.minute_grid import Grid, ago, lasting, spans_of, trailing
from analysis.readings.power_levels import Levels
from analysis.readings.readings import NEVER_MS, FloatArray, IntArray, Readings
from analysis.readings.situation import Situation, Verdict

# supply lost

_LEAST_MIN = 60
"""Somebody may have the boiler off for a while to work on it; common practice, no source."""
_COOLS_K = 2.0


def judge_supply_lost(situation: Situation) -> Verdict:
    """A boiler whose plug is heard and shows less than the boiler's own standby."""
    boiler = situation.subject
    channel = situation.plant.first(boiler, "power")
    if channel is None or not len(situation.record.get(channel.id, Readings.empty())):
        return Verdict(needs=f"power of '{boiler}'")
    seen = watched(situation)
    off = np.zeros(len(seen.minutes), bool)
    standby = 0.0
    for stage in seen.stages:
        levels = stage.learned.boilers.get(boiler, Levels())
        standby = max(standby, levels.standby_w or 0.0)
        drawn = seen.minutes.boilers[boiler].part(stage.rows)
        off[stage.rows] = without_mains(drawn, levels)
    off &= ~at_work(seen.minutes)
    if standby < SEEN_STANDBY_W:
        return Verdict(needs=f"a plug that shows the standby of '{boiler}', some 2 to 10 W")
    spans = spans_of(off, seen.minutes.start_ms)
    found = [_supply_finding(situation, seen, channel, span, standby_w=standby) for span in spans]
    return Verdict(tuple(f for f in found if f is not None))


def _supply_finding(
    situation: Situation, seen: Watched, channel: Channel, span: Span, *, standby_w: float
) -> Finding | None:
    length = (span.end_ms - span.start_ms) // MINUTE_MS
    if length < _LEAST_MIN:
        return None
    rows = slice(*np.searchsorted(seen.minutes.start_ms, (span.start_ms, span.end_ms)))
    flow = seen.minutes.boiler_flow_c[rows]
    known = flow[~np.isnan(flow)]
    cooled = float(known[0] - known[-1]) if len(known) else None
    wakes = cooled is None or cooled > _COOLS_K or known[-1] < 30.0
    drawn = seen.minutes.boilers[situation.subject].power_w[rows]
    watts = None if np.isnan(drawn).all() else float(np.nanmedian(drawn))
    evidence = [Evidence(channel.id, "power", watts, f"{standby_w:.1f} at rest", "W")]
    pipe = situation.plant.first(situation.subject, "temperature", "flow")
    if pipe is not None and cooled is not None:
        evidence.append(Evidence(pipe.id, "fell meanwhile by", cooled, "kept warm", "K"))
    last = int(seen.minutes.start_ms[-1]) + MINUTE_MS
    raised = span.start_ms + _LEAST_MIN * MINUTE_MS
    return Finding(
        subject=situation.subject,
        fault="supply_lost",
        start_ms=span.start_ms,
        end_ms=None if span.end_ms == last else span.end_ms,
        raised_ms=raised,
        urgency="now" if wakes else "soon",
        confidence=0.95 if wakes else 0.8,
        evidence=tuple(evidence),
        ruled_out=(
            "power cut or radio: the plug itself is heard",
            "summer: the boiler's standby is gone as well",
        ),
    )


# frost

_FREEZING_C, _NEAR_C = 3.0, 6.0
_OUTDOOR_C = 3.0
_AHEAD_H = 6.0
_COLD_MIN = 20


def judge_frost(situation: Situation) -> Verdict:
    """Water or air of the plant near freezing, or on its way there while it freezes outdoors."""
    seen = watched(situation)
    grid = Grid(situation.plant, situation.record, _edges(seen))
    places = [c for c in situation.plant.select(quantity="temperature") if _may_freeze(c)]
    known = [c for c in places if grid.of_channel(c) is not None]
    if not known:
        return Verdict(needs="a temperature of the cellar or of any pipe with readings")
    outdoor = grid.mean("plant", "temperature", "outdoor")
    found = []
    for channel in known:
        laid = grid.of_channel(channel)
        if laid is not None:
            value = np.where(laid.mean > -40.0, laid.mean, np.nan)
            found += list(_frost_findings(seen, channel, value, outdoor))
    return Verdict(tuple(_apart(found)))


def _apart(found: list[Finding]) -> Iterator[Finding]:
    """One finding at a time: frost at several places is one message."""
    until = -1
    for one in sorted(found, key=lambda f: (f.start_ms, f.urgency != "now")):
        if one.start_ms >= until:
            yield one
            until = NEVER_MS if one.end_ms is None else one.end_ms


def _edges(seen: Watched) -> IntArray:
    start = seen.minutes.start_ms
    return np.asarray(np.append(start, start[-1:] + MINUTE_MS), np.int64)


def _may_freeze(channel: Channel) -> bool:
    return channel.place in ("ambient", "room", "flow", "return")


def _frost_findings(
    seen: Watched, channel: Channel, value: FloatArray, outdoor: FloatArray
) -> Iterator[Finding]:
    with np.errstate(invalid="ignore"):
        near = lasting(np.asarray(value < _FREEZING_C)) >= _COLD_MIN
        fall_k_h = (ago(value, 60) - value) if len(value) > 60 else np.zeros(len(value))
        frost = np.nan_to_num(outdoor, nan=9.0) < _OUTDOOR_C
        ahead = (value < 10.0) & (value - _AHEAD_H * fall_k_h < _FREEZING_C) & (fall_k_h > 0.3)
        coming = (value < _NEAR_C) | ahead
    coming = frost & (lasting(np.asarray(coming)) >= _COLD_MIN)
    shown = np.asarray(near | coming)
    for span in spans_of(trailing(shown, 180) > 0, seen.minutes.start_ms):
        rows = slice(*np.searchsorted(seen.minutes.start_ms, (span.start_ms, span.end_ms)))
        lowest = float(np.nanmin(value[rows]))
        last = int(seen.minutes.start_ms[-1]) + MINUTE_MS
        yield Finding(
            subject="plant",
            fault="frost_risk",
            start_ms=span.start_ms,
            end_ms=None if span.end_ms == last else span.end_ms,
            raised_ms=span.start_ms + MINUTE_MS,
            urgency="now" if near[rows].any() else "soon",
            confidence=0.9,
            evidence=(
                Evidence(channel.id, "lowest", lowest, "above 6", "Cel"),
                *_outdoor_evidence(seen, outdoor[rows]),
            ),
            ruled_out=("a glitch of the sensor: it lasts for twenty minutes",),
        )


def _outdoor_evidence(seen: Watched, outdoor: FloatArray) -> Iterator[Evidence]:
    known = outdoor[~np.isnan(outdoor)]
    channel = seen.minutes.plant.first("plant", "temperature", "outdoor")
    if channel is not None and len(known):
        yield Evidence(channel.id, "outdoors meanwhile", float(known.min()), "above 3", "Cel")
