"""A local file in which readings wait, safe on disk, while the store cannot take them."""

import sqlite3
import threading
from collections.abc import Iterable, Sequence
from contextlib import closing, suppress
from pathlib import Path
from typing import NamedTuple

import orjson

from collector.errors import StoreUnavailableError
from collector.store.protocol import Row

MARK_BATCHES = 32
"""So many newest batches are remembered, more than a broker has in flight at once."""

_SCHEMA = """
CREATE TABLE IF NOT EXISTS waiting(
  seq INTEGER PRIMARY KEY, rows BLOB NOT NULL, sent_ms INTEGER);
CREATE TABLE IF NOT EXISTS delivery(slot INTEGER PRIMARY KEY, marks BLOB NOT NULL);
CREATE TABLE IF NOT EXISTS unsummed(
  address TEXT NOT NULL, day INTEGER NOT NULL, PRIMARY KEY(address, day)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS remembered(name TEXT PRIMARY KEY, value TEXT NOT NULL);
"""


def open_writer(path: Path, *, busy_s: float) -> sqlite3.Connection:
    """Open a connection that writes durably: write-ahead log, a sync on every commit."""
    connection = sqlite3.connect(
        path, timeout=busy_s, isolation_level=None, check_same_thread=False
    )
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    return connection


def open_reader(path: Path) -> sqlite3.Connection:
    """Open a connection that can only read, and makes no file."""
    return sqlite3.connect(
        f"{path.absolute().as_uri()}?mode=ro",
        uri=True,
        timeout=5.0,
        isolation_level=None,
        check_same_thread=False,
    )


class transaction:  # noqa: N801 - used like contextlib's own
    """One immediate transaction; a database error becomes `StoreUnavailableError`."""

    def __init__(self, connection: sqlite3.Connection, lock: threading.RLock) -> None:
        self._connection = connection
        self._lock = lock

    def __enter__(self) -> sqlite3.Connection:
        self._lock.acquire()
        try:
            self._connection.execute("BEGIN IMMEDIATE")
        except sqlite3.Error as error:
            self._lock.release()
            raise StoreUnavailableError(_advice(error)) from error
        return self._connection

    def __exit__(self, kind: type[BaseException] | None, error: object, trace: object) -> None:
        try:
            self._connection.execute("ROLLBACK" if kind else "COMMIT")
        except sqlite3.Error as failed:
            with suppress(sqlite3.Error):
                self._connection.execute("ROLLBACK")
            if kind is None:
                raise StoreUnavailableError(_advice(failed)) from failed
        finally:
            self._lock.release()
        if isinstance(error, sqlite3.Error):
            raise StoreUnavailableError(_advice(error)) from error


def _advice(error: sqlite3.Error) -> str:
    text = str(error)
    if "full" in text:
        return "the disk is full; free some space"
    if "locked" in text:
        return "the database is locked by another program; close that program"
    return f"the database cannot be written ({text}); check disk and permissions"


def save_marks(connection: sqlite3.Connection, slot: int, marks: Sequence[int]) -> None:
    """Remember the deliveries of one batch within the current transaction."""
    if marks:
        blob = orjson.dumps(list(marks))
        connection.execute("REPLACE INTO delivery VALUES (?, ?)", (slot % MARK_BATCHES, blob))


def read_marks(connection: sqlite3.Connection) -> list[int]:
    """Deliveries remembered."""
    rows = connection.execute("SELECT marks FROM delivery").fetchall()
    return [mark for (blob,) in rows for mark in orjson.loads(blob)]


class Batch(NamedTuple):
    """One batch waiting in the spool."""

    seq: int
    rows: list[Row]
    sent_ms: int | None


class Waiting(NamedTuple):
    """What a spool holds: its batches in order, and address and day of summaries to be made."""

    batches: list[Batch]
    unsummed: set[tuple[str, int]]


