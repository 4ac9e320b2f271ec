"""The schedule at work: lanes of its own for the night, no trust in the clock on the wall."""

import threading
import time
from contextlib import closing
from datetime import datetime, timedelta, tzinfo
from pathlib import Path

import pytest

from collecting import PLANT
from collector.files.settings import Settings
from collector.installation.site import Site
from collector.nightly.jobs import Job
from collector.nightly.schedule import Schedule
from servers import wait_for

DAY_MS = 86_400_000
NIGHT = 1_768_446_000_000  # 2026-01-15 03:00 UTC


def test_watch_goes_on_while_the_nightly_work_lasts(tmp_path: Path) -> None:
    """A thousand plants take hours of the night; a stall is told in them all the same."""
    night_ends = threading.Event()
    watched: list[int] = []

    def work_all_night(_site: Site, _now: int) -> None:
        night_ends.wait(30)

    jobs = (
        Job("results", work_all_night, 600, is_daily=True, lane="nights"),
        Job("watch", lambda _site, now: watched.append(now), 0.05),
    )
    with closing(Site.open([PLANT], Settings(folder=tmp_path))) as site:
        schedule = Schedule(site, jobs)
        schedule.start()
        try:
            wait_for(lambda: len(watched) > 2, what="the watch during the night's work")
        finally:
            night_ends.set()
            schedule.stop()


def test_journal_that_fails_does_not_end_the_schedule(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk fails the job and the note of it; once there is room both go on."""
    tried: list[int] = []

    def full(*_: object) -> None:
        raise OSError("disk full")

    def watch(_site: Site, now: int) -> None:
        tried.append(now)
        raise RuntimeError("no room")

    with closing(Site.open([PLANT], Settings(folder=tmp_path))) as site:
        monkeypatch.setattr(site.journal, "add_events", full)
        schedule = Schedule(site, (Job("watch", watch, 0.05),))
        schedule.start()
        try:
            wait_for(lambda: len(tried) > 2, what="the next tries")
        finally:
            schedule.stop()


@pytest.mark.parametrize("step", [timedelta(hours=-1), timedelta(hours=1)], ids=["back", "forth"])
def test_clock_that_is_set_leaves_nothing_unwatched(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: timedelta
) -> None:
    """The wall clock moves by an hour between two turns: the watch goes on as before."""
    watched: list[float] = []
    moved = timedelta()

    class WallClock(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> "WallClock":
            return cls.fromtimestamp(real_time() + moved.total_seconds(), tz)

    real_time = time.time
    monkeypatch.setattr("apscheduler.schedulers.base.datetime", WallClock)
    monkeypatch.setattr("apscheduler.triggers.interval.datetime", WallClock)
    monkeypatch.setattr(time, "time", lambda: real_time() + moved.total_seconds())
    job = Job("watch", lambda _site, _now: watched.append(time.monotonic()), 0.5)
    with closing(Site.open([PLANT], Settings(folder=tmp_path))) as site:
        schedule = Schedule(site, (job,))
        schedule.start()
        try:
            wait_for(lambda: len(watched) > 1, what="the first turns")
            moved = step
            seen = len(watched) + 1
            wait_for(lambda: len(watched) > seen, what="turns after the step")
        finally:
            schedule.stop()


def test_night_noted_under_a_clock_that_was_ahead_holds_nothing_up(tmp_path: Path) -> None:
    """Twelve years ahead for an hour: the next night's work is not put off for twelve years."""
    ran: list[int] = []
    job = Job("results", lambda _site, now: ran.append(now), 600, is_daily=True)
    with closing(Site.open([PLANT], Settings(folder=tmp_path))) as site:
        schedule = Schedule(site, [])
        for now in (NIGHT + 4383 * DAY_MS, NIGHT, NIGHT + 600_000, NIGHT + DAY_MS):
            schedule.turn(job, now)
    assert ran == [NIGHT + 4383 * DAY_MS, NIGHT, NIGHT + DAY_MS]


def test_what_failed_before_a_restart_is_not_over(tmp_path: Path) -> None:
    """A nightly judge that fails goes on failing until it has run, whoever restarts the box."""

    def broken(_site: Site, _now: int) -> None:
        raise RuntimeError("damaged page")

    def quiet(_site: Site, _now: int) -> None:
        return

    slow = Job("slow", broken, 600, is_daily=True)
    with closing(Site.open([PLANT], Settings(folder=tmp_path))) as site:
        Schedule(site, [slow]).turn(slow, NIGHT)
    with closing(Site.open([PLANT], Settings(folder=tmp_path))) as site:
        schedule = Schedule(site, [slow])
        assert site.live.failing == {("slow", ""): "job 'slow' failed: damaged page"}
        schedule.turn(slow._replace(run=quiet), NIGHT + DAY_MS)
        assert site.live.failing == {}
    with closing(Site.open([PLANT], Settings(folder=tmp_path))) as site:
        Schedule(site, [slow])
        assert site.live.failing == {}
