"""Jobs over a real store and journal: alarms move, results are kept, missed runs run once."""

from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.alarms.states import Timing
from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, from_ms, parse_rfc3339, to_ms
from analysis.faults.registry import FAULTS
from analysis.plant.exchanges import PumpCard, SwapRecord
from analysis.plant.finding import Evidence, Finding, Health
from analysis.plant.plant import Channel, Plant, Pump, Swap
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation, Verdict
from collector.errors import StoreUnavailableError
from collector.files.settings import Settings
from collector.installation.site import Site
from collector.journal.exchanges import swap_book
from collector.nightly.jobs import (
    JOBS,
    Job,
    keep_counts,
    move_alarms,
    sum_up_today,
    watch,
    work_at_night,
)
from collector.nightly.results import RESULTS, Night, Result
from collector.nightly.schedule import Schedule
from collector.store.protocol import clock_ms

PLANT = Plant(
    name="Quay", timezone="Europe/Dublin",
    pumps=(Pump(id="heating", drive="induction", always_on=True),),
    channels=(
        Channel(id="heating.power", of="heating", quantity="power", unit="W", interval_s=60),
    ),
)  # fmt: skip
NOW = clock_ms() // DAY_MS * DAY_MS + 12 * HOUR_MS


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    made = Site.open([PLANT], Settings(folder=tmp_path))
    yield made
    made.close()


def lay_in(site: Site, start_ms: int, end_ms: int, watts: float) -> None:
    time_ms = np.arange(start_ms, end_ms, MINUTE_MS)
    site.store.load("quay/heating.power", Readings.of(time_ms, np.full(len(time_ms), watts)))


def state(site: Site) -> str:
    standing = [a.alarm for a in site.journal.alarms("quay") if a.alarm.fault == "stall"]
    return standing[0].state if standing else "normal"


def test_watch_raises_and_clears_with_delays(site: Site) -> None:
    """A pump that stops is told after the delay, once, and returns when it runs again."""
    lay_in(site, NOW - 5 * DAY_MS, NOW, 55.0)
    work_at_night(site, NOW)
    watch(site, NOW)
    assert state(site) == "normal"
    lay_in(site, NOW, NOW + 20 * MINUTE_MS, 0.0)
    watch(site, NOW + 8 * MINUTE_MS)
    assert state(site) == "normal"
    watch(site, NOW + 12 * MINUTE_MS)
    assert state(site) == "unacknowledged"
    watch(site, NOW + 22 * MINUTE_MS)
    assert [e.what for e in site.journal.events("quay")] == ["stall"]
    lay_in(site, NOW + 20 * MINUTE_MS, NOW + 60 * MINUTE_MS, 55.0)
    watch(site, NOW + 40 * MINUTE_MS)
    assert state(site) == "unacknowledged"
    watch(site, NOW + 46 * MINUTE_MS)
    assert state(site) == "returned"


def test_standing_alarm_shows_what_is_seen_now_since_it_was_first_seen(site: Site) -> None:
    """Water at 97 degrees that rises to 112: the card must not go on saying 97, nor forget when."""

    def hot(value: float, start_ms: int) -> Health:
        sign = Evidence("boiler.flow", "highest", value, "at most 95", "Cel")
        found = Finding(
            subject="heating", fault="overheating", start_ms=start_ms, end_ms=None,
            urgency="now", confidence=0.9, evidence=(sign,),
        )  # fmt: skip
        return Health((found,), (), ())

    for now, value, start in ((NOW, 97.0, NOW), (NOW + 5 * HOUR_MS, 112.0, NOW + HOUR_MS)):
        move_alarms(site, PLANT, hot(value, start), now)
    (kept,) = [a for a in site.journal.alarms("quay") if a.alarm.is_standing]
    assert kept.finding is not None
    assert kept.finding["evidence"][0]["value"] == 112.0
    assert parse_rfc3339(kept.finding["from"]) == NOW
    assert [e.what for e in site.journal.events("quay")] == ["overheating"]


def test_silent_plug_leaves_the_alarm_as_it_is(site: Site) -> None:
    """No readings are no good news: the alarm stays."""
    lay_in(site, NOW - DAY_MS, NOW, 55.0)
    work_at_night(site, NOW)
    lay_in(site, NOW, NOW + 20 * MINUTE_MS, 0.0)
    watch(site, NOW + 20 * MINUTE_MS)
    watch(site, NOW + 22 * MINUTE_MS)
    assert state(site) == "unacknowledged"
    watch(site, NOW + 6 * HOUR_MS)
    watch(site, NOW + 7 * HOUR_MS)
    assert state(site) == "unacknowledged"


