"""Runs the jobs: every one on its interval, missed runs once, daily ones once a local day."""

import logging
import threading
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.interval import IntervalTrigger

from analysis.base.time import from_ms
from collector.errors import PlantsFailedError, StoreUnavailableError
from collector.installation.site import Site
from collector.journal.journal import Event
from collector.nightly.jobs import JOBS, Job
from collector.store.protocol import clock_ms

_log = logging.getLogger(__name__)
# A job that still runs when it is due again is left out, which is meant and no warning.
logging.getLogger("apscheduler").setLevel(logging.ERROR)

_NIGHT_H = 2
"""Daily jobs run from this local hour on, when the heating is at its quietest."""
_FIRST_S = 1.0
_LOOK_S = 1.0
_STEP_S = 2.0
"""A clock that is drawn to the right time by a time server moves by far less in a second."""
_FAILING = "failing"
"""Name under which the journal keeps what fails."""


class _ClockGuard(threading.Thread):
    """Sees the wall clock step, by which the scheduler counts, and calls for all waits anew.

    A clock set back an hour, as happens on a small box after a power cut, would otherwise leave
    everything unwatched for that hour.
    """

    def __init__(self, on_step: Callable[[], None]) -> None:
        super().__init__(name="clock guard", daemon=True)
        self._on_step = on_step
        self._ending = threading.Event()

    def run(self) -> None:
        """Compare the wall clock with the one that nobody can set, until told to end."""
        ahead_s = time.time() - time.monotonic()
        while not self._ending.wait(_LOOK_S):
            before_s, ahead_s = ahead_s, time.time() - time.monotonic()
            if abs(ahead_s - before_s) > _STEP_S:
                self._on_step()

    def end(self) -> None:
        """Look no more."""
        self._ending.set()
        self.join()


class Schedule:
    """The one schedule of an installation, one worker for each lane of jobs."""

    def __init__(self, site: Site, jobs: Sequence[Job] = JOBS) -> None:
        self._site = site
        self._resume({job.name for job in jobs})
        self._jobs = jobs
        self._scheduler = BackgroundScheduler(
            timezone=UTC,
            executors={job.lane: ThreadPoolExecutor(1) for job in jobs},
            job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None},
        )
        for job in jobs:
            soon = datetime.now(UTC) + timedelta(seconds=_FIRST_S)
            every = IntervalTrigger(seconds=job.every_s, start_date=soon, timezone=UTC)
            self._scheduler.add_job(self.turn, every, [job], id=job.name, executor=job.lane)
        self._guard = _ClockGuard(self._wait_anew)

    def start(self) -> None:
        """Begin; jobs run in threads of their own."""
        self._scheduler.start()
        self._guard.start()

    def stop(self) -> None:
        """End after the jobs that run."""
        self._guard.end()
        self._scheduler.shutdown()

    def _wait_anew(self) -> None:
        """Let every job wait its interval from the moment the clock now shows."""
        for job in self._jobs:
            every = IntervalTrigger(seconds=job.every_s, timezone=UTC)
            self._scheduler.reschedule_job(job.name, trigger=every)

    def _resume(self, jobs: set[str]) -> None:
        """What failed before a restart fails until it has run again, so that nothing is over."""
        kept = self._site.journal.result("", _FAILING)
        for job, plant, words in kept[1] if kept else ():
            if job in jobs and (not plant or self._site.plant(plant)):
                self._site.live.failing[job, plant] = words

    def turn(self, job: Job, now_ms: int | None = None) -> None:
        """Run a job once if it is due; a failure is told once and does not stop the rest."""
        now = clock_ms() if now_ms is None else now_ms
        if job.is_daily and not self._is_due_today(job, now):
            return
        failed: dict[str, Exception] = {}
        try:
            job.run(self._site, now)
        except PlantsFailedError as error:
            failed = error.by_plant
        except Exception as error:  # noqa: BLE001 - a job's failure must not end the schedule
            failed = {"": error}
        self._note(job, failed, now)
        # What fails by itself would fail again: the next night tries it. A store that was away
        # has cost the night its readings: it is tried again as soon as the store is back.
        was_away = any(isinstance(e, StoreUnavailableError) for e in failed.values())
        if job.is_daily and "" not in failed and not was_away:
            self._site.journal.save_result("", f"ran {job.name}", now, None)

    def _is_due_today(self, job: Job, now_ms: int) -> bool:
        zone = ZoneInfo(self._site.plants[0].timezone)
        here = from_ms(now_ms).astimezone(zone)
        ran = self._site.journal.result("", f"ran {job.name}")
        if ran is None:
            return True
        # Not "earlier": a run noted under a clock that was ahead would put off the next for years.
        is_other_day = from_ms(ran[0]).astimezone(zone).date() != here.date()
        return is_other_day and here.hour >= _NIGHT_H

    def _note(self, job: Job, failed: dict[str, Exception], now_ms: int) -> None:
        """Keep what fails now in mind; what failed already is not told again."""
        failing = self._site.live.failing
        before = dict(failing)
        for name, plant in list(failing):
            if name == job.name and plant not in failed:
                del failing[name, plant]
        for plant, error in failed.items():
            if (job.name, plant) in failing:
                continue
            words = f"job '{job.name}' failed: {error or type(error).__name__}"
            failing[job.name, plant] = words
            _log.error("plant=%s %s", plant, words, exc_info=error)
            self._site.journal.add_events([Event(now_ms, plant, job.name, "job_failed", words)])
        if failing != before:
            document = [[*key, words] for key, words in failing.items()]
            self._site.journal.save_result("", _FAILING, now_ms, document)
