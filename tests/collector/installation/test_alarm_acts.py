"""What a person does with alarms: kept with an event, bounded, and never lost to the watch."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from analysis.alarms.states import Alarm
from analysis.base.time import DAY_MS, HOUR_MS
from analysis.faults.registry import FAULTS, subjects
from collector.files.settings import Settings
from collector.installation.alarm_acts import LONGEST_SHELF_H, Act, act_on, act_on_part
from collector.installation.site import Site
from collector.journal.journal import StandingAlarm
from houses import PLANT

KEY = (PLANT.key, "heating", "stall")
NOW = 1_800_000_000_000


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    made = Site.open([PLANT], Settings(folder=tmp_path))
    alarm = Alarm(
        plant=PLANT.key, subject="heating", fault="stall", urgency="now", state="unacknowledged",
        since_ms=NOW - HOUR_MS, is_present=True,
    )  # fmt: skip
    made.journal.save_alarms([StandingAlarm(alarm, {"fault": "stall"})])
    yield made
    made.close()


def test_acknowledged_once_by_whom(site: Site) -> None:
    """State, finding and event are kept together; the second time it no longer applies."""
    assert act_on(site, KEY, Act("acknowledge", who="Ann"), NOW) is True
    assert act_on(site, KEY, Act("acknowledge", who="Ben"), NOW + 1) is False
    (standing,) = site.journal.alarms()
    assert (standing.alarm.state, standing.finding) == ("acknowledged", {"fault": "stall"})
    words = "Pump does not run although it should: acknowledged by Ann"
    assert [e.words for e in site.journal.events()] == [words]


def test_shelving_needs_an_end_and_has_a_longest(site: Site) -> None:
    """Without hours nothing is shelved; for ever is a month."""
    assert act_on(site, KEY, Act("shelve"), NOW) is False
    assert act_on(site, KEY, Act("shelve", hours=1e9), NOW) is True
    (standing,) = site.journal.alarms()
    assert standing.alarm.shelved_until_ms == NOW + round(LONGEST_SHELF_H * HOUR_MS)


def test_unknown_alarm_changes_nothing(site: Site) -> None:
    """A key from an old page of another plant is refused."""
    assert act_on(site, ("elsewhere", "heating", "stall"), Act("acknowledge"), NOW) is False
    assert act_on(site, (PLANT.key, "heating", "air"), Act("acknowledge"), NOW) is False


def test_whole_part_out_of_service_and_back(site: Site) -> None:
    """Every fault the registry knows for a pump; what was present asks anew after."""
    of_pump = [f.name for f in FAULTS.values() if "heating" in subjects(PLANT, f)]
    assert act_on_part(site, PLANT, "heating", Act("take_out"), NOW) == len(of_pump)
    assert {a.alarm.state for a in site.journal.alarms()} == {"out_of_service"}
    act_on_part(site, PLANT, "heating", Act("put_back"), NOW + DAY_MS)
    states = {a.alarm.fault: a.alarm.state for a in site.journal.alarms()}
    assert states.pop("stall") == "unacknowledged"
    assert set(states.values()) <= {"normal"}
    assert len(site.journal.events()) == 2


def test_deed_waits_for_whoever_moves_alarms(site: Site) -> None:
    """While the watch holds the alarms a deed waits, and then acts on what the watch left."""
    done = threading.Event()

    def press() -> None:
        act_on(site, KEY, Act("acknowledge"), NOW)
        done.set()

    with site.journal.moving:
        presser = threading.Thread(target=press)
        presser.start()
        assert not done.wait(0.2)
        (standing,) = site.journal.alarms()
        site.journal.save_alarms([standing])
    presser.join(5)
    assert site.journal.alarms()[0].alarm.state == "acknowledged"
