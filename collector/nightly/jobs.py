"""What runs on a schedule: the table of jobs, each a function of the site and the moment."""

import logging
from collections.abc import Callable, Collection
from typing import Any, NamedTuple

from analysis.alarms import states as alarms
from analysis.alarms.states import Alarm
from analysis.base.time import DAY_MS, HOUR_MS, Span, local_day, parse_rfc3339
from analysis.energy.measured import energy_use
from analysis.faults.fault import Fault
from analysis.faults.registry import FAULTS, examine, paced, subjects
from analysis.plant.finding import Finding, Health
from analysis.plant.plant import Plant
from analysis.readings.learned import PlantLearned
from analysis.readings.situation import Situation
from analysis.reports.pump import pump_sheets
from collector.errors import StoreUnavailableError
from collector.installation.site import Site, each_plant
from collector.journal.journal import Event, StandingAlarm
from collector.nightly.results import RESULTS, Night, Result
from collector.notify.notify import tell, tell_of_absence
from collector.store.protocol import StoreRecord, latest_by_channel

_log = logging.getLogger(__name__)

WATCH_MS = 4 * HOUR_MS
"""How far back the watch looks; it costs the same however long the history is."""


class Job(NamedTuple):
    """One job: `every_s` its interval; one that is `daily` runs once a local day at night.

    Jobs of one `lane` wait for one another, and for nobody else.
    """

    name: str
    run: Callable[[Site, int], None]
    every_s: float
    is_daily: bool = False
    lane: str = "jobs"


def watch(site: Site, now_ms: int) -> None:
    """Judge every plant's last hours and move the alarms that are judged by the minute."""
    faults = paced("minute")

    def judge(plant: Plant) -> None:
        span = Span(now_ms - WATCH_MS, now_ms)
        learned = site.journal.result(plant.key, "learned")
        situation = Situation(
            plant=plant,
            record=StoreRecord(site.store, plant, span, lead=False),
            span=span,
            learned=PlantLearned.from_document(learned[1]) if learned else PlantLearned(),
            last_ms={c: at for c, (at, _) in latest_by_channel(site.live.latest, plant).items()},
        )
        health = examine(situation, faults)
        with site.journal.moving:
            move_alarms(site, plant, health, now_ms, faults=faults)
        site.journal.save_result(plant.key, "watch", now_ms, health.document())

    each_plant(site.plants_as_recorded(), judge)


def move_alarms(
    site: Site,
    plant: Plant,
    health: Health,
    now_ms: int,
    *,
    faults: Collection[Fault] = tuple(FAULTS.values()),
) -> None:
    """Step a plant's alarms by what was found, and note each change.

    Parameters
    ----------
    site, plant : Site, Plant
        Where.
    health : Health
        What was found when `faults` were judged.
    now_ms : int
        The moment [ms].
    faults : collection of Fault
        Rows that were judged; of the others only what runs by time moves, such as
        the end of shelving.
    """
    known = {a.alarm.key: a for a in site.journal.alarms(plant.key)}
    unknown = {(c.subject, c.fault) for c in health.cannot_judge}
    lasting = {(f.subject, f.fault): f for f in health.findings if f.end_ms is None}
    changed, events = [], []
    for fault, subject in _watched(plant, lasting, known):
        key = (plant.key, subject, fault.name)
        old = known.get(key) or StandingAlarm(
            Alarm(plant=plant.key, subject=subject, fault=fault.name, urgency=fault.urgency), None
        )
        finding = lasting.get((subject, fault.name))
        unjudged = fault not in faults or (subject, fault.name) in unknown
        # What is told while it is still being learned stands; silence then is no good news.
        present = True if finding else None if unjudged else False
        was = alarms.dated(old.alarm, now_ms)
        seen = alarms.graded(was, finding.urgency, now_ms) if finding else was
        new = alarms.advance(seen, now_ms, present=present, timing=fault.timing)
        document = _document(finding, old)
        if new != old.alarm or document != old.finding:
            changed.append(StandingAlarm(new, document))
            if new.state != old.alarm.state:
                events.append(_event(new, fault, now_ms))
    if changed:
        site.journal.save_alarms(changed, events)


