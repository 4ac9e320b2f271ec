"""Which alarms to tell a person about now: first word, repeats, quiet hours, no flood.

A pure decision over the alarms and what was told before; sending is somebody else's.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, time
from typing import Literal
from zoneinfo import ZoneInfo

from analysis.alarms import Alarm
from analysis.finding import Urgency
from analysis.timebase import MINUTE_MS, from_ms, to_ms

Reason = Literal["first", "repeat", "returned", "digest", "own", "test"]
Key = tuple[str, str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class NoticeRules:
    """When to tell.

    Attributes
    ----------
    timezone : str
        Zone of quiet hours and digest.
    quiet_from, quiet_to : time
        Between these only `now` alarms are told.
    repeat_minutes : float
        `now` alarms are repeated so often until acknowledged; 0 never.
    digest_at : time
        When the rest is told, once a day.
    flood_notices : int
        After so many notices within ten minutes everything goes into one.
    """

    timezone: str
    quiet_from: time = time(22, 0)
    quiet_to: time = time(7, 0)
    repeat_minutes: float = 30.0
    digest_at: time = time(8, 0)
    flood_notices: int = 6

    def is_quiet(self, now_ms: int) -> bool:
        """Whether a moment lies in the quiet hours."""
        clock = from_ms(now_ms).astimezone(ZoneInfo(self.timezone)).time()
        if self.quiet_from <= self.quiet_to:
            return self.quiet_from <= clock < self.quiet_to
        return clock >= self.quiet_from or clock < self.quiet_to


@dataclass(frozen=True, slots=True)
class Told:
    """One alarm that a person was told about."""

    time_ms: int
    key: Key
    reason: Reason


@dataclass(frozen=True, slots=True)
class Notice:
    """Something to tell: one alarm, or several that belong together."""

    reason: Reason
    urgency: Urgency
    alarms: tuple[Alarm, ...]


CAUSES_SILENCE = "supply_lost"
"""The fault that explains others of its plant: a power cut is one message, not thirty."""
_EXPLAINS_BEFORE_MS, _EXPLAINS_AFTER_MS = 10 * MINUTE_MS, 30 * MINUTE_MS
_FLOOD_MS = 10 * MINUTE_MS


def notices_due(
    alarms: Sequence[Alarm], told: Sequence[Told], now_ms: int, *, rules: NoticeRules
) -> list[Notice]:
    """What to tell now.

    Alarms of one plant that fall due together are one notice, and while
    notices pile up all of them are one.

    Parameters
    ----------
    alarms : sequence of Alarm
        As they stand.
    told : sequence of Told
        What was told before, at least since each alarm was raised.
    now_ms : int
        The moment [ms].
    rules : NoticeRules
        When to tell.
    """
    last = _last_told(told)
    explained = _explained(alarms)
    due: dict[tuple[str, Reason], list[Alarm]] = defaultdict(list)
    for alarm in alarms:
        if alarm.key in explained:
            continue
        if reason := _reason(alarm, last, now_ms, rules=rules):
            due[alarm.plant, reason].append(alarm)
    notices = [_notice(reason, members) for (_, reason), members in sorted(due.items())]
    recent = {t.time_ms for t in told if now_ms - t.time_ms < _FLOOD_MS}
    if len(notices) > 1 and len(notices) + len(recent) > rules.flood_notices:
        return [_notice("first", [a for n in notices for a in n.alarms])]
    return notices


def _last_told(told: Iterable[Told]) -> dict[tuple[Key, Reason], int]:
    last: dict[tuple[Key, Reason], int] = {}
    for one in told:
        place = one.key, one.reason
        last[place] = max(last.get(place, 0), one.time_ms)
    return last


def _reason(
    alarm: Alarm, last: dict[tuple[Key, Reason], int], now_ms: int, *, rules: NoticeRules
) -> Reason | None:
    # What comes off the shelf unsolved asks anew, though it was raised before.
    asked = alarm.since_ms if alarm.state == "unacknowledged" else alarm.raised_ms or 0
    first = last.get((alarm.key, "first"), -1)
    was_told = first >= asked
    if alarm.state == "unacknowledged":
        if not was_told:
            return "first" if _may_tell(alarm.urgency, now_ms, rules) else None
        latest = max(first, last.get((alarm.key, "repeat"), -1))
        repeats = alarm.urgency == "now" and rules.repeat_minutes > 0
        if repeats and now_ms - latest >= rules.repeat_minutes * MINUTE_MS:
            return "repeat"
    elif alarm.state == "returned" and was_told:
        is_told = last.get((alarm.key, "returned"), -1) >= alarm.since_ms
        if not is_told and _may_tell(alarm.urgency, now_ms, rules):
            return "returned"
    return None


def _may_tell(urgency: Urgency, now_ms: int, rules: NoticeRules) -> bool:
    return urgency == "now" or (urgency == "soon" and not rules.is_quiet(now_ms))


def _explained(alarms: Sequence[Alarm]) -> set[Key]:
    """Alarms that a lost supply of the same plant explains."""
    # One that is put away is told to nobody, so that it explains nothing.
    cuts = [
        a
        for a in alarms
        if a.fault == CAUSES_SILENCE
        and a.is_present
        and a.state in ("unacknowledged", "acknowledged")
    ]
    return {
        a.key
        for cut in cuts
        for a in alarms
        if a.plant == cut.plant
        and a.fault != CAUSES_SILENCE
        and -_EXPLAINS_BEFORE_MS <= (a.raised_ms or 0) - (cut.raised_ms or 0) <= _EXPLAINS_AFTER_MS
    }


def _notice(reason: Reason, alarms: list[Alarm]) -> Notice:
    ranks: tuple[Urgency, ...] = ("now", "soon", "note")
    ordered = sorted(alarms, key=lambda a: (ranks.index(a.urgency), a.raised_ms or 0))
    return Notice(reason, ordered[0].urgency, tuple(ordered))


def digest_due(
    alarms: Sequence[Alarm], last_digest_ms: int | None, now_ms: int, *, rules: NoticeRules
) -> Notice | None:
    """The day's digest of what is not `now`, or None where it is not due or nothing stands."""
    zone = ZoneInfo(rules.timezone)
    here = from_ms(now_ms).astimezone(zone)
    at = datetime.combine(here.date(), rules.digest_at, zone)
    # A box that was off at the hour makes up for it, but wakes nobody.
    if here < at or (rules.is_quiet(now_ms) and not rules.is_quiet(to_ms(at))):
        return None
    told_on = None if last_digest_ms is None else from_ms(last_digest_ms).astimezone(zone).date()
    if told_on is not None and told_on >= here.date():
        return None
    standing = [
        a
        for a in alarms
        if a.urgency != "now"
        and a.state in ("unacknowledged", "acknowledged", "returned")
        and a.since_ms <= to_ms(at)  # what came after the hour waits for the next
    ]
    return _notice("digest", standing) if standing else None
