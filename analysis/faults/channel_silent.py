"""Channels heard no more for hours, which is neither a habit of theirs nor a pump's rest."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from analysis.alarms.states import Timing
from analysis.base.time import HOUR_MS, MINUTE_MS, SECOND_MS, Span
from analysis.faults.fault import SENSOR_ONLY, Doubt, Fault, PlainTruth
from analysis.faults.pump_state.pump_watch import watched
from analysis.plant.finding import Evidence, Finding
from analysis.plant.plant import Channel
from analysis.readings.readings import Readings, usual_step_ms
from analysis.readings.situation import Situation, Verdict
from analysis.readings.usual_silence import RESTS_MS, is_switched, usual_silence_ms

SILENT_MS = round(6.5 * HOUR_MS)
"""Cellar radio is away for hours now and then; common practice, no source."""
_SILENT_STEPS = 20
_ALL_SHARE = 0.6
_MISSED_MIN, _SURELY_HEARD, _HEARD_SHARE = 120, 0.9, 0.5
_TOGETHER_MS = 30 * MINUTE_MS


@dataclass(frozen=True, slots=True)
class _Silence:
    channel: Channel
    start_ms: int
    end_ms: int | None


def judge_silent(situation: Situation) -> Verdict:
    """Channels without a reading for hours; most of a plant's at once are one finding."""
    if not situation.plant.channels:
        return Verdict(needs="channels in the plant file")
    every = [s for c in situation.plant.channels for s in _silences(situation, c)]
    every.sort(key=lambda s: s.start_ms)
    heard = sum(1 for c in situation.plant.channels if len(readings_of(situation, c))) or 1
    found: list[Finding] = []
    while every:
        first = every[0]
        group = [s for s in every if s.start_ms - first.start_ms <= _TOGETHER_MS]
        if len(group) > max(_ALL_SHARE * heard, 2):
            found.append(_silent_finding(group, subject="plant"))
        else:
            group = [s for s in group if _same_device(s.channel, first.channel)]
            found.append(_silent_finding(group, subject=group[0].channel.id))
        every = [s for s in every if s not in group]
    return Verdict(tuple(found))


def _same_device(one: Channel, other: Channel) -> bool:
    """Channels of one topic come from one device; so do the quantities of a plug."""
    if one.topic is not None and other.topic is not None:
        return one.topic == other.topic
    return one.id == other.id


def readings_of(situation: Situation, channel: Channel) -> Readings:
    """Readings of a channel in a situation; none where it was never heard."""
    return situation.record.get(channel.id, Readings.empty())


def _silences(situation: Situation, channel: Channel) -> Iterator[_Silence]:
    readings, span = readings_of(situation, channel), situation.span
    last_ms = situation.last_ms.get(channel.id)
    known = situation.learned.silent_ms.get(channel.id, 0) if situation.learned else 0
    if not len(readings):
        silent = last_ms is not None and span.end_ms - last_ms > max(SILENT_MS, known)
        if silent and not _rests_unheard(situation, channel, Span(last_ms or 0, span.end_ms)):
            yield _Silence(channel, last_ms or 0, None)
        return
    if _counts_at_rest(situation, channel):
        return
    least = _least_silence_ms(situation, channel)
    times = np.append(readings.time_ms, [span.end_ms])
    for at in np.flatnonzero(np.diff(times) > max(least, known)):
        start, end = int(times[at]), int(times[at + 1])
        if end - start <= usual_silence_ms(readings, start):
            continue
        if _rests_unheard(situation, channel, Span(start, end)):
            continue
        is_last = at == len(readings) - 1
        yield _Silence(channel, start, None if is_last else end)


def _counts_at_rest(situation: Situation, channel: Channel) -> bool:
    """Whether it is a counter told on change: while nothing is used its plug's power tells."""
    if channel.quantity != "energy" or channel.reports != "change":
        return False
    power = situation.plant.first(channel.of, "power")
    return (
        power is not None
        and _same_device(channel, power)
        and len(readings_of(situation, power)) > 0
    )


