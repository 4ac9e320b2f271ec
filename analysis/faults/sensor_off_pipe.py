"""A sensor that fell off its pipe."""

from collections.abc import Iterator

import numpy as np

from analysis.alarms.states import Timing
from analysis.base.time import MINUTE_MS
from analysis.faults.channel_silent import readings_of
from analysis.faults.fault import SENSOR_ONLY, Doubt, Fault
from analysis.faults.pump_state.pump_watch import Watched, watched
from analysis.plant.finding import Evidence, Finding
from analysis.plant.plant import Channel
from analysis.readings.minute_grid import ago, held, lasting, trailing
from analysis.readings.plant_minutes import PumpMinutes
from analysis.readings.readings import FloatArray
from analysis.readings.situation import Situation, Verdict
from analysis.readings.two_levels import BoolArray

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


FAULT = Fault(
    name="sensor_off_pipe",
    title="A sensor fell off its pipe",
    of="plant",
    group="plant",
    place=6,
    needs="flow and return temperatures of a loop, while it is warm",
    judge=judge_off_pipe,
    urgency="note",
    timing=Timing(on_delay_s=0, off_delay_s=600),
    possible=("clip slipped or fell off", "pipe insulation moved"),
    first_check="Does the sensor sit tight on bare metal, under the insulation?",
    who="Owner: battery, place and plug of the sensor.",
    caution=SENSOR_ONLY,
    doubt=Doubt(problem="fell off its pipe"),
)
