"""The embedded store: one SQLite file, a hot table for what comes in, sealed days behind it.

Readings enter ``reading``; once a day is over it is packed into one row of ``sealed`` with
its summaries, in the same transaction that empties its hot rows. Late readings stay hot,
are merged on reading and packed again the next night.
"""

import logging
import sqlite3
import threading
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import numpy as np

from analysis.base.time import DAY_MS, Span
from analysis.plant.plant import Channel
from analysis.readings.readings import Readings, Summary
from collector.errors import StoreUnavailableError
from collector.store import sealed
from collector.store.protocol import ALL_TIME, STEP_MS, Row, clock_ms
from collector.store.spool import Spool, open_writer, read_marks, save_marks, transaction
from collector.store.sqlite_reader import VERSION, SqliteReader, refuse_newer, unusable

_log = logging.getLogger(__name__)

_SCHEMA = f"""
CREATE TABLE IF NOT EXISTS channel(key INTEGER PRIMARY KEY, address TEXT NOT NULL UNIQUE);
CREATE TABLE IF NOT EXISTS reading(
  channel INTEGER NOT NULL, ts INTEGER NOT NULL, value REAL, PRIMARY KEY(channel, ts)
) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS sealed(
  channel INTEGER NOT NULL, day INTEGER NOT NULL, first_ms INTEGER NOT NULL,
  last_ms INTEGER NOT NULL, last_value REAL, payload BLOB, PRIMARY KEY(channel, day));
CREATE TABLE IF NOT EXISTS hour(
  channel INTEGER NOT NULL, day INTEGER NOT NULL, payload BLOB NOT NULL,
  PRIMARY KEY(channel, day)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS minute(
  channel INTEGER NOT NULL, day INTEGER NOT NULL, payload BLOB NOT NULL,
  PRIMARY KEY(channel, day));
CREATE TABLE IF NOT EXISTS delivery(slot INTEGER PRIMARY KEY, marks BLOB NOT NULL);
PRAGMA user_version = {VERSION};
"""
_DAYS_AT_ONCE = 30
"""So many days of a loaded log are packed in one transaction."""
_BUSY_S = 0.2
"""The writer waits so long for a lock before readings go to the spool."""


