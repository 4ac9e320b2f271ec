"""Tells people: over the channels they chose, over MQTT, and of the collector's own silence."""

import logging
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import time
from functools import cache
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import apprise
import orjson

from analysis.alarms import Alarm
from analysis.faults import FAULTS
from analysis.notices import Notice, NoticeRules, Told, digest_due, notices_due
from analysis.plant import Plant
from analysis.timebase import DAY_MS, MINUTE_MS, format_rfc3339, from_ms
from analysis.wording import evidence
from collector.errors import BrokerError, FormError
from collector.journal import Event
from collector.replay import Message, Publisher
from collector.settings import NOTIFY_ADDRESSES, Settings
from collector.site import Site, each_plant

_log = logging.getLogger(__name__)
# The library logs the addresses it uses, and addresses hold secrets.
logging.getLogger("apprise").setLevel(logging.CRITICAL + 1)

_REMEMBERED_MS = 30 * DAY_MS
_OWN = "collector"
_UNKNOWN_FORM = (
    "is of no known form; see the README for forms, and mend it in addresses_file or the "
    "environment"
)


@dataclass(frozen=True, slots=True)
class Letter:
    """A notice in words."""

    title: str
    body: str
    urgency: str
    document: dict[str, Any]


class Messenger:
    """Sends letters to every address of an installation.

    Parameters
    ----------
    settings : Settings
        Where the addresses stand, and the MQTT topic.

    Raises
    ------
    FormError
        An address is of no known form; the message names its line, not its content.
    """

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._apprise = apprise.Apprise()
        lines = (settings.secret(NOTIFY_ADDRESSES, settings.notify.addresses_file) or "").split(
            "\n"
        )
        for number, line in enumerate(lines, start=1):
            address = line.strip()
            if address and not address.startswith("#") and not self._apprise.add(address):
                raise FormError([f"notification address number {number} {_UNKNOWN_FORM}"])

    @property
    def has_addresses(self) -> bool:
        """Whether anybody can be told at all."""
        return len(self._apprise) > 0 or self._settings.notify.mqtt_topic is not None

    def send(self, letter: Letter) -> bool:
        """Send to all addresses; False where some could not be reached."""
        reached = True
        if len(self._apprise):
            kind = "failure" if letter.urgency == "now" else "info"
            reached = bool(
                self._apprise.notify(title=letter.title, body=letter.body, notify_type=kind)
            )
        if topic := self._settings.notify.mqtt_topic:
            reached = self._publish(topic, letter) and reached
        return reached

    def _publish(self, topic: str, letter: Letter) -> bool:
        try:
            with closing(Publisher(self._settings)) as publisher:
                publisher.publish(Message(0, topic, orjson.dumps(letter.document)))
        except BrokerError as error:
            _log.warning("notice=not published: %s", error)
            return False
        return True


@cache
def _messenger(settings: Settings) -> Messenger:
    return Messenger(settings)


# the job


def tell(site: Site, now_ms: int) -> None:
    """Send what is due and note what was sent; what fails is tried again next time."""
    messenger = _messenger(site.settings)
    standing = site.journal.alarms()
    alarms = [a.alarm for a in standing]
    findings = {a.alarm.key: a.finding for a in standing if a.finding is not None}
    told = site.journal.told(now_ms - _REMEMBERED_MS)
    _tell_own_trouble(site, messenger, told, now_ms)

    def tell_of(plant: Plant) -> None:
        mine = [a for a in alarms if a.plant == plant.key]
        rules = rules_for(site.settings, plant)
        due = notices_due(mine, told, now_ms, rules=rules)
        digested = [t.time_ms for t in told if t.reason == "digest" and t.key[0] == plant.key]
        if digest := digest_due(mine, max(digested, default=None), now_ms, rules=rules):
            due.append(digest)
        for notice in due:
            letter = letter_for(plant, notice, findings)
            _tell(site, messenger, notice, letter, now_ms)

    each_plant(site.plants, tell_of)


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


def _tell(site: Site, messenger: Messenger, notice: Notice, letter: Letter, now_ms: int) -> None:
    """Send one notice; without any address it still goes into the journal, once."""
    if messenger.has_addresses and not messenger.send(letter):
        _log.warning("notice=not delivered, will be tried again: %s", letter.title)
        return
    site.journal.add_told(Told(now_ms, a.key, notice.reason) for a in notice.alarms)
    site.journal.add_events(
        [Event(now_ms, notice.alarms[0].plant, "notice", notice.reason, letter.title)]
    )


_OPENING = {
    "first": "",
    "repeat": "Still: ",
    "returned": "Back to normal: ",
    "digest": "Today's list: ",
}


Findings = Mapping[tuple[str, str, str], dict[str, Any]]
"""Documents of the findings that alarms stand for, by the alarm's key."""


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


def _tell_own_trouble(site: Site, messenger: Messenger, told: Sequence[Told], now_ms: int) -> None:
    """Tell each trouble of the collector itself once, and once that it is over."""
    for own in _OWN_TROUBLES:
        trouble = own.why(site, now_ms)
        mine = [t for t in told if t.key[:2] == ("", own.key)]
        is_told = bool(mine) and mine[-1].key[2] == "trouble"
        if (trouble is not None) == is_told:
            continue
        title = own.title if trouble else own.title_after
        letter = Letter(title, trouble or own.after, "now", {own.key: title, "why": trouble})
        if messenger.has_addresses and not messenger.send(letter):
            continue
        state = "trouble" if trouble else "fine"
        site.journal.add_told([Told(now_ms, ("", own.key, state), "own")])
        site.journal.add_events([Event(now_ms, "", own.key, "own", title)])


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


_WATCHING = frozenset({"watch", "slow", "tell"})
_OWN_TROUBLES = (
    _Own(
        _OWN,
        "Stokehold hears nothing",
        "Stokehold hears the plant again",
        "Messages arrive again; what was missed meanwhile stays unknown.",
        own_trouble,
    ),
    _Own(
        "jobs",
        "Stokehold cannot judge a plant",
        "Stokehold judges every plant again",
        "All jobs run again; what was missed meanwhile is judged from the store.",
        failing_jobs,
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
        if messenger.has_addresses and not messenger.send(Letter(words, words, "soon", document)):
            return
        site.journal.add_events([Event(now_ms, "", _OWN, "absence", words)])
    site.journal.save_result("", "alive", now_ms, None)


def send_test(site: Site, now_ms: int) -> bool:
    """Send a test notice to every address; True where all were reached."""
    words = "Test notice from Stokehold: alarms will reach you here."
    document = {"reason": "test", "time": format_rfc3339(now_ms)}
    reached = Messenger(site.settings).send(Letter("Stokehold test", words, "note", document))
    result = "sent" if reached else "could not be sent everywhere"
    site.journal.add_events([Event(now_ms, "", "notice", "test", f"test notice {result}")])
    return reached