def _rests_unheard(situation: Situation, channel: Channel, silent: Span) -> bool:
    """Whether a silence is a pump's rest: its plug is switched with it, and nobody misses it."""
    pump = next((p for p in situation.plant.pumps if p.id == channel.of), None)
    power = situation.plant.first(channel.of, "power")
    if (
        pump is None
        or power is None
        or pump.always_on
        or silent.end_ms - silent.start_ms > RESTS_MS
    ):
        return False
    if channel.id != power.id and not _same_device(channel, power):
        return False
    if situation.learned is not None:
        switched = pump.id in situation.learned.switched
    else:
        switched = is_switched(readings_of(situation, power), silent.start_ms)
    return switched and not _is_missed(situation, pump.id, silent)


def _is_missed(situation: Situation, pump: str, silent: Span) -> bool:
    """Whether a pump ought to have run in a silence, or nothing tells that it need not."""
    seen = watched(situation)
    first, end = np.searchsorted(seen.minutes.start_ms, (silent.start_ms, silent.end_ms))
    missed = heard = 0
    for stage, own, signs in seen.staged(pump):
        rows = np.arange(stage.rows.start, stage.rows.stop)
        within = (rows >= first) & (rows < end)
        if not within.any():
            continue
        boilers = [~np.isnan(drawn.power_w) for drawn in signs.plant.boilers.values()]
        told = np.logical_or.reduce([~np.isnan(signs.heat), *boilers])
        heard += int(told[own][within].sum())
        # Of a plug that is silent in fires as well, its pump rests in some of them.
        if (signs.usual.heard_by_fire or 0.0) >= _SURELY_HEARD:
            missed += int(signs.wanted[own][within].sum())
    return missed >= _MISSED_MIN or heard < _HEARD_SHARE * (end - first)


def _least_silence_ms(situation: Situation, channel: Channel) -> int:
    """A silence that says something; a value that reports on change may rest for ever."""
    readings = readings_of(situation, channel)
    if channel.reports == "change" and channel.interval_s is None:
        usual = float(np.quantile(np.diff(readings.time_ms), 0.99)) if len(readings) > 20 else 0.0
        return max(SILENT_MS, round(6 * usual))
    usual_ms = channel.interval_s * SECOND_MS if channel.interval_s else usual_step_ms(readings)
    return max(SILENT_MS, round(_SILENT_STEPS * usual_ms))


def _silent_finding(group: list[_Silence], *, subject: str) -> Finding:
    start = min(s.start_ms for s in group)
    ends = [s.end_ms for s in group]
    end = None if None in ends else max(e for e in ends if e is not None)
    hours = None if end is None else (end - start) / HOUR_MS
    return Finding(
        subject=subject,
        fault="channel_silent",
        start_ms=start,
        end_ms=end,
        raised_ms=start + SILENT_MS,
        urgency="soon",
        confidence=0.95,
        evidence=tuple(
            Evidence(s.channel.id, "hours without a reading", hours, "readings as usual", "h")
            for s in group[:6]
        ),
        ruled_out=("a short loss of the radio: it lasts for hours",),
        possible=("power cut", "network or broker down", "plug or sensor without power")
        if subject == "plant"
        else ("battery empty or plug without power", "out of radio reach", "topic changed"),
    )


FAULT = Fault(
    name="channel_silent",
    title="A channel is heard no more",
    of="plant",
    group="plant",
    place=4,
    needs="channels in the plant file",
    judge=judge_silent,
    urgency="soon",
    timing=Timing(on_delay_s=0, off_delay_s=60),
    possible=("battery empty or plug without power", "out of radio reach", "topic changed"),
    first_check="Is the sensor's battery good and the plug's lamp lit? Is the network up?",
    who="Owner: battery, place and plug of the sensor.",
    caution=SENSOR_ONLY,
    is_silence=True,
    doubt=Doubt(problem="nothing heard", of_every_channel=True),
    plain_truth=PlainTruth(after="nothing is heard"),
)