class SqliteStore(SqliteReader):
    """Readings in one SQLite file; satisfies `collector.store.protocol.Store`.

    Parameters
    ----------
    path : Path
        The file; made where absent.
    channels : mapping of str to Channel
        What is known of each address, for how long its values hold.
    raw_days, minute_days : int
        Readings and minute summaries older than so many days are thinned out
        by `tend`; 0 keeps all.

    Raises
    ------
    StoreUnavailableError
        The file cannot be opened or is no store.
    """

    def __init__(
        self,
        path: Path,
        channels: Mapping[str, Channel] | None = None,
        *,
        raw_days: int = 0,
        minute_days: int = 0,
    ) -> None:
        self._keep_days = {"sealed": raw_days, "minute": minute_days}
        self._lock = threading.RLock()
        self._batches = 0
        try:
            self._writer = open_writer(path, busy_s=5.0)
            refuse_newer(self._writer, path)
            self._writer.executescript(_SCHEMA)
            self._writer.execute(f"PRAGMA busy_timeout = {round(_BUSY_S * 1000)}")
        except sqlite3.Error as error:
            raise unusable(path, error) from error
        super().__init__(path, channels)
        self._spool = Spool(path.with_name(f"{path.stem}.spool.sqlite"))

    # writing

    def write(self, rows: Sequence[Row], marks: Sequence[int] = ()) -> None:
        """Keep a batch; while the file is locked or fails, in the spool beside it."""
        if not len(self._spool):
            try:
                self._write(rows, marks)
            except StoreUnavailableError as error:
                _log.warning("store=%s batch goes to the spool: %s", self.path.name, error)
            else:
                return
        self._spool.put(rows, marks)
        self.drain()

    def drain(self) -> None:
        """Write what waits in the spool, in order, as far as the file takes it."""
        try:
            while batches := self._spool.unsent():
                for batch in batches:
                    self._write(batch.rows)
                    self._spool.drop([batch.seq])
        except StoreUnavailableError:
            return

    def _write(self, rows: Iterable[Row], marks: Sequence[int] = ()) -> None:
        with transaction(self._writer, self._lock) as connection:
            keys = self._keys
            try:
                keyed = [(keys[a], t, v) for a, t, v in rows]
            except KeyError:
                keyed = [(self._key(connection, a), t, v) for a, t, v in rows]
            connection.executemany("REPLACE INTO reading VALUES (?, ?, ?)", keyed)
            self._batches += 1
            save_marks(connection, self._batches, marks)

    def _key(self, connection: sqlite3.Connection, name: str) -> int:
        if name not in self._keys:
            connection.execute("INSERT OR IGNORE INTO channel(address) VALUES (?)", (name,))
            (key,) = connection.execute(
                "SELECT key FROM channel WHERE address = ?", (name,)
            ).fetchone()
            self._learn(name, key)
        return self._keys[name]

    def delivered(self) -> list[int]:
        """Marks of the newest batches, in the file and in the spool."""
        return read_marks(self._reader()) + self._spool.delivered()

    def load(self, address: str, readings: Readings) -> None:
        """Keep many readings of one channel; finished days are sealed at once."""
        if not len(readings):
            return
        with transaction(self._writer, self._lock) as connection:
            key = self._key(connection, address)
        days = readings.time_ms // DAY_MS
        today = clock_ms() // DAY_MS
        first, last = int(days[0]), min(int(days[-1]), today - 1)
        for day in range(first, last + 1, _DAYS_AT_ONCE):
            end = min(day + _DAYS_AT_ONCE, last + 1)
            part = readings.within(Span(day * DAY_MS, end * DAY_MS))
            if len(part):
                self._seal(key, np.unique(part.time_ms // DAY_MS).tolist(), part)
        recent = readings.within(Span(today * DAY_MS, ALL_TIME.end_ms))
        if len(recent):
            stamps, values = recent.time_ms.tolist(), recent.value.tolist()
            self.write([(address, t, v) for t, v in zip(stamps, values, strict=True)])

    # nightly work

    def tend(self, now_ms: int) -> None:
        """Seal finished days, thin out old ones, shorten the write-ahead log."""
        self.drain()
        today = now_ms // DAY_MS
        for key in sorted(self._keys.values()):
            with self._snapshot() as reader:
                days = self._open_days(reader, key, -(10**6), today - 1)
            for day in days:
                self._seal(key, [day], Readings.empty())
        for table, keep in self._keep_days.items():
            if keep > 0:  # a negative number would thin out days to come, which is everything
                self._thin(table, today - keep)
        with self._lock:
            self._writer.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def _thin(self, table: str, before: int) -> None:
        with transaction(self._writer, self._lock) as connection:
            if table == "sealed":
                connection.execute("UPDATE sealed SET payload = NULL WHERE day < ?", (before,))
            else:
                connection.execute("DELETE FROM minute WHERE day < ?", (before,))

    def _seal(self, key: int, days: list[int], added: Readings) -> None:
        """Pack days, in order: what was sealed, what is hot and what is added."""
        whole = Span(days[0] * DAY_MS, (days[-1] + 1) * DAY_MS)
        with transaction(self._writer, self._lock) as connection:
            merged = self._range(connection, key, whole).joined(added)
            for day in days:
                span = Span(day * DAY_MS, (day + 1) * DAY_MS)
                self._pack(connection, key, day, merged.within(span))
                connection.execute(
                    "DELETE FROM reading WHERE channel = ? AND ts >= ? AND ts < ?",
                    (key, span.start_ms, span.end_ms),
                )
            self._sum_up(connection, key, days, merged)
            if self._is_sealed(connection, key, days[-1] + 1):
                after = Span(whole.end_ms, whole.end_ms + DAY_MS)
                readings = self._range(connection, key, after)
                self._sum_up(connection, key, [days[-1] + 1], readings)

    def _pack(self, connection: sqlite3.Connection, key: int, day: int, readings: Readings) -> None:
        if not len(readings):
            return
        ends = readings.time_ms[[0, -1]].tolist()
        row = (key, day, *ends, readings.value[-1].item(), sealed.pack_day(readings))
        connection.execute("REPLACE INTO sealed VALUES (?, ?, ?, ?, ?, ?)", row)

    def _is_sealed(self, connection: sqlite3.Connection, key: int, day: int) -> bool:
        return bool(
            connection.execute(
                "SELECT 1 FROM sealed WHERE channel = ? AND day = ?", (key, day)
            ).fetchone()
        )

    def _sum_up(
        self, connection: sqlite3.Connection, key: int, days: list[int], readings: Readings
    ) -> None:
        """Summaries of days, made over all of them at once."""
        whole = self._before(connection, key, days[0] * DAY_MS).joined(readings)
        for step in STEP_MS:
            summary = self._summed(key, days[0], days[-1], whole, step)
            edge = np.array([days, [d + 1 for d in days]]) * DAY_MS
            first, after = np.searchsorted(summary.start_ms, edge)
            into = f"REPLACE INTO {step} VALUES (?, ?, ?)"  # noqa: S608 - own text
            for day, a, b in zip(days, first.tolist(), after.tolist(), strict=True):
                part = Summary(*(column[a:b] for column in summary))  # type: ignore[arg-type]
                connection.execute(into, (key, day, sealed.PACK_SUMMARY[step](part)))

    def close(self) -> None:
        """Close every connection."""
        self._spool.close()
        super().close()
        with self._lock:
            self._writer.close()
