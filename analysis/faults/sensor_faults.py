"""Sensors not to be trusted: stuck on one value, fallen off their pipe."""

from collections.abc import Iterator

import numpy as np

from analysis.base.time import MINUTE_MS, Span
from analysis.faults.channel_silent import readings_of
from analysis.faults.pump_state.pump_watch import Watched, watched
from analysis.plant.finding import DataProblem, Evidence, Finding
from analysis.plant.plant import Channel
from analysis.readings.minute_grid import ago, held, lasting, trailing
from analysis.readings.plant_minutes import PumpMinutes
from analysis.readings.readings import FloatArray, Readings
from analysis.readings.situation import Situation, Verdict
from analysis.readings.two_levels import BoolArray

# stuck

_STUCK_MS = 180 * MINUTE_MS
_LONGER = 1.5
_STUCK_READINGS = 6
_MOVED_K = 6.0


def judge_stuck(situation: Situation) -> Verdict:
    """Pipe sensors that repeat one value while the other pipe of their loop moves."""
    pipes = [c for c in situation.plant.select(quantity="temperature") if _peer(situation, c)]
    measured = [c for c in pipes if len(readings_of(situation, c)) > _STUCK_READINGS]
    if not measured:
        return Verdict(needs="flow and return temperatures of one loop, to compare them")
    return Verdict(tuple(f for c in measured for f in _stuck_findings(situation, c)))


def _peer(situation: Situation, channel: Channel) -> Channel | None:
    other = {"flow": "return", "return": "flow"}.get(channel.place or "")
    return situation.plant.first(channel.of, "temperature", other) if other else None


def _stuck_findings(situation: Situation, channel: Channel) -> Iterator[Finding]:
    peer = _peer(situation, channel)
    if peer is None or not len(readings_of(situation, peer)):
        return
    longest = 0
    for span, value in _repeats(readings_of(situation, channel)):
        length = span.end_ms - span.start_ms
        if length < _LONGER * longest or not _moved(situation, channel, peer, span):
            longest = max(longest, length)
            continue
        longest = max(longest, length)  # told once: what ends by itself may be the pipe's habit
        last = int(readings_of(situation, channel).time_ms[-1])
        doubtful = _in_fault(situation, channel.of, span)
        yield Finding(
            subject=channel.id,
            fault="sensor_stuck",
            start_ms=span.start_ms,
            end_ms=None if span.end_ms >= last else span.end_ms,
            raised_ms=min(span.start_ms + _STUCK_MS, span.end_ms),
            urgency="note",
            confidence=0.5 if doubtful else 0.9,
            evidence=(
                Evidence(channel.id, "repeats", value, "moving with the water", "Cel"),
                Evidence(peer.id, "moved meanwhile by more than", _MOVED_K, "", "K"),
            ),
            ruled_out=("a resting loop: its other pipe moves and its pump runs",),
        )


def _in_fault(situation: Situation, part: str, span: Span) -> bool:
    """Whether the loop's pump shows a fault meanwhile: a pipe of standing water may well rest."""
    seen = watched(situation)
    if part not in seen.minutes.pumps:
        return False
    first, end = np.searchsorted(seen.minutes.start_ms, (span.start_ms, span.end_ms))
    return any(
        s.first < end and (s.end is None or s.end + _AFTER_FAULT_MIN > first)
        for s in seen.spells_of(part)
    )


_AFTER_FAULT_MIN = 720


def _repeats(readings: Readings) -> Iterator[tuple[Span, float]]:
    """Stretches of one and the same value, long and of many readings."""
    known = readings.known()
    same = np.diff(known.value) == 0
    padded = np.concatenate(([False], same, [False]))
    edge = np.flatnonzero(padded[1:] != padded[:-1]).reshape(-1, 2)
    a, b = edge[:, 0], edge[:, 1]
    long = (b - a >= _STUCK_READINGS) & (known.time_ms[b] - known.time_ms[a] >= _STUCK_MS)
    for first, last in edge[long]:
        span = Span(int(known.time_ms[first]), int(known.time_ms[last]))
        yield span, float(known.value[first])


def _moved(situation: Situation, channel: Channel, peer: Channel, span: Span) -> bool:
    """Whether the other pipe moved while the loop's pump ran, so that this one had to."""
    other = readings_of(situation, peer).within(span).known().value
    other = other[(other != 85.0) & (other > -50.0)]
    if len(other) < 3 or float(other.max() - other.min()) < _MOVED_K:
        return False
    if _rise(other) < _MOVED_K and channel.of in {b.id for b in situation.plant.boilers}:
        return False  # a boiler at rest cools from its top, and its return has long done so
    seen = watched(situation)
    rows = slice(*np.searchsorted(seen.minutes.start_ms, (span.start_ms, span.end_ms)))
    if channel.of in seen.minutes.pumps:
        return _ran(seen, channel.of, rows) > _RAN_SHARE
    # Through a boiler whatever pump runs moves water; its pipes cool apart while none does.
    ran = [_ran(seen, p, rows) for p, m in seen.minutes.pumps.items() if m.pump.duty in _MOVERS]
    return not ran or max(ran) > _RAN_SHARE


def _rise(value: FloatArray) -> float:
    """Most by which a series rose above what it had been before."""
    return float(np.max(value - np.minimum.accumulate(value)))


_RAN_SHARE = 0.3
_MOVERS = ("heating", "store", "other")


