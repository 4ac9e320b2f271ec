"""A guided trial: a person turns the knob, the program watches and labels ten minutes a step.

A pure state machine. The trial keeps only when each step began and ended; everything else is read
from the readings anew, so a trial that was interrupted goes on from where it stands. It never
switches anything.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, Literal, NamedTuple

import numpy as np

from analysis.base.time import MINUTE_MS, SECOND_MS, Span, format_rfc3339, parse_rfc3339
from analysis.plant.plant import Boiler, Channel, Drive, Plant
from analysis.readings.readings import (
    FloatArray,
    Readings,
    Record,
    covered_hours,
    hold_limit_ms,
    holds,
    summarise,
    value_at,
)

Kind = Literal["setting", "offset", "valve"]
Outcome = Literal["kept", "skipped"]

_SETTLE_MS = {"setting": 90 * SECOND_MS, "offset": 90 * SECOND_MS, "valve": 30 * SECOND_MS}
"""Readings of a step's first moments do not count: soft start, a late report of the plug. A shut
valve must not wait so long."""
SETTING_MS, SHORT_MS = 10 * MINUTE_MS, 2 * MINUTE_MS
_MOST_MS = 60 * MINUTE_MS
"""A step that lasts longer than this is told to be given up."""
_COOL_ENOUGH_CEL = 60.0
_AT_REST_W = 20.0
"""More than this a boiler hardly draws without fire or pump (common practice, no source)."""
_JUMP = 0.12
"""A level that moves by more than this within a step was moved by somebody."""

INDUCTION_SETTINGS = ("I", "II", "III")
ELECTRONIC_SETTINGS = ("I", "II", "III", "constant pressure", "proportional pressure", "automatic")


class TrialStep(NamedTuple):
    """One step: a label, what kind it is, and how long readings are wanted [ms]."""

    label: str
    kind: Kind
    length_ms: int

    @property
    def words(self) -> str:
        """What the person is asked to do."""
        if self.kind == "setting":
            return f"Set the pump to '{self.label}' and leave it for ten minutes."
        if self.kind == "offset":
            return (
                "Pull the pump's plug out of the smart plug (or switch the pump off behind it) and "
                "leave the smart plug itself on for two minutes."
            )
        return (
            "Shut the isolating valve after the pump for two minutes, then open it fully again. "
            "Stay beside it."
        )

    @property
    def caution(self) -> str:
        """What can hurt in this step."""
        if self.kind == "setting":
            return "Hot pipes: touch the knob only."
        if self.kind == "offset":
            return (
                "Pull only a plug made for it, with dry hands, and only while the burner rests; "
                "a pump wired without a plug is left alone: skip."
            )
        return (
            "Only with the burner off, never a valve on the way to the safety valve or the "
            "expansion vessel, and never longer: the water in the pump heats up."
        )


class Mark(NamedTuple):
    """What became of a step; `end_ms` None while it runs, `display_w` what the pump showed [W]."""

    label: str
    start_ms: int
    end_ms: int | None = None
    outcome: Outcome = "kept"
    display_w: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A trial of one pump; `usual` is the setting it is left at afterwards."""

    plant: str
    pump: str
    started_ms: int
    steps: tuple[TrialStep, ...]
    marks: tuple[Mark, ...] = ()
    usual: str | None = None

    @property
    def running(self) -> Mark | None:
        """The step that is under way."""
        return next((m for m in self.marks if m.end_ms is None), None)

    @property
    def next(self) -> TrialStep | None:
        """First step that was neither done nor skipped, the running one included."""
        over = {m.label for m in self.marks if m.end_ms is not None}
        return next((step for step in self.steps if step.label not in over), None)

    def settled_ms(self, mark: Mark) -> int:
        """Moment from which the readings of a step count [ms]."""
        kind = next((s.kind for s in self.steps if s.label == mark.label), "setting")
        return mark.start_ms + _SETTLE_MS[kind]

    def document(self) -> dict[str, Any]:
        """Return the JSON form, from which `trial_from` makes it again."""
        return {
            "plant": self.plant,
            "pump": self.pump,
            "started": format_rfc3339(self.started_ms),
            "usual": self.usual,
            "steps": [step._asdict() for step in self.steps],
            "marks": [
                mark._asdict()
                | {
                    "start_ms": format_rfc3339(mark.start_ms),
                    "end_ms": None if mark.end_ms is None else format_rfc3339(mark.end_ms),
                }
                for mark in self.marks
            ],
        }


