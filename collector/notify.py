"""What people are told and when: of alarms, and of the collector's own silence and failures."""

import logging
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from datetime import time
from functools import cache
from typing import Any, NamedTuple, TypeVar
from zoneinfo import ZoneInfo

from sqlalchemy.exc import SQLAlchemyError

from analysis.alarms import Alarm, dated
from analysis.faults import FAULTS
from analysis.notices import Notice, NoticeRules, Told, digest_due, notices_due
from analysis.plant import Plant
from analysis.timebase import DAY_MS, MINUTE_MS, format_rfc3339, from_ms
from analysis.wording import evidence
from collector.journal import Event, StandingAlarm
from collector.messenger import Letter, Messenger
from collector.settings import Settings
from collector.site import Site, each_plant

_log = logging.getLogger(__name__)

_REMEMBERED_MS = 30 * DAY_MS
_OWN = "collector"


Findings = Mapping[tuple[str, str, str], dict[str, Any]]
"""Documents of the findings that alarms stand for, by the alarm's key."""


@cache
def _messenger(settings: Settings) -> Messenger:
    return Messenger(settings)


# the job


def tell(site: Site, now_ms: int) -> None:
    """Send what is due and note what was sent; what fails is tried again next time."""
    messenger = _messenger(site.settings)
    messenger.catch_up(now_ms)
    site.live.unreached = messenger.unreached()
    known = _standing(site, now_ms)
    findings = {one.alarm.key: one.finding for one in known if one.finding is not None}
    alarms = _grouped((one.alarm.plant, one.alarm) for one in known)
    told = _grouped((t.key[0], t) for t in _told(site, now_ms))
    _tell_own_trouble(site, messenger, told[""], now_ms)

    due: list[Due] = []

    def look(plant: Plant) -> None:
        rules = rules_for(site.settings, plant)
        due.extend(Due(plant, n) for n in _due(alarms[plant.key], told[plant.key], now_ms, rules))

    try:
        each_plant([plant for plant in site.plants if alarms[plant.key]], look)
    finally:
        for together in _together(due):
            _tell(site, messenger, together, findings, now_ms)


class Due(NamedTuple):
    """A notice of a plant."""

    plant: Plant
    notice: Notice


def _due(
    alarms: Sequence[Alarm], told: Sequence[Told], now_ms: int, rules: NoticeRules
) -> list[Notice]:
    """What to tell of one plant now, the day's digest with it."""
    due = notices_due(alarms, told, now_ms, rules=rules)
    digested = [t.time_ms for t in told if t.reason == "digest"]
    digest = digest_due(alarms, max(digested, default=None), now_ms, rules=rules)
    return [*due, digest] if digest else due


_FLOOD_PLANTS = 6
"""Notices of more plants than this at once are one: a power cut of a town, a firm's morning."""


def _together(due: Iterable[Due]) -> Iterator[list[Due]]:
    """What goes into one letter."""
    for group in _grouped((one.notice.reason, one) for one in due).values():
        if len({one.plant.key for one in group}) > _FLOOD_PLANTS:
            yield group
        else:
            yield from ([one] for one in group)


def _standing(site: Site, now_ms: int) -> list[StandingAlarm]:
    """Alarms that stand, set right where the clock was ahead when they were last moved."""
    known = site.journal.alarms(standing_only=True)
    if all(dated(one.alarm, now_ms) == one.alarm for one in known):
        return known
    with site.journal.moving:
        known = [
            StandingAlarm(dated(alarm, now_ms), finding)
            for alarm, finding in site.journal.alarms(standing_only=True)
        ]
        site.journal.save_alarms(known)
    return known


T = TypeVar("T")


def _grouped(pairs: Iterable[tuple[str, T]]) -> dict[str, list[T]]:
    """What belongs to each key, so that a thousand plants are not gone through for each."""
    found: dict[str, list[T]] = defaultdict(list)
    for key, one in pairs:
        found[key].append(one)
    return found


def _told(site: Site, now_ms: int) -> list[Told]:
    """What was told last, also what the journal could not keep; nothing in the future."""
    waiting = site.live.told_not_kept
    if waiting:
        with suppress(SQLAlchemyError):
            site.journal.add_told(waiting)
            waiting.clear()
    told = site.journal.last_told(now_ms - _REMEMBERED_MS, now_ms)
    return sorted([*told, *waiting], key=lambda one: one.time_ms)


def _note(site: Site, told: Sequence[Told], event: Event) -> None:
    """Note what was told; on a full disk in mind, or it would be told again at every turn."""
    try:
        site.journal.add_told(told)
        site.journal.add_events([event])
    except SQLAlchemyError:
        _log.exception("notice=sent, but the journal cannot note it; free some space")
        site.live.told_not_kept += told


