"""Water or air of the plant near freezing."""

from collections.abc import Iterator

import numpy as np

from analysis.alarms.states import Timing
from analysis.base.time import MINUTE_MS
from analysis.faults.fault import Fault
from analysis.faults.pump_state.pump_watch import Watched, watched
from analysis.plant.finding import Evidence, Finding
from analysis.plant.plant import Channel
from analysis.readings.minute_grid import Grid, ago, lasting, spans_of, trailing
from analysis.readings.readings import NEVER_MS, FloatArray, IntArray
from analysis.readings.situation import Situation, Verdict

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


FAULT = Fault(
    name="frost_risk",
    title="Near freezing",
    of="plant",
    group="plant",
    place=3,
    needs="a temperature of the cellar, a room or any pipe; better with the outdoor one",
    judge=judge_frost,
    urgency="now",
    timing=Timing(on_delay_s=0, off_delay_s=1800),
    possible=("frost risk: heating off in frost", "door or window open", "boiler in lock-out"),
    first_check="Is the heating on and the boiler without a fault? Are cellar doors shut?",
    who="Owner: turn the heating on, shut doors. Heating firm: a boiler that will not start.",
    caution="Where pipes or the condensate drain may be frozen, leave the boiler off and "
    "call. Thaw pipes slowly and never with a flame; water may spray from a burst pipe.",
    follows=("pump stands", "boiler makes no heat"),
)
