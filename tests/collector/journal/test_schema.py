"""Tables of the journal: made once, brought up to date, never taken back to an older version."""

import sqlite3
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa

from collector.errors import StoreUnavailableError
from collector.journal.exchanges import SwapBook
from collector.journal.journal import Journal
from collector.journal.schema import META, VERSION

OLD = Path(__file__).with_name("version_0.sql")
"""A journal as the program made it before journals bore a version, a row at least in each table."""


@pytest.fixture(params=["file", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Path | str:
    """Where a journal is kept: a file, or a database of many boxes."""
    if request.param == "file":
        return tmp_path / "j.sqlite"
    return str(request.getfixturevalue("postgres").fresh_database())


def rows(path: Path, tables: list[str]) -> dict[str, list[tuple[object, ...]]]:
    """All rows of tables of an SQLite file."""
    with closing(sqlite3.connect(path)) as file:
        return {table: file.execute(f"SELECT * FROM {table}").fetchall() for table in tables}


def test_a_journal_without_version_keeps_every_row(tmp_path: Path) -> None:
    """What was kept before is there after, in a journal that bears a version."""
    path = tmp_path / "old.sqlite"
    with closing(sqlite3.connect(path)) as file:
        file.executescript(OLD.read_text())
        tables = [
            name
            for (name,) in file.execute(
                "SELECT name FROM sqlite_master WHERE sql LIKE 'CREATE TABLE%'"
            )
        ]
    before = rows(path, tables)
    with closing(Journal(path)) as journal:
        assert journal.alarms("quay")[0].alarm.state == "shelved"
        assert journal.logbook("quay")[0].words == "vented"
        assert SwapBook(journal.engine, tmp_path).records("quay")[0].old.plug == "plug-2"
    assert all(before.values())
    assert rows(path, tables) == before
    assert rows(path, ["journal_version"])["journal_version"] == [(VERSION,)]


def test_a_journal_that_lacks_tables_gets_them(tmp_path: Path) -> None:
    """Tables once came when first used: one that never was used is missing."""
    path = tmp_path / "old.sqlite"
    with closing(sqlite3.connect(path)) as file:
        file.executescript(OLD.read_text() + "DROP TABLE trial; DROP TABLE swap_step;")
    with closing(Journal(path)) as journal:
        there = set(sa.inspect(journal.engine).get_table_names())
    assert there == set(META.tables)


def test_opened_by_many_at_once_it_is_made_once(place: Path | str) -> None:
    """The program, its pages and a command start in one moment on a fresh machine."""
    with ThreadPoolExecutor(8) as pool:
        journals = list(pool.map(Journal, [place] * 8))
    journals[0].save_result("quay", "energy", 1, {"kwh": 2})
    assert [journal.result("quay", "energy") for journal in journals] == [(1, {"kwh": 2})] * 8
    for journal in journals:
        journal.close()


def test_a_journal_of_a_newer_program_is_left_alone(place: Path | str) -> None:
    """Going back to an older program is refused in words that say what to do."""
    with closing(Journal(place)) as journal, journal.engine.begin() as connection:
        connection.execute(sa.text("UPDATE journal_version SET version = version + 1"))
    with pytest.raises(StoreUnavailableError, match="install the newer program, or restore"):
        Journal(place)