def rules_for(settings: Settings, plant: Plant) -> NoticeRules:
    """Rules of a plant, in its own zone."""
    chosen = settings.notify
    return NoticeRules(
        timezone=plant.timezone,
        quiet_from=time.fromisoformat(chosen.quiet_from),
        quiet_to=time.fromisoformat(chosen.quiet_to),
        repeat_minutes=chosen.repeat_minutes,
        digest_at=time.fromisoformat(chosen.digest_at),
    )


def _tell(
    site: Site, messenger: Messenger, together: list[Due], findings: Findings, now_ms: int
) -> None:
    """Send one letter; without any address it still goes into the journal, once."""
    plant, notice = together[0]
    is_one = len(together) == 1
    letter = letter_for(plant, notice, findings) if is_one else letter_for_many(together, findings)
    if messenger.has_addresses and not messenger.send(letter, now_ms):
        _log.warning("notice=not delivered, will be tried again: %s", letter.title)
        return
    told = [Told(now_ms, a.key, one.notice.reason) for one in together for a in one.notice.alarms]
    of = plant.key if is_one else ""
    _note(site, told, Event(now_ms, of, "notice", notice.reason, letter.title))


_OPENING = {
    "first": "",
    "repeat": "Still: ",
    "returned": "Back to normal: ",
    "digest": "Today's list: ",
}


def letter_for(plant: Plant, notice: Notice, findings: Findings) -> Letter:
    """A notice in words a person in a hurry can use: with what was judged."""
    first = notice.alarms[0]
    more = len(notice.alarms) - 1
    title = (
        f"{plant.name}: {_OPENING.get(notice.reason, '')}{_title(first)} ({first.subject})"
        f"{f' and {more} more' if more else ''}"
    )
    body = "\n\n".join(_words(plant, alarm, findings.get(alarm.key)) for alarm in notice.alarms)
    document = {
        "plant": plant.name,
        "reason": notice.reason,
        "urgency": notice.urgency,
        "alarms": [
            {
                "subject": a.subject,
                "fault": a.fault,
                "state": a.state,
                "urgency": a.urgency,
                "since": format_rfc3339(a.since_ms),
                "finding": findings.get(a.key),
            }
            for a in notice.alarms
        ],
    }
    return Letter(title, body, notice.urgency, document)


def letter_for_many(together: Sequence[Due], findings: Findings) -> Letter:
    """Notices of many plants in one letter: a line each, the urgent first."""
    ranks = ("now", "soon", "note")
    ordered = sorted(together, key=lambda one: ranks.index(one.notice.urgency))
    letters = [letter_for(one.plant, one.notice, findings) for one in ordered]
    more = len(letters) - _LINES
    body = "\n".join(letter.title for letter in letters[:_LINES])
    return Letter(
        f"{len(letters)} plants, first {letters[0].title}",
        f"{body}\nand {more} more" if more > 0 else body,
        letters[0].urgency,
        {"plants": [letter.document for letter in letters]},
    )


_LINES = 100


def _title(alarm: Alarm) -> str:
    fault = FAULTS.get(alarm.fault)
    return fault.title if fault else alarm.fault


def _words(plant: Plant, alarm: Alarm, finding: dict[str, Any] | None) -> str:
    since = from_ms(alarm.raised_ms or alarm.since_ms).astimezone(ZoneInfo(plant.timezone))
    lines = [f"{_title(alarm)}: {alarm.subject}, since {since:%a %d %b %H:%M}."]
    if (fault := FAULTS.get(alarm.fault)) and alarm.state == "unacknowledged":
        judged = finding or {}
        signs = [evidence(sign) for sign in judged.get("evidence", ())]
        lines += [f"Seen: {'; '.join(signs)}."] if signs else []
        lines += [
            f"Check first: {judged.get('first_check') or fault.first_check}",
            f"May be: {', '.join(judged.get('possible') or fault.possible)}.",
            f"Who: {judged.get('who') or fault.who}",
            f"Caution: {fault.caution}",
        ]
    return "\n".join(lines)


# the collector's own silence and failures


class _Own(NamedTuple):
    """A kind of trouble of the collector itself: its key, and titles while it lasts and after."""

    key: str
    title: str
    title_after: str
    after: str
    why: Callable[[Site, int], str | None]
    may_be_over: Callable[[Site], bool] = lambda _site: True


