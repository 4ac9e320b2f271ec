"""A sensor that repeats one value."""

from collections.abc import Iterator

import numpy as np

from analysis.alarms.states import Timing
from analysis.base.time import MINUTE_MS, Span
from analysis.faults.channel_silent import readings_of
from analysis.faults.fault import SENSOR_ONLY, Doubt, Fault
from analysis.faults.pump_state.pump_watch import Watched, watched
from analysis.plant.finding import Evidence, Finding
from analysis.plant.plant import Channel
from analysis.readings.readings import FloatArray, Readings
from analysis.readings.situation import Situation, Verdict

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


FAULT = Fault(
    name="sensor_stuck",
    title="A sensor repeats one value",
    of="plant",
    group="plant",
    place=5,
    needs="flow and return temperatures of one loop",
    judge=judge_stuck,
    urgency="note",
    timing=Timing(on_delay_s=0, off_delay_s=600),
    possible=("sensor or its converter hangs", "gateway repeats an old value"),
    first_check="Take the sensor's supply or battery out for a minute; does its value move?",
    who="Owner: battery, place and plug of the sensor.",
    caution=SENSOR_ONLY,
    doubt=Doubt(problem="repeats one value"),
)
