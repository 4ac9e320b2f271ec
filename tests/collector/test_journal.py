"""The journal keeps what is told and done, across restarts."""

from pathlib import Path

import pytest

from analysis.alarms import Alarm
from collector.errors import StoreUnavailableError
from collector.journal import Entry, Event, Journal, StandingAlarm

STALL = Alarm(
    plant="quay", subject="heating", fault="stall", urgency="now", state="shelved", since_ms=5,
    is_present=True, raised_ms=4, shelved_until_ms=9,
)  # fmt: skip


def test_alarms_survive_a_restart(tmp_path: Path) -> None:
    """State, shelving and finding come back as they were; saving again replaces."""
    path = tmp_path / "j.sqlite"
    journal = Journal(path)
    journal.save_alarms([StandingAlarm(STALL, {"fault": "stall"})])
    journal.save_alarms([StandingAlarm(STALL, None)], [Event(6, "quay", "heating", "stall", "x")])
    journal.close()
    again = Journal(path)
    assert again.alarms("quay") == [StandingAlarm(STALL, None)]
    assert again.alarms("mill") == []
    assert again.events() == [Event(6, "quay", "heating", "stall", "x")]


def test_logbook_is_newest_first(tmp_path: Path) -> None:
    """Entries are kept by plant with their own time."""
    journal = Journal(tmp_path / "j.sqlite")
    entry = Entry(0, "quay", 10, "heating", "work", "vented", "owner")
    first = journal.add_entry(entry)
    second = journal.add_entry(entry._replace(time_ms=20))
    journal.add_entry(entry._replace(plant="mill"))
    assert [(e.id, e.time_ms) for e in journal.logbook("quay")] == [(second, 20), (first, 10)]


def test_results_and_counts(tmp_path: Path) -> None:
    """The newest result replaces the older; counts of a day add up."""
    journal = Journal(tmp_path / "j.sqlite")
    journal.save_result("quay", "energy", 1, {"a": 1})
    journal.save_result("quay", "energy", 2, {"a": 2})
    assert journal.result("quay", "energy") == (2, {"a": 2})
    assert journal.result("quay", "never") is None
    journal.add_counts(100, {("quay/p", "duplicate"): 3})
    journal.add_counts(100, {("quay/p", "duplicate"): 4})
    journal.add_counts(90, {("quay/p", "duplicate"): 5})
    assert journal.counts(since_day=100) == {("quay/p", "duplicate"): 7}
    assert journal.counts(since_day=0) == {("quay/p", "duplicate"): 12}


def test_journal_that_cannot_be_opened_is_told(tmp_path: Path) -> None:
    """The path and what to check."""
    with pytest.raises(StoreUnavailableError, match=r"absent.*check path"):
        Journal(tmp_path / "absent" / "j.sqlite")
