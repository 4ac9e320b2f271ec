"""What only the embedded store promises."""

import sqlite3
from pathlib import Path

import numpy as np
import pytest

from analysis.base.time import DAY_MS
from analysis.readings.readings import Readings
from collector.errors import StoreUnavailableError
from collector.store.protocol import ALL_TIME, clock_ms
from collector.store.sqlite import SqliteStore

A = "quay/heating.power"
TODAY = clock_ms() // DAY_MS
DAY0 = (TODAY - 10) * DAY_MS


@pytest.fixture
def store(tmp_path: Path) -> SqliteStore:
    return SqliteStore(tmp_path / "s.sqlite")


def test_write_corrected_value_replaces(store: SqliteStore) -> None:
    """Another value for the same moment wins, hot or sealed."""
    store.write([(A, DAY0, 1.0)])
    store.write([(A, DAY0, 2.0)])
    store.tend(clock_ms())
    store.write([(A, DAY0, 3.5)])
    assert store.read(A, ALL_TIME).value.tolist() == [3.5]
    store.tend(clock_ms())
    assert store.read(A, ALL_TIME).value.tolist() == [3.5]


def test_locked_file_readings_wait_in_spool(tmp_path: Path) -> None:
    """While another program locks the file, batches wait on disk and come in later, in order."""
    store = SqliteStore(tmp_path / "s.sqlite")
    store.write([(A, DAY0, 1.0)])
    other = sqlite3.connect(tmp_path / "s.sqlite", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    store.write([(A, DAY0 + 1, 2.0)])
    store.write([(A, DAY0 + 1, 2.5)])
    assert store.read(A, ALL_TIME).value.tolist() == [1.0]
    store.close()
    other.execute("ROLLBACK")
    again = SqliteStore(tmp_path / "s.sqlite")
    again.write([(A, DAY0 + 2, 3.0)])
    assert again.read(A, ALL_TIME).value.tolist() == [1.0, 2.5, 3.0]


def test_full_disk_keeps_nothing_of_the_batch_and_says_so(store: SqliteStore) -> None:
    """With no room in file and spool the batch is refused whole, and taken later."""
    store.write([(A, DAY0, 1.0)])
    for connection in (store._writer, store._spool._connection):
        (pages,) = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count = {pages}")
    batch = [(A, DAY0 + i, float(i)) for i in range(1, 50_000)]
    with pytest.raises(StoreUnavailableError, match="disk is full; free some space"):
        store.write(batch)
    assert len(store.read(A, ALL_TIME)) == 1
    for connection in (store._writer, store._spool._connection):
        connection.execute("PRAGMA max_page_count = 1000000")
    store.write(batch)
    assert len(store.read(A, ALL_TIME)) == 50_000


def test_channel_added_by_another_process_is_seen(tmp_path: Path) -> None:
    """An import beside a running program shows at once."""
    running, importing = SqliteStore(tmp_path / "s.sqlite"), SqliteStore(tmp_path / "s.sqlite")
    assert not len(running.read(A, ALL_TIME))
    importing.load(A, Readings.of([DAY0], [1.0]))
    assert running.read(A, ALL_TIME).value.tolist() == [1.0]


def test_not_a_store_is_refused_with_remedy(tmp_path: Path) -> None:
    """A file that is no database is named, with what to do."""
    path = tmp_path / "letter.sqlite"
    path.write_text("Dear owner, " * 100)
    with pytest.raises(StoreUnavailableError, match=r"letter.sqlite.*check the path"):
        SqliteStore(path)


def test_tend_thins_out_but_keeps_hours(tmp_path: Path) -> None:
    """Beyond the retention raw readings and minutes go, hour summaries stay."""
    store = SqliteStore(tmp_path / "s.sqlite", raw_days=5, minute_days=7)
    n = 12 * 8640
    store.load(A, Readings.of((TODAY - 12) * DAY_MS + np.arange(n) * 10_000, np.arange(n) % 50))
    hours = store.summary(A, ALL_TIME, "hour")
    store.tend(clock_ms())
    days = np.unique(store.read(A, ALL_TIME).time_ms // DAY_MS)
    minutes = np.unique(store.summary(A, ALL_TIME, "minute").start_ms // DAY_MS)
    assert days.tolist() == list(range(TODAY - 5, TODAY))
    assert minutes.tolist() == list(range(TODAY - 7, TODAY))
    assert store.summary(A, ALL_TIME, "hour").start_ms.tolist() == hours.start_ms.tolist()
    assert len(hours.start_ms) == 12 * 24


def test_negative_retention_thins_out_nothing(tmp_path: Path) -> None:
    """A number of days below zero is no order to forget everything."""
    store = SqliteStore(tmp_path / "s.sqlite", raw_days=-1, minute_days=-30)
    store.load(A, Readings.of((TODAY - 2) * DAY_MS + np.arange(100) * 10_000, np.arange(100)))
    store.tend(clock_ms())
    assert len(store.read(A, ALL_TIME)) == 100
    assert len(store.summary(A, ALL_TIME, "minute").start_ms) > 0


def test_sealing_empties_the_hot_table(store: SqliteStore) -> None:
    """After the nightly work finished days take no hot rows, today's do."""
    now = clock_ms()
    store.write([(A, now - 2 * DAY_MS + i, float(i)) for i in range(100)] + [(A, now, 1.0)])
    store.tend(now)
    (hot,) = store._writer.execute("SELECT count(*) FROM reading").fetchone()
    assert hot == 1
