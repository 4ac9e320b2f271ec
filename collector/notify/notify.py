"""What people are told and when: of alarms, and of the collector's own silence and failures."""

import logging
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from datetime import time
from typing import TypeVar

from sqlalchemy.exc import SQLAlchemyError

from analysis.alarms.notices import (
    Notice,
    NoticeRules,
    Told,
    digest_due,
    notices_due,
    put_away_due,
)
from analysis.alarms.states import Alarm, dated
from analysis.base.time import DAY_MS, MINUTE_MS, format_rfc3339
from analysis.faults.registry import FAULTS
from analysis.plant.plant import Plant
from collector.files.settings import Settings
from collector.installation.site import Site, each_plant
from collector.journal.journal import Event, StandingAlarm
from collector.letters.delivery import OWED, Letter, Messenger
from collector.letters.message_texts import Due, Findings, letter_for, letter_for_many
from collector.notify.self_monitoring import COLLECTOR, OWN_TROUBLES

_log = logging.getLogger(__name__)

_REMEMBERED_MS = 30 * DAY_MS


def _keep_owed(site: Site, messenger: Messenger, now_ms: int) -> None:
    """Keep what is owed over a restart; on a full disk it is kept in mind."""
    site.live.unreached = messenger.unreached()
    document = messenger.document()
    if document != site.live.owed:
        with suppress(SQLAlchemyError):
            site.journal.save_result("", OWED, now_ms, document)
            site.live.owed = document


# the job


def tell(site: Site, now_ms: int) -> None:
    """Send what is due and note what was sent; what fails is tried again next time."""
    messenger = site.messenger
    messenger.refresh()
    messenger.catch_up(now_ms)
    _keep_owed(site, messenger, now_ms)
    known = _standing(site, now_ms)
    findings = {one.alarm.key: one.finding for one in known if one.finding is not None}
    alarms = _grouped((one.alarm.plant, one.alarm) for one in known)
    told = _grouped((t.key[0], t) for t in _told(site, now_ms))
    _tell_own_trouble(site, messenger, told[""], now_ms)

    due: list[Due] = []

    def look(plant: Plant) -> None:
        rules = rules_for(site.settings, plant)
        due.extend(Due(plant, n) for n in _due(alarms[plant.key], told[plant.key], now_ms, rules))

    def tell_one(plant: Plant) -> None:
        for together in letters[plant.key]:
            _tell(site, messenger, together, findings, now_ms)

    try:
        each_plant([plant for plant in site.plants if alarms[plant.key]], look)
    finally:
        letters = _grouped((one[0].plant.key, one) for one in _together(due))
        try:
            each_plant([plant for plant in site.plants if letters[plant.key]], tell_one)
        finally:
            _keep_owed(site, messenger, now_ms)


def _due(
    alarms: Sequence[Alarm], told: Sequence[Told], now_ms: int, rules: NoticeRules
) -> list[Notice]:
    """What to tell of one plant now, what comes once a day with it."""
    due = notices_due(alarms, told, now_ms, rules=rules)
    last = {t.reason: t.time_ms for t in told}
    daily = (
        digest_due(alarms, last.get("digest"), now_ms, rules=rules),
        put_away_due(alarms, last.get("put_away"), now_ms, rules=rules),
    )
    return [*due, *(notice for notice in daily if notice)]


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
        explaining=frozenset(f.name for f in FAULTS.values() if f.explains_alarms),
        silence=frozenset(f.name for f in FAULTS.values() if f.is_silence),
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
    words = f"{_TO_WHOM[messenger.has_addresses]}: {letter.title}"
    _note(site, told, Event(now_ms, of, "notice", notice.reason, words))


_TO_WHOM = {True: "told", False: "no address is set, so nobody is told"}


# the collector's own silence and failures


def _tell_own_trouble(site: Site, messenger: Messenger, told: Sequence[Told], now_ms: int) -> None:
    """Tell each trouble of the collector itself once, and once that it is over."""
    for own in OWN_TROUBLES:
        trouble = own.why(site, now_ms)
        mine = [t for t in told if t.key[:2] == ("", own.key)]
        state = trouble.state if trouble else "fine"
        if state == (mine[-1].key[2] if mine else "fine") or not (trouble or own.may_be_over(site)):
            continue
        title = own.title if trouble else own.title_after
        why = trouble.words if trouble else None
        letter = Letter(title, why or own.after, "now", {own.key: title, "why": why})
        if messenger.has_addresses and not messenger.send(letter, now_ms):
            continue
        told_now = [Told(now_ms, ("", own.key, state), "own")]
        _note(site, told_now, Event(now_ms, "", own.key, "own", title))


def tell_of_absence(site: Site, now_ms: int) -> None:
    """After a start, tell for how long nobody watched; then keep a sign of life."""
    kept = site.journal.result("", "alive")
    limit_ms = site.settings.notify.silence_minutes * MINUTE_MS
    if kept and site.live.began_ms and kept[0] < site.live.began_ms - limit_ms:
        hours = (site.live.began_ms - kept[0]) / 3_600_000
        words = f"Stokehold was not running for {hours:.1f} h; nothing was watched meanwhile"
        document = {"collector": "was away", "hours": round(hours, 2)}
        messenger = site.messenger
        messenger.refresh()
        letter = Letter(words, words, "soon", document)
        if messenger.has_addresses and not messenger.send(letter, now_ms):
            return
        site.journal.add_events([Event(now_ms, "", COLLECTOR, "absence", words)])
    site.journal.save_result("", "alive", now_ms, None)


def has_address(site: Site) -> bool:
    """Whether alarms are told to anybody at all."""
    return site.messenger.has_addresses


def send_test(site: Site, now_ms: int) -> list[str]:
    """Send a test notice to every address; the names of those that could not be reached."""
    words = "Test notice from Stokehold: alarms will reach you here."
    document = {"reason": "test", "time": format_rfc3339(now_ms)}
    missed = Messenger(site.settings).try_all(
        Letter("Stokehold test", words, "note", document), now_ms
    )
    result = f"could not be sent to {', '.join(missed)}" if missed else "sent"
    site.journal.add_events([Event(now_ms, "", "notice", "test", f"test notice {result}")])
    return missed