def trial_from(document: dict[str, Any]) -> Trial:
    """The trial of a document."""
    marks = (
        Mark(**row)._replace(
            start_ms=parse_rfc3339(row["start_ms"]),
            end_ms=None if row["end_ms"] is None else parse_rfc3339(row["end_ms"]),
        )
        for row in document["marks"]
    )
    return Trial(
        plant=document["plant"],
        pump=document["pump"],
        started_ms=parse_rfc3339(document["started"]),
        steps=tuple(TrialStep(**row) for row in document["steps"]),
        marks=tuple(marks),
        usual=document["usual"],
    )


def plan(
    drive: Drive, settings: Iterable[str] = (), *, valve: bool = False, offset: bool = True
) -> tuple[TrialStep, ...]:
    """The steps of a trial.

    Parameters
    ----------
    drive : str
        ``induction`` or ``electronic``, for the usual settings.
    settings : iterable of str
        The pump's own settings, as its knob or display names them.
    valve : bool
        With an isolating valve shut for two minutes, see `valve_objection`.
    offset : bool
        With the pump unplugged for two minutes, for the plug's own offset.
    """
    usual = INDUCTION_SETTINGS if drive == "induction" else ELECTRONIC_SETTINGS
    steps = [TrialStep(name, "setting", SETTING_MS) for name in tuple(settings) or usual]
    if valve:
        steps.append(TrialStep("valve shut", "valve", SHORT_MS))
    if offset:
        steps.append(TrialStep("unplugged", "offset", SHORT_MS))
    return tuple(steps)


# the way through


def begin(trial: Trial, now_ms: int) -> Trial:
    """The person says that the next step is set; a running one begins anew."""
    step = trial.next
    if step is None:
        return trial
    kept = tuple(m for m in trial.marks if m.label != step.label)
    return replace(trial, marks=(*kept, Mark(step.label, now_ms)))


def end(trial: Trial, now_ms: int, *, display_w: float | None = None) -> Trial:
    """The running step is over, with what the pump's display showed [W]."""
    return replace(
        trial,
        marks=tuple(
            m._replace(end_ms=now_ms, display_w=display_w) if m.end_ms is None else m
            for m in trial.marks
        ),
    )


def skip(trial: Trial, now_ms: int) -> Trial:
    """The next step is left out."""
    step = trial.next
    if step is None:
        return trial
    kept = tuple(m for m in trial.marks if m.label != step.label)
    return replace(trial, marks=(*kept, Mark(step.label, now_ms, now_ms, "skipped")))


class View(NamedTuple):
    """What is seen of the running step: seconds of readings still wanted, and words.

    `is_enough` when the step can end; `begin_again` when somebody moved
    something in the middle of it.
    """

    left_s: float
    power_w: float | None
    words: str
    is_enough: bool = False
    begin_again: bool = False


def look(trial: Trial, plant: Plant, record: Record, now_ms: int) -> View:
    """Look at the running step.

    Parameters
    ----------
    trial : Trial
        With a running step.
    plant : Plant
        Where the pump's power channel is named.
    record : mapping of str to Readings
        Readings since some minutes before the step.
    now_ms : int
        The present moment.
    """
    mark, step = trial.running, trial.next
    channel = plant.first(trial.pump, "power")
    if mark is None or step is None or channel is None:
        return View(0.0, None, "no step is running")
    readings = record.get(channel.id, Readings.empty())
    begun_ms = trial.settled_ms(mark)
    span = Span(begun_ms, max(now_ms, begun_ms))
    hold_ms = hold_limit_ms(readings, channel)
    left_s = step.length_ms / SECOND_MS - covered_hours(holds(readings, hold_ms, span)) * 3600.0
    power_w = _now(record, channel, now_ms)
    if step.kind == "valve":
        left_s = (mark.start_ms + SHORT_MS - now_ms) / SECOND_MS
        return _shut(left_s, power_w, valve_objection(plant, record, now_ms))
    return _viewed(step, _Seen(readings, channel, span, left_s, power_w), now_ms)


class _Seen(NamedTuple):
    readings: Readings
    channel: Channel
    span: Span
    left_s: float
    power_w: float | None


def _shut(left_s: float, power_w: float | None, objection: str | None) -> View:
    """While the valve is shut: two minutes by the clock, and no heat meanwhile."""
    if left_s <= 0:
        words = "two minutes are over: open the valve fully now"
        return View(0.0, power_w, words, is_enough=True)
    if objection:
        return View(left_s, power_w, f"open the valve fully now: {objection}", begin_again=True)
    return View(left_s, power_w, "keep it shut and stay beside it")