def _document(finding: Finding | None, old: StandingAlarm) -> dict[str, Any] | None:
    """What an alarm stands for: as it is seen now, from when it was first seen.

    The watch sees some hours only, so that what lasts longer seems to begin with them.
    """
    if finding is None:
        return old.finding
    document = finding.document()
    if old.finding is not None and old.alarm.is_present:
        begun = (document["from"], old.finding["from"])
        document["from"] = min(begun, key=parse_rfc3339)
    return document


def _watched(
    plant: Plant,
    lasting: dict[tuple[str, str], Finding],
    known: dict[tuple[str, str, str], StandingAlarm],
) -> list[tuple[Fault, str]]:
    """Fault and subject of every alarm that may change."""
    pairs = {(name, s) for name, fault in FAULTS.items() for s in subjects(plant, fault)}
    pairs |= {(fault, subject) for subject, fault in lasting}
    pairs |= {(fault, subject) for _, subject, fault in known}
    return [(FAULTS[name], subject) for name, subject in sorted(pairs) if name in FAULTS]


def _event(alarm: Alarm, fault: Fault, now_ms: int) -> Event:
    words = f"{fault.title}: {alarm.state.replace('_', ' ')}"
    return Event(now_ms, alarm.plant, alarm.subject, fault.name, words)


def keep_counts(site: Site, now_ms: int) -> None:
    """Move what screening counted into the journal."""
    counts = dict(site.live.counts)
    added = {k: n - site.live.journalled.get(k, 0) for k, n in counts.items()}
    site.journal.add_counts(now_ms // DAY_MS, {k: n for k, n in added.items() if n})
    site.live.journalled = counts


def sum_up_today(site: Site, now_ms: int) -> None:
    """Each pump's and boiler's electric energy of the local day so far."""

    def sum_up(plant: Plant) -> None:
        today = local_day(now_ms, plant.timezone)
        span = Span(today.start_ms, now_ms)
        record = StoreRecord(site.store, plant, span)
        document = {
            machine.id: energy_use(plant, machine, record, span).document("subject")
            for machine in plant.machines
        }
        site.journal.save_result(plant.key, "today", now_ms, document)

    each_plant(site.plants_as_recorded(), sum_up)


def tend_store(site: Site, now_ms: int) -> None:
    """The store's nightly work."""
    site.store.tend(now_ms)


def work_at_night(site: Site, now_ms: int) -> None:
    """What is learned, told and judged once a day, from the whole history of each plant."""

    def work(plant: Plant) -> None:
        night = Night.of(site, plant, now_ms)
        if night is not None:
            for result in RESULTS:
                _make(site, result, night)
            _judge_days(site, night)

    each_plant(site.plants_as_recorded(), work)


def _make(site: Site, result: Result, night: Night) -> None:
    """Keep one result; where it fails the night goes on with the others, and says so.

    Raises
    ------
    StoreUnavailableError
        The readings are not to be had just now; the others would want them too.
    """
    key = night.plant.key
    try:
        document = result.make(night)
    except StoreUnavailableError:
        raise
    except Exception as error:  # noqa: BLE001 - one result's failure must not cost the others
        _log.exception("result=%s failed", result.name)
        words = f"the nightly result '{result.name}' failed ({error}); the last one is kept"
        site.journal.add_events([Event(night.now_ms, key, result.name, "result_failed", words)])
    else:
        site.journal.save_result(key, result.name, night.now_ms, document)


def _judge_days(site: Site, night: Night) -> None:
    """Judge what shows over days and weeks, and move its alarms.

    The pumps' sheets rest on the same daily rows, so that they are made here.
    """
    faults, now_ms, key = paced("day"), night.now_ms, night.plant.key
    health = examine(night.situation, faults)
    with site.journal.moving:
        move_alarms(site, night.plant, health, now_ms, faults=faults)
    site.journal.save_result(key, "slow", now_ms, health.document())
    site.journal.save_result(key, "pumps", now_ms, pump_sheets(night.situation))


# With many plants, or years of history, nights take hours, and an address that does not answer
# takes its time: the watch waits for neither.
JOBS: tuple[Job, ...] = (
    Job("watch", watch, 30),
    Job("tell", tell, 15, lane="notices"),
    Job("alive", tell_of_absence, 60, lane="notices"),
    Job("counts", keep_counts, 60),
    Job("today", sum_up_today, 60),
    Job("store", tend_store, 600, is_daily=True, lane="nights"),
    Job("night", work_at_night, 600, is_daily=True, lane="nights"),
)