def test_today_and_nightly_results(site: Site) -> None:
    """Today's energy runs from local midnight; the yearly figure comes from all there is."""
    lay_in(site, NOW - 10 * DAY_MS, NOW, 50.0)
    sum_up_today(site, NOW)
    work_at_night(site, NOW)
    today = site.journal.result("quay", "today")
    assert today is not None
    assert today[1]["heating"]["measured_kwh"] == pytest.approx(0.05 * 12, abs=0.06)
    costs = site.journal.result("quay", "costs")
    assert costs is not None
    assert costs[1]["pumps"][0]["measured_kwh"] == pytest.approx(12.0, rel=0.001)
    assert site.journal.result("quay", "normal_w") == (NOW, {"heating": 50.0})
    above = site.journal.result("quay", "runs_above_w")
    assert above is not None
    assert 0.0 < above[1]["heating"] < 50.0


def test_usual_power_is_that_of_the_pump_in_place(tmp_path: Path) -> None:
    """A week after 80 W gave way to 8 W, 8 W is a running pump's power."""
    swap = Swap(pump="heating", time=from_ms(NOW - 7 * DAY_MS))
    with closing(Site.open([replace(PLANT, swaps=(swap,))], Settings(folder=tmp_path))) as swapped:
        lay_in(swapped, NOW - 20 * DAY_MS, NOW - 7 * DAY_MS, 80.0)
        lay_in(swapped, NOW - 7 * DAY_MS, NOW, 8.0)
        work_at_night(swapped, NOW)
        assert swapped.journal.result("quay", "normal_w") == (NOW, {"heating": 8.0})


def test_nightly_rows_and_epochs_for_the_page(site: Site) -> None:
    """Each night a page finds the pump's days, its epoch, and what could not be judged."""
    lay_in(site, NOW - 10 * DAY_MS, NOW, 50.0)
    work_at_night(site, NOW)
    pumps, slow = site.journal.result("quay", "pumps"), site.journal.result("quay", "slow")
    assert pumps is not None
    assert slow is not None
    assert pumps[1][0]["days"]["run_h"][3] == pytest.approx(24.0)
    (epoch,) = pumps[1][0]["epochs"]
    assert epoch["baseline_w"] == 50.0
    assert not epoch["is_learning"]
    assert {c["fault"] for c in slow[1]["cannot_judge"]} >= {"sludge", "reversed_flow"}