def _viewed(step: TrialStep, seen: _Seen, now_ms: int) -> View:
    hold_ms = hold_limit_ms(seen.readings, seen.channel)
    if now_ms - seen.span.start_ms > _MOST_MS:
        words = "too long ago; begin the step again"
        return View(seen.left_s, seen.power_w, words, begin_again=True)
    is_silent = now_ms > seen.span.start_ms and np.isnan(
        value_at(seen.readings, [now_ms], hold_ms)[0]
    )
    if is_silent:
        words = f"no reading of '{seen.channel.id}' just now: the step waits for it"
        return View(seen.left_s, None, words)
    if step.kind == "setting" and _moved(seen, hold_ms):
        words = "the power jumped within the step: leave the knob and begin the step again"
        return View(seen.left_s, seen.power_w, words, begin_again=True)
    if seen.left_s <= 0:
        return View(0.0, seen.power_w, "enough readings", is_enough=True)
    return View(seen.left_s, seen.power_w, "keep it as it is")


def _moved(seen: _Seen, hold_ms: int) -> bool:
    """Whether the level changed for good within the step: each half agrees with itself only."""
    minutes = minute_means(seen.readings, seen.span, hold_ms)
    for cut in range(2, len(minutes) - 2):
        # the minute in which it jumped belongs to neither side
        first, last = minutes[:cut], minutes[cut + 1 :]
        step = abs(float(np.median(last) - np.median(first)))
        within = max(float(np.ptp(first)), float(np.ptp(last)))
        if step > max(_JUMP * float(np.median(first)), 1.5) and step > 2.0 * within:
            return True
    return False


def minute_means(readings: Readings, span: Span, hold_ms: int) -> FloatArray:
    """Means of the full minutes of a span that are known [W]."""
    edges = np.arange(span.start_ms, span.end_ms + 1, MINUTE_MS, dtype=np.int64)
    if len(edges) < 2:
        return np.empty(0)
    mean = summarise(readings, edges, hold_ms).mean
    return mean[~np.isnan(mean)]


# may a valve be shut?


def valve_objection(plant: Plant, record: Record, now_ms: int) -> str | None:
    """Why an isolating valve must not be shut now, None where nothing measured speaks against it.

    A pump stands two minutes against a shut valve; a boiler that fires into
    a shut loop does not, and hot water in the pump would boil. Common practice,
    no source. Only what is measured is seen: the person must know the loop.
    """
    if not plant.boilers:
        return "no boiler is named in the plant file"
    objections = (
        _too_warm(plant, boiler, record, now_ms) or _draws_power(plant, boiler, record, now_ms)
        for boiler in plant.boilers
    )
    return next((one for one in objections if one), None)


def _too_warm(plant: Plant, boiler: Boiler, record: Record, now_ms: int) -> str | None:
    flow = plant.first(boiler.id, "temperature", "flow")
    water_c = None if flow is None else _now(record, flow, now_ms)
    if flow is None or water_c is None:
        return f"the flow temperature of '{boiler.id}' is not known just now"
    if water_c > _COOL_ENOUGH_CEL:
        return f"the boiler's flow is above {_COOL_ENOUGH_CEL:.0f} °C: let it cool first"
    before_c = _now(record, flow, now_ms - 3 * MINUTE_MS)
    if before_c is None:
        return f"the flow temperature of '{boiler.id}' was not known three minutes ago"
    if water_c - before_c > 1.0:
        return f"'{boiler.id}' seems to fire: its flow is getting warmer"
    return None


def _draws_power(plant: Plant, boiler: Boiler, record: Record, now_ms: int) -> str | None:
    power = plant.first(boiler.id, "power")
    draws_w = 0.0 if power is None else _now(record, power, now_ms)
    if draws_w is None:
        return f"the power of '{boiler.id}' is not known just now: it might fire"
    if draws_w > _AT_REST_W:
        return f"'{boiler.id}' draws power as if it fired: switch it off first"
    return None


def _now(record: Record, channel: Channel, time_ms: int) -> float | None:
    readings = record.get(channel.id, Readings.empty())
    value = float(value_at(readings, [time_ms], hold_limit_ms(readings, channel))[0])
    return None if np.isnan(value) else value
