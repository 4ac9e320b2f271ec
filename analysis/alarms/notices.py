"""Which alarms to tell a person about now: first word, repeats, quiet hours, no flood.

A pure decision over the alarms and what was told before; sending is somebody else's.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, time
from typing import Literal
from zoneinfo import ZoneInfo

from analysis.alarms.states import Alarm
from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, from_ms, to_ms
from analysis.plant.finding import URGENCIES, Urgency

Reason = Literal["first", "repeat", "returned", "digest", "put_away", "own", "test"]
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
        After so many notices of a plant within ten minutes only what is `now` is told
        at once; the rest waits, and then comes together.
    explaining : frozenset of str
        Faults that explain others of their plant: a power cut is one message, not thirty.
    silence : frozenset of str
        Faults that are the silence which those make.
    """

    timezone: str
    quiet_from: time = time(22, 0)
    quiet_to: time = time(7, 0)
    repeat_minutes: float = 30.0
    digest_at: time = time(8, 0)
    flood_notices: int = 6
    explaining: frozenset[str] = frozenset()
    silence: frozenset[str] = frozenset()

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


_EXPLAINS_BEFORE_MS, _EXPLAINS_AFTER_MS = 10 * MINUTE_MS, 30 * MINUTE_MS
_FLOOD_MS = 10 * MINUTE_MS
_PUT_AWAY_AGAIN_MS = 7 * DAY_MS - HOUR_MS
"""A week, less what the hour of the digest may move by summer time."""


def notices_due(
    alarms: Sequence[Alarm], told: Sequence[Told], now_ms: int, *, rules: NoticeRules
) -> list[Notice]:
    """What to tell now.

    Alarms of one plant that fall due together are one notice, and while
    notices pile up what is not urgent waits, so that it is one notice in the end.

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
    explained = _explained(alarms, rules)
    due: dict[tuple[str, Reason], list[Alarm]] = defaultdict(list)
    for alarm in alarms:
        if alarm.key in explained:
            continue
        if reason := _reason(alarm, last, now_ms, rules=rules):
            due[alarm.plant, reason].append(alarm)
    notices = [_notice(reason, members) for (_, reason), members in sorted(due.items())]
    recent = {t.time_ms for t in told if now_ms - t.time_ms < _FLOOD_MS}
    if len(recent) >= rules.flood_notices:
        return [n for n in notices if n.urgency == "now" and n.reason != "returned"]
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
    elif alarm.state == "returned" and (was_told or alarm.urgency == "now"):
        # What was urgent is told though it is over: nobody could be reached while it lasted.
        is_told = last.get((alarm.key, "returned"), -1) >= alarm.since_ms
        if not is_told and _may_tell(alarm.urgency, now_ms, rules):
            return "returned"
    return None


def _may_tell(urgency: Urgency, now_ms: int, rules: NoticeRules) -> bool:
    return urgency == "now" or (urgency == "soon" and not rules.is_quiet(now_ms))


def _explained(alarms: Sequence[Alarm], rules: NoticeRules) -> set[Key]:
    """Alarms that a lost supply of the same plant explains."""
    cuts = [a for a in alarms if a.fault in rules.explaining]
    return {
        a.key
        for cut in cuts
        for a in alarms
        if a.plant == cut.plant and a.fault not in rules.explaining and _explains(cut, a, rules)
    }


def _explains(cut: Alarm, alarm: Alarm, rules: NoticeRules) -> bool:
    """Whether a lost supply explains an alarm: it came with it, or is the silence it makes.

    One that is put away is told to nobody, so that it explains nothing; one that is over
    explains only what is over as well.
    """
    lasts = cut.is_present and cut.state in ("unacknowledged", "acknowledged")
    if not lasts and not (cut.state == alarm.state == "returned"):
        return False
    after_ms = (alarm.raised_ms or 0) - (cut.raised_ms or 0)
    is_silence = alarm.fault in rules.silence and lasts
    return after_ms >= -_EXPLAINS_BEFORE_MS and (is_silence or after_ms <= _EXPLAINS_AFTER_MS)


def _notice(reason: Reason, alarms: list[Alarm]) -> Notice:
    ordered = sorted(alarms, key=lambda a: (URGENCIES.index(a.urgency), a.raised_ms or 0))
    return Notice(reason, ordered[0].urgency, tuple(ordered))


def digest_due(
    alarms: Sequence[Alarm], last_digest_ms: int | None, now_ms: int, *, rules: NoticeRules
) -> Notice | None:
    """The day's digest, or None where it is not due or nothing stands.

    Of what is `now` it has what somebody has acknowledged, which is repeated no more.
    """
    at_ms = _hour_of_digest(last_digest_ms, now_ms, rules)
    if at_ms is None:
        return None
    standing = [
        a
        for a in alarms
        if (a.urgency != "now" or a.state == "acknowledged")
        and a.state in ("unacknowledged", "acknowledged", "returned")
        and a.since_ms <= at_ms  # what came after the hour waits for the next
    ]
    return _notice("digest", standing) if standing else None


def put_away_due(
    alarms: Sequence[Alarm], last_ms: int | None, now_ms: int, *, rules: NoticeRules
) -> Notice | None:
    """What is still out of service, told the morning after and then once a week.

    Nothing ends it but a person, and whoever forgets it would never hear of that part again.
    """
    out = [a for a in alarms if a.state == "out_of_service"]
    if not out:
        return None
    newest_ms = max(a.since_ms for a in out)
    if last_ms is not None and last_ms >= newest_ms and now_ms - last_ms < _PUT_AWAY_AGAIN_MS:
        return None
    at_ms = _hour_of_digest(last_ms, now_ms, rules)
    is_due = at_ms is not None and newest_ms <= at_ms
    return Notice("put_away", "soon", tuple(out)) if is_due else None


def _hour_of_digest(last_ms: int | None, now_ms: int, rules: NoticeRules) -> int | None:
    """Today's hour of the digest, once it has come and unless one was told today."""
    zone = ZoneInfo(rules.timezone)
    here = from_ms(now_ms).astimezone(zone)
    at = datetime.combine(here.date(), rules.digest_at, zone)
    # A box that was off at the hour makes up for it, but wakes nobody.
    if here < at or (rules.is_quiet(now_ms) and not rules.is_quiet(to_ms(at))):
        return None
    told_on = None if last_ms is None else from_ms(last_ms).astimezone(zone).date()
    return None if told_on is not None and told_on >= here.date() else to_ms(at)