def _ran(seen: Watched, pump: str, rows: slice) -> float:
    """Share of some minutes in which a pump ran; 1 where that cannot be told."""
    if rows.stop <= rows.start:
        return 1.0
    signs, _ = seen.signs(pump, max(rows.start, 0))
    split = signs.usual.levels.split_w
    power = seen.minutes.pumps[pump].drawn.power_w[rows]
    if split is None or np.isnan(power).all():
        return 1.0
    return float(np.mean(np.nan_to_num(power) > split))


# off the pipe

_DROP_K, _DROP_MIN = 7.0, 8
_FLAT_K, _FLAT_MIN = 1.5, 25
_OTHER_KEPT_K = 3.0
_ALIKE_K = 4.0
_RUNS_SHARE, _RUNS_W = 0.7, 4.0
"""A pump takes more when running than that of its plate's least, or than any at rest."""


def judge_off_pipe(situation: Situation) -> Verdict:
    """Pipe sensors that fall to the room's temperature faster than any pipe can, and stay."""
    seen = watched(situation)
    pipes = [c for c in situation.plant.select(quantity="temperature") if c.place in _PLACES]
    pumps = [c for c in pipes if c.of in seen.minutes.pumps and len(readings_of(situation, c))]
    if not pumps:
        return Verdict(needs="flow and return temperatures of a loop")
    return Verdict(tuple(f for c in pumps for f in _off_findings(seen, c)))


_PLACES = ("flow", "return")


def _off_findings(seen: Watched, channel: Channel) -> Iterator[Finding]:
    one = seen.minutes.pumps[channel.of]
    value, other = one.flow_c, one.return_c
    if channel.place == "return":
        value, other = other, value
    at = 0
    fell = _fell(value, other, seen.minutes.source_c(one.pump)) & ~_started(one)
    rows = np.flatnonzero(fell)
    for row in rows:
        if row < at:
            continue
        end = _back_on(value, int(row))
        start = int(row) - _FLAT_MIN - _DROP_MIN
        at = end if end is not None else len(value)
        yield Finding(
            subject=channel.id,
            fault="sensor_off_pipe",
            start_ms=int(seen.minutes.start_ms[max(start, 0)]),
            end_ms=None if end is None else int(seen.minutes.start_ms[end]),
            raised_ms=int(seen.minutes.start_ms[row]) + MINUTE_MS,
            urgency="note",
            confidence=0.85,
            evidence=(
                Evidence(
                    channel.id,
                    "fell within minutes and stays at",
                    float(value[row]),
                    f"about {float(np.nan_to_num(value[max(start, 0)])):.0f} as before",
                    "Cel",
                ),
            ),
            ruled_out=("a cooling pipe: that takes the better part of an hour",),
        )


def _fell(value: FloatArray, other: FloatArray, source: FloatArray) -> BoolArray:
    """Minutes in which a fall beyond what a pipe can do has been followed by a flat half hour."""
    whole = held(value, 40)
    before = ago(value, _FLAT_MIN + _DROP_MIN)
    settled = ago(whole, _FLAT_MIN)
    with np.errstate(invalid="ignore"):
        fast = before - settled > _DROP_K
        flat = lasting(np.asarray(np.abs(whole - ago(whole, 1)) < 0.4)) >= _FLAT_MIN - 2
        flat &= np.abs(whole - settled) < _FLAT_K
        low = whole < 32.0
        kept = np.nan_to_num(_drop(other), nan=0.0) < _OTHER_KEPT_K
        # What feeds the loop did not fall with it, nor is it so cold itself: a pump that starts
        # into a cold boiler fills its warm pipes with cold water.
        kept &= np.nan_to_num(_drop(source), nan=0.0) < 0.5 * (before - settled)
        kept &= ~(np.abs(ago(held(source, 40), _FLAT_MIN) - settled) < _ALIKE_K)
        kept &= ~(np.abs(ago(held(other, 40), _FLAT_MIN) - settled) < _ALIKE_K)
    return np.asarray(fast & flat & low & kept)


def _started(one: PumpMinutes) -> BoolArray:
    """Minutes in whose fall the loop's pump started: it pushes a boiler's cold water along."""
    rated = one.pump.rated_power_w
    on = np.nan_to_num(one.drawn.high_w) > (_RUNS_SHARE * rated[0] if rated else _RUNS_W)
    starts = np.concatenate(([0.0], (on[1:] & ~on[:-1]).astype(float)))
    recent = trailing(ago(starts, _FLAT_MIN - 2) > 0, _DROP_MIN + 6)
    return np.asarray(recent > 0)


def _drop(value: FloatArray) -> FloatArray:
    """By how much another temperature fell in those same minutes [K]."""
    whole = held(value, 40)
    return ago(whole, _FLAT_MIN + _DROP_MIN) - ago(whole, _FLAT_MIN)


def _back_on(value: FloatArray, row: int) -> int | None:
    """First minute in which the sensor is warm again, beyond what air does."""
    with np.errstate(invalid="ignore"):
        warm = np.flatnonzero(value[row:] > value[row] + 6.0)
    return row + int(warm[0]) if len(warm) else None


# as doubtful data


def doubts(findings: tuple[Finding, ...]) -> tuple[DataProblem, ...]:
    """Sensor findings as stretches of a channel that are not to be trusted."""
    words = {
        "channel_silent": "nothing heard",
        "sensor_stuck": "repeats one value",
        "sensor_off_pipe": "fell off its pipe",
    }
    return tuple(
        DataProblem(sign.channel, words[f.fault], f.start_ms, f.end_ms)
        for f in findings
        if f.fault in words
        for sign in f.evidence[: None if f.fault == "channel_silent" else 1]
    )