class Spool:
    """Batches in order, each durable once `put` returns."""

    def __init__(self, path: Path) -> None:
        self._lock = threading.RLock()
        self._connection = open_writer(path, busy_s=1.0)
        self._connection.executescript(_SCHEMA)

    def put(
        self,
        rows: Sequence[Row],
        marks: Sequence[int] = (),
        unsummed: Iterable[tuple[str, int]] = (),
    ) -> int:
        """Append a batch and give its number; `unsummed` see `note_unsummed`.

        Raises
        ------
        StoreUnavailableError
            The spool's own disk fails.
        """
        with transaction(self._connection, self._lock) as connection:
            blob = orjson.dumps(list(rows))
            cursor = connection.execute("INSERT INTO waiting(rows) VALUES (?)", (blob,))
            seq = cursor.lastrowid or 0
            save_marks(connection, seq, marks)
            connection.executemany("INSERT OR IGNORE INTO unsummed VALUES (?, ?)", unsummed)
        return seq

    def note_unsummed(self, days: Iterable[tuple[str, int]]) -> None:
        """Note address and day of summaries that must be made (again)."""
        with transaction(self._connection, self._lock) as connection:
            connection.executemany("INSERT OR IGNORE INTO unsummed VALUES (?, ?)", days)

    def summed(self, address: str, day: int) -> None:
        """Forget that a summary was to be made."""
        with transaction(self._connection, self._lock) as connection:
            connection.execute("DELETE FROM unsummed WHERE (address, day) = (?, ?)", (address, day))

    def remember(self, name: str, value: str) -> None:
        """Keep one fact across restarts."""
        with transaction(self._connection, self._lock) as connection:
            connection.execute("REPLACE INTO remembered VALUES (?, ?)", (name, value))

    def remembered(self, name: str) -> str | None:
        """One fact kept, or None."""
        with self._lock:
            row = self._connection.execute(
                "SELECT value FROM remembered WHERE name = ?", (name,)
            ).fetchone()
        return str(row[0]) if row else None

    def unsent(self, limit: int = 50) -> list[Batch]:
        """Oldest batches not yet sent."""
        with self._lock:
            return _batches(self._connection, "sent_ms IS NULL ORDER BY seq LIMIT ?", limit)

    def mark_sent(self, seqs: Sequence[int], now_ms: int) -> None:
        """Note that batches have been handed to the store."""
        with transaction(self._connection, self._lock) as connection:
            connection.executemany(
                "UPDATE waiting SET sent_ms = ? WHERE seq = ?", [(now_ms, s) for s in seqs]
            )

    def send_again(self) -> None:
        """Treat every batch still held as unsent."""
        with transaction(self._connection, self._lock) as connection:
            connection.execute("UPDATE waiting SET sent_ms = NULL")

    def drop(self, seqs: Sequence[int]) -> None:
        """Forget batches that the store holds for good."""
        with transaction(self._connection, self._lock) as connection:
            connection.executemany("DELETE FROM waiting WHERE seq = ?", [(s,) for s in seqs])

    def drop_sent_before(self, time_ms: int) -> int:
        """Forget batches sent before a moment; give the lowest number still held."""
        with transaction(self._connection, self._lock) as connection:
            connection.execute("DELETE FROM waiting WHERE sent_ms < ?", (time_ms,))
            (lowest,) = connection.execute("SELECT min(seq) FROM waiting").fetchone()
        return int(lowest) if lowest is not None else 1 << 62

    def __len__(self) -> int:
        with self._lock:
            (count,) = self._connection.execute(
                "SELECT count(*) FROM waiting WHERE sent_ms IS NULL"
            ).fetchone()
        return int(count)

    def delivered(self) -> list[int]:
        """Marks of the newest batches."""
        with self._lock:
            return read_marks(self._connection)

    def waiting(self) -> Waiting:
        """What it holds now."""
        with self._lock:
            return _waiting(self._connection)

    def close(self) -> None:
        """Close the file."""
        with self._lock:
            self._connection.close()


def waiting_in(path: Path) -> Waiting:
    """What waits in a spool, read without touching it; nothing where there is no file.

    Raises
    ------
    StoreUnavailableError
        The file cannot be read.
    """
    if not path.exists():
        return Waiting([], set())
    try:
        with closing(open_reader(path)) as connection:
            return _waiting(connection)
    except sqlite3.Error as error:
        raise StoreUnavailableError(
            f"{path}: the spool cannot be read ({error}); check path and permissions"
        ) from error


def _waiting(connection: sqlite3.Connection) -> Waiting:
    return Waiting(
        _batches(connection, "seq > ? ORDER BY seq", 0),
        set(connection.execute("SELECT address, day FROM unsummed")),
    )


def _batches(connection: sqlite3.Connection, where: str, argument: int) -> list[Batch]:
    found = connection.execute(
        f"SELECT seq, rows, sent_ms FROM waiting WHERE {where}",  # noqa: S608 - own text
        (argument,),
    ).fetchall()
    return [Batch(seq, _rows(blob), sent) for seq, blob, sent in found]


def _rows(blob: bytes) -> list[Row]:
    return [
        (name, ms, float("nan") if value is None else value)
        for name, ms, value in orjson.loads(blob)
    ]
