"""The life of an alarm as a pure step: what was, what is seen, what a person did, what is now.

States after IEC 62682 (Management of alarm systems for the process industries), clause on the
alarm state diagram, from memory: normal, unacknowledged, acknowledged, returned to normal but
unacknowledged, shelved, out of service.
"""

from dataclasses import dataclass, replace
from typing import Literal

from analysis.base.time import SECOND_MS
from analysis.plant.finding import Urgency

State = Literal["normal", "unacknowledged", "acknowledged", "returned", "shelved", "out_of_service"]
Deed = Literal["acknowledge", "shelve", "unshelve", "take_out", "put_back"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """How long a condition must last to raise an alarm, and be gone to end it [s]."""

    on_delay_s: float = 0.0
    off_delay_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """One alarm: a fault of one subject of one plant.

    Attributes
    ----------
    state : str
        State now, since `since_ms`.
    is_present : bool
        Whether the condition counts as present, delays applied.
    changing_since_ms : int or None
        Since when the condition has been seen otherwise than `is_present`.
    raised_ms : int or None
        When the present or last occurrence was raised.
    shelved_until_ms : int or None
        When shelving ends by itself.
    """

    plant: str
    subject: str
    fault: str
    urgency: Urgency
    state: State = "normal"
    since_ms: int = 0
    is_present: bool = False
    changing_since_ms: int | None = None
    raised_ms: int | None = None
    shelved_until_ms: int | None = None

    @property
    def key(self) -> tuple[str, str, str]:
        """What tells alarms apart."""
        return self.plant, self.subject, self.fault

    @property
    def is_standing(self) -> bool:
        """Whether a person should see it in the list of alarms."""
        return self.state != "normal"


def advance(alarm: Alarm, now_ms: int, *, present: bool | None, timing: Timing) -> Alarm:
    """Next state for what is seen now.

    Parameters
    ----------
    alarm : Alarm
        As it was.
    now_ms : int
        The moment [ms].
    present : bool or None
        Whether the condition is seen; None where it cannot be judged, which
        changes nothing: silence is no good news.
    timing : Timing
        Delays of this fault.
    """
    alarm = _unshelve_in_time(alarm, now_ms)
    if present is None:
        return alarm
    if present == alarm.is_present:
        return replace(alarm, changing_since_ms=None)
    since = now_ms if alarm.changing_since_ms is None else alarm.changing_since_ms
    delay_s = timing.on_delay_s if present else timing.off_delay_s
    if now_ms - since < delay_s * SECOND_MS:
        return replace(alarm, changing_since_ms=since)
    alarm = replace(alarm, is_present=present, changing_since_ms=None)
    return _raised(alarm, now_ms) if present else _cleared(alarm, now_ms)


def graded(alarm: Alarm, urgency: Urgency, now_ms: int) -> Alarm:
    """The alarm with the urgency of what is seen now; one that grows urgent asks anew.

    An alarm that was told to wait and now is urgent goes back to unacknowledged, so that
    somebody is told, off the shelf too: what was put away could wait. One that is urgent
    stays so until it has ended.
    """
    if urgency == alarm.urgency or (alarm.is_present and alarm.urgency == "now"):
        return alarm
    after = replace(alarm, urgency=urgency)
    if urgency == "now" and alarm.state == "shelved":
        return _back(after, now_ms)
    if urgency == "now" and alarm.is_present and alarm.state in ("unacknowledged", "acknowledged"):
        return _raised(after, now_ms)
    return after


def dated(alarm: Alarm, now_ms: int) -> Alarm:
    """The alarm with no moment after now but the end of shelving.

    A clock that was ahead and has been set back leaves moments of the future, from which no
    delay would ever end and after which nothing would count as told.
    """
    until, raised, changing = alarm.shelved_until_ms, alarm.raised_ms, alarm.changing_since_ms
    if max(alarm.since_ms, raised or 0, changing or 0) <= now_ms:
        return alarm
    ahead_ms = max(0, alarm.since_ms - now_ms)
    return replace(
        alarm,
        since_ms=alarm.since_ms - ahead_ms,
        raised_ms=raised if raised is None else min(raised, now_ms),
        changing_since_ms=changing if changing is None else min(changing, now_ms),
        shelved_until_ms=until if until is None else until - ahead_ms,
    )


def _raised(alarm: Alarm, now_ms: int) -> Alarm:
    if alarm.state in ("shelved", "out_of_service"):
        return replace(alarm, raised_ms=now_ms)
    return replace(alarm, state="unacknowledged", since_ms=now_ms, raised_ms=now_ms)


def _cleared(alarm: Alarm, now_ms: int) -> Alarm:
    after: dict[State, State] = {"unacknowledged": "returned", "acknowledged": "normal"}
    if alarm.state not in after:
        return alarm
    return replace(alarm, state=after[alarm.state], since_ms=now_ms)


def _unshelve_in_time(alarm: Alarm, now_ms: int) -> Alarm:
    until = alarm.shelved_until_ms
    if alarm.state != "shelved" or until is None or now_ms < until:
        return alarm
    return _back(alarm, now_ms)


def _back(alarm: Alarm, now_ms: int) -> Alarm:
    """Out of suppression: a present condition asks for attention anew."""
    state: State = "unacknowledged" if alarm.is_present else "normal"
    return replace(alarm, state=state, since_ms=now_ms, shelved_until_ms=None)


def act(alarm: Alarm, deed: Deed, now_ms: int, *, until_ms: int | None = None) -> Alarm:
    """State after a person's deed; a deed that does not apply changes nothing.

    Parameters
    ----------
    alarm : Alarm
        As it was.
    deed : str
        ``acknowledge``, ``shelve``, ``unshelve``, ``take_out`` (of service) or
        ``put_back``.
    now_ms : int
        The moment [ms].
    until_ms : int, optional
        End of shelving, which must have one.
    """
    if deed == "acknowledge":
        after: dict[State, State] = {"unacknowledged": "acknowledged", "returned": "normal"}
        if alarm.state in after:
            return replace(alarm, state=after[alarm.state], since_ms=now_ms)
    elif deed == "shelve" and alarm.state != "out_of_service" and until_ms is not None:
        return replace(alarm, state="shelved", since_ms=now_ms, shelved_until_ms=until_ms)
    elif deed == "take_out":
        return replace(alarm, state="out_of_service", since_ms=now_ms, shelved_until_ms=None)
    elif (deed, alarm.state) in (("unshelve", "shelved"), ("put_back", "out_of_service")):
        return _back(alarm, now_ms)
    return alarm
