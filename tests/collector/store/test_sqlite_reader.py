"""Tests of the embedded store opened to be read only."""

import sqlite3
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from analysis.base.time import DAY_MS, Span
from analysis.readings.readings import Readings
from collector.errors import StoreUnavailableError
from collector.store.protocol import ALL_TIME, clock_ms
from collector.store.sqlite import SqliteStore
from collector.store.sqlite_reader import SqliteReader

A = "quay/heating.power"


def test_a_reader_sees_what_a_living_store_takes(tmp_path: Path) -> None:
    """Sealed days and readings that came a moment ago, also of a channel that is new."""
    store = SqliteStore(tmp_path / "s.sqlite")
    now = clock_ms()
    old = Readings.of(now - 3 * DAY_MS + np.arange(1000) * 10_000, np.arange(1000.0))
    store.load(A, old)
    reader = SqliteReader(tmp_path / "s.sqlite")
    store.write([(A, now, 5.0), ("quay/boiler.flow", now, 61.5)])
    assert reader.read(A, ALL_TIME).value.tolist() == [*old.value.tolist(), 5.0]
    assert reader.read("quay/boiler.flow", ALL_TIME).value.tolist() == [61.5]
    assert reader.extent(A) == Span(now - 3 * DAY_MS, now + 1)
    span = Span(now - 3 * DAY_MS, now + 1)
    for one, other in zip(
        reader.summary(A, span, "minute"), store.summary(A, span, "minute"), strict=True
    ):
        assert np.array_equal(one, other)
    reader.close()
    store.close()


def test_a_reader_makes_no_file(tmp_path: Path) -> None:
    """Neither the store where there is none nor a spool beside one that is there."""
    with pytest.raises(StoreUnavailableError, match=r"none\.sqlite: cannot be used as a store"):
        SqliteReader(tmp_path / "none.sqlite")
    assert list(tmp_path.iterdir()) == []
    SqliteStore(tmp_path / "s.sqlite").close()
    (tmp_path / "s.spool.sqlite").unlink()
    reader = SqliteReader(tmp_path / "s.sqlite")
    reader.latest()
    reader.close()
    assert not (tmp_path / "s.spool.sqlite").exists()


@pytest.mark.parametrize("kind", [SqliteReader, SqliteStore])
def test_a_file_of_a_newer_program_is_left_alone(kind: type[SqliteReader], tmp_path: Path) -> None:
    """Reading it wrongly, or writing an old form into it, would harm what is kept."""
    path = tmp_path / "s.sqlite"
    SqliteStore(path).close()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA user_version = 7")
    with pytest.raises(StoreUnavailableError, match=r"s\.sqlite: was written by a newer.*restore"):
        kind(path)
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (7,)


def test_a_file_that_is_no_store_is_told(tmp_path: Path) -> None:
    """Another program's file is refused by name, and left as it was."""
    path = tmp_path / "letter.txt"
    path.write_text("dear tenant")
    with pytest.raises(StoreUnavailableError, match=r"letter\.txt.*check the path in \[store\]"):
        SqliteReader(path)
    assert path.read_text() == "dear tenant"
