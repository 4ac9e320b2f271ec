"""Runs the jobs: every one on its interval, missed runs once, daily ones once a local day."""

import logging
import threading
from collections.abc import Sequence
from datetime import timedelta
from zoneinfo import ZoneInfo

from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers.background import BackgroundScheduler

from analysis.timebase import from_ms
from collector.errors import PlantsFailedError, StoreUnavailableError
from collector.jobs import JOBS, Job
from collector.journal import Event
from collector.site import Site
from collector.store import clock_ms

_log = logging.getLogger(__name__)

_NIGHT_H = 2
"""Daily jobs run from this local hour on, when the heating is at its quietest."""


class Schedule:
    """The one scheduler of an installation."""

    def __init__(self, site: Site, jobs: Sequence[Job] = JOBS) -> None:
        self._site = site
        # Jobs share plants and store; one at a time keeps the load of a small box even.
        self._scheduler = BackgroundScheduler(
            timezone="UTC",
            executors={"default": ThreadPoolExecutor(1)},
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
        )
        self._first_done = threading.Event()
        for job in jobs:
            self._scheduler.add_job(
                self.turn,
                "interval",
                (job,),
                seconds=job.every_s,
                id=job.name,
                next_run_time=from_ms(clock_ms()) + timedelta(seconds=1),
            )

    def start(self) -> None:
        """Begin; jobs run in a thread of their own."""
        self._scheduler.start()

    def stop(self) -> None:
        """End after the job that runs."""
        self._scheduler.shutdown(wait=True)

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
        is_new_day = from_ms(ran[0]).astimezone(zone).date() < here.date()
        return is_new_day and here.hour >= _NIGHT_H

    def _note(self, job: Job, failed: dict[str, Exception], now_ms: int) -> None:
        """Keep what fails now in mind; what failed already is not told again."""
        failing = self._site.live.failing
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