def test_watch_leaves_nightly_rows_alone(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """A fault judged each night is raised and cleared by the night, not by the minute."""
    lay_in(site, NOW - DAY_MS, NOW, 55.0)
    ill = [True]

    def judge(situation: Situation) -> Verdict:
        sign = Finding(
            subject=situation.subject, fault="slow_one", start_ms=NOW - DAY_MS, end_ms=None,
            urgency="soon", confidence=0.9, evidence=(),
        )  # fmt: skip
        return Verdict((sign,) if ill[0] else ())

    row = replace(FAULTS["stall"], name="slow_one", judge=judge, timing=Timing(), pace="day")
    monkeypatch.setitem(FAULTS, "slow_one", row)

    def standing() -> str:
        found = [a.alarm.state for a in site.journal.alarms("quay") if a.alarm.fault == "slow_one"]
        return found[0] if found else "normal"

    watch(site, NOW)
    assert standing() == "normal"
    work_at_night(site, NOW)
    assert standing() == "unacknowledged"
    watch(site, NOW + MINUTE_MS)
    assert standing() == "unacknowledged"
    ill[0] = False
    work_at_night(site, NOW + DAY_MS)
    assert standing() == "returned"


def test_every_judge_sees_a_swap_recorded_since_the_plant_file(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A swap written down by command is known by the minute and by the night."""
    lay_in(site, NOW - DAY_MS, NOW, 55.0)
    seen: dict[str, list[int]] = {}

    def judge(situation: Situation) -> Verdict:
        seen[situation.subject] = [to_ms(swap.time) for swap in situation.plant.swaps]
        return Verdict()

    for name, fault in FAULTS.items():
        monkeypatch.setitem(FAULTS, name, replace(fault, judge=judge))
    card = PumpCard(drive="electronic")
    record = SwapRecord(
        plant="quay", pump="heating", started_ms=NOW, who="fitter", old=card, new=card, steps={},
        time_ms=NOW - HOUR_MS,
    )  # fmt: skip
    swap_book(site.settings, site.journal).start(record)
    for job in (watch, work_at_night):
        seen.clear()
        job(site, NOW)
        assert seen["heating"] == [NOW - HOUR_MS]


def test_counts_are_journalled_once(site: Site) -> None:
    """Each run adds only what came since the last."""
    site.live.counts["quay/heating.power", "duplicate"] = 3
    keep_counts(site, NOW)
    keep_counts(site, NOW)
    site.live.counts["quay/heating.power", "duplicate"] += 2
    keep_counts(site, NOW)
    assert site.journal.counts(0) == {("quay/heating.power", "duplicate"): 5}


def test_daily_job_runs_once_a_local_day_and_catches_up_once(site: Site) -> None:
    """Missed nights are made up by one run, at once; then the next night."""
    ran: list[int] = []
    job = Job("nightly", lambda _site, now: ran.append(now), 600, is_daily=True)
    schedule = Schedule(site, [])
    night = NOW // DAY_MS * DAY_MS + 3 * HOUR_MS
    for hours in (0, 1, 5, 20, 24, 25, 24 * 8 + 5):
        schedule.turn(job, night + hours * HOUR_MS)
    assert [round((t - night) / HOUR_MS) for t in ran] == [0, 24, 24 * 8 + 5]


def test_night_without_its_store_is_tried_again(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A store away at two o'clock costs no day's figures: they are made once it is back."""
    lay_in(site, NOW - 2 * DAY_MS, NOW, 50.0)
    schedule, job = Schedule(site, []), Job("night", work_at_night, 600, is_daily=True)
    night = (NOW // DAY_MS + 1) * DAY_MS + 3 * HOUR_MS

    def away(*_asked: object, **_named: object) -> None:
        raise StoreUnavailableError("the server is away")

    with monkeypatch.context() as patched:
        patched.setattr(site.store, "read", away)
        schedule.turn(job, night)
    assert site.journal.result("quay", "costs") is None
    schedule.turn(job, night + 10 * MINUTE_MS)
    assert site.journal.result("quay", "costs") is not None
    told = [e.words for e in site.journal.events("quay")]
    assert told == ["job 'night' failed: the server is away"]


def test_failing_job_is_told_once_and_stops_nothing(site: Site) -> None:
    """An error of one job goes to the journal; the same again is not repeated."""

    def broken(_site: Site, _now: int) -> None:
        raise RuntimeError("no such luck")

    schedule = Schedule(site, [])
    for i in range(3):
        schedule.turn(Job("broken", broken, 30), NOW + i)
    events = [e for e in site.journal.events() if e.what == "job_failed"]
    assert [e.words for e in events] == ["job 'broken' failed: no such luck"]


@pytest.mark.parametrize("job", [watch, work_at_night, sum_up_today])
def test_plant_that_fails_stops_none_behind_it(
    job: Callable[[Site, int], None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second plant is worked on although the first one's readings cannot be read."""
    plants = [PLANT, replace(PLANT, name="Mill")]
    seen: list[str] = []

    def record(_store: object, plant: Plant, *_rest: object, **_named: object) -> None:
        seen.append(plant.key)
        raise RuntimeError(f"damaged page of {plant.key}")

    with closing(Site.open(plants, Settings(folder=tmp_path))) as two:
        for plant in plants:
            two.store.load(f"{plant.key}/heating.power", Readings.of([NOW - 1], [50.0]))
        for module in ("jobs", "results"):
            monkeypatch.setattr(f"collector.nightly.{module}.StoreRecord", record)
        schedule = Schedule(two, [])
        for turn in range(3):
            schedule.turn(Job("watch", job, 30), NOW + turn)
        assert seen[:2] == ["quay", "mill"]
        told = [(e.plant, e.words) for e in two.journal.events() if e.what == "job_failed"]
        assert sorted(told) == [
            ("mill", "job 'watch' failed: damaged page of mill"),
            ("quay", "job 'watch' failed: damaged page of quay"),
        ]
        schedule.turn(Job("watch", lambda _site, _now: None, 30), NOW + 9)
        assert two.live.failing == {}


def test_every_job_runs_on_an_empty_site(site: Site) -> None:
    """A fresh installation without a single reading breaks no job."""
    for job in JOBS:
        job.run(site, NOW)
    assert site.journal.events() == []


def test_result_that_fails_leaves_the_others_alone(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What can be worked out is kept, what cannot is told and its last document stays."""

    def broken(_night: Night) -> None:
        raise ValueError("no figures")

    rows = (Result("costs", broken), *(r for r in RESULTS if r.name == "cycles"))
    monkeypatch.setattr("collector.nightly.jobs.RESULTS", rows)
    lay_in(site, NOW - 2 * DAY_MS, NOW, 50.0)
    site.journal.save_result("quay", "costs", NOW - DAY_MS, {"kept": True})
    work_at_night(site, NOW)
    assert site.journal.result("quay", "costs") == (NOW - DAY_MS, {"kept": True})
    assert site.journal.result("quay", "cycles") is not None
    (event,) = site.journal.events("quay")
    assert event.words.startswith("the nightly result 'costs' failed (no figures)")


def test_reading_of_the_future_stretches_no_history(site: Site) -> None:
    """A clock that was once twelve years ahead: the year is told of what was measured till now."""
    lay_in(site, NOW - 10 * DAY_MS, NOW, 50.0)
    site.store.write([("quay/heating.power", NOW + 4383 * DAY_MS, 50.0)])
    work_at_night(site, NOW)
    costs = site.journal.result("quay", "costs")
    assert costs is not None
    assert costs[1]["pumps"][0]["span_hours"] == pytest.approx(240, abs=1)