def _tell_own_trouble(site: Site, messenger: Messenger, told: Sequence[Told], now_ms: int) -> None:
    """Tell each trouble of the collector itself once, and once that it is over."""
    for own in _OWN_TROUBLES:
        trouble = own.why(site, now_ms)
        mine = [t for t in told if t.key[:2] == ("", own.key)]
        is_told = bool(mine) and mine[-1].key[2] == "trouble"
        if (trouble is not None) == is_told or not (trouble or own.may_be_over(site)):
            continue
        title = own.title if trouble else own.title_after
        letter = Letter(title, trouble or own.after, "now", {own.key: title, "why": trouble})
        if messenger.has_addresses and not messenger.send(letter, now_ms):
            continue
        state = "trouble" if trouble else "fine"
        told_now = [Told(now_ms, ("", own.key, state), "own")]
        _note(site, told_now, Event(now_ms, "", own.key, "own", title))


def own_trouble(site: Site, now_ms: int) -> str | None:
    """Why the collector can watch nothing, once that has lasted; None while all is well."""
    live, limit_ms = site.live, site.settings.notify.silence_minutes * MINUTE_MS
    if not live.began_ms or now_ms - live.began_ms < limit_ms:
        return None
    if now_ms - (live.last_message_ms or live.began_ms) < limit_ms:
        return None
    minutes = round((now_ms - (live.last_message_ms or live.began_ms)) / MINUTE_MS)
    why = live.trouble or "the broker is there, but no message comes"
    return (
        f"No message for {minutes} minutes: {why}. Alarms cannot be raised while this lasts. "
        "Look at the broker, the network and the power of the box."
    )


def failing_jobs(site: Site, _now_ms: int) -> str | None:
    """Which of the jobs that watch, judge and tell fail, and for which plants; None if none."""
    failing = [
        f"{f'{plant}: ' if plant else ''}{words}."
        for (job, plant), words in sorted(site.live.failing.items())
        if job in _WATCHING
    ]
    if not failing:
        return None
    return (
        f"{' '.join(failing)} What they look after is not watched meanwhile. Look at the log of "
        "the program, and at the plant file if it names one plant; all other plants are watched."
    )


def unreached_addresses(site: Site, now_ms: int) -> str | None:
    """Which addresses have not been reached for a while, though others are; None if none."""
    limit_ms = site.settings.notify.silence_minutes * MINUTE_MS
    missed = [name for name, since in site.live.unreached.items() if now_ms - since >= limit_ms]
    if not missed:
        return None
    return (
        f"Notices do not reach {', '.join(missed)}; they are tried again for a day. Look at that "
        "line of addresses_file or the environment, and at the service behind it."
    )


def _hears(site: Site) -> bool:
    """Whether anything was heard since the start: else a restart would pass for good news."""
    return site.live.last_message_ms is not None


_WATCHING = frozenset({"watch", "slow", "tell"})
_OWN_TROUBLES = (
    _Own(
        _OWN,
        "Stokehold hears nothing",
        "Stokehold hears the plant again",
        "Messages arrive again; what was missed meanwhile stays unknown.",
        own_trouble,
        _hears,
    ),
    _Own(
        "jobs",
        "Stokehold cannot judge a plant",
        "Stokehold judges every plant again",
        "All jobs run again; what was missed meanwhile is judged from the store.",
        failing_jobs,
    ),
    _Own(
        "notices",
        "Stokehold cannot reach everybody",
        "Stokehold reaches everybody again",
        "What could not be sent meanwhile was sent now, or is a day old.",
        unreached_addresses,
    ),
)


def tell_of_absence(site: Site, now_ms: int) -> None:
    """After a start, tell for how long nobody watched; then keep a sign of life."""
    kept = site.journal.result("", "alive")
    limit_ms = site.settings.notify.silence_minutes * MINUTE_MS
    if kept and site.live.began_ms and kept[0] < site.live.began_ms - limit_ms:
        hours = (site.live.began_ms - kept[0]) / 3_600_000
        words = f"Stokehold was not running for {hours:.1f} h; nothing was watched meanwhile"
        document = {"collector": "was away", "hours": round(hours, 2)}
        messenger = _messenger(site.settings)
        letter = Letter(words, words, "soon", document)
        if messenger.has_addresses and not messenger.send(letter, now_ms):
            return
        site.journal.add_events([Event(now_ms, "", _OWN, "absence", words)])
    site.journal.save_result("", "alive", now_ms, None)


def send_test(site: Site, now_ms: int) -> bool:
    """Send a test notice to every address; True where all were reached."""
    words = "Test notice from Stokehold: alarms will reach you here."
    document = {"reason": "test", "time": format_rfc3339(now_ms)}
    reached = not Messenger(site.settings).try_all(
        Letter("Stokehold test", words, "note", document)
    )
    result = "sent" if reached else "could not be sent everywhere"
    site.journal.add_events([Event(now_ms, "", "notice", "test", f"test notice {result}")])
    return reached
