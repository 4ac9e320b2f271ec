"""The embedded store: one SQLite file, a hot table for what comes in, sealed days behind it.

Readings enter ``reading``; once a day is over it is packed into one row of ``sealed`` with
its summaries, in the same transaction that empties its hot rows. Late readings stay hot,
are merged on reading and packed again the next night.
"""

import logging
import sqlite3
import threading
from collections.abc import Iterable, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from analysis.plant import Channel
from analysis.readings import Readings, Summary, hold_limit_ms, summarise
from analysis.timebase import DAY_MS, Span
from collector import sealed
from collector.errors import StoreUnavailableError
from collector.spool import Spool, open_writer, read_marks, save_marks, transaction
from collector.store import ALL_TIME, LEAD_MS, STEP_MS, Row, Step, clock_ms

_log = logging.getLogger(__name__)

_SCHEMA = """
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
PRAGMA user_version = 1;
"""
_DAYS_AT_ONCE = 30
"""So many days of a loaded log are packed in one transaction."""
_BUSY_S = 0.2
"""The writer waits so long for a lock before readings go to the spool."""


class SqliteStore:
    """Readings in one SQLite file; satisfies `collector.store.Store`.

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
        self.path = path
        self._channels = dict(channels or {})
        self._keep_days = {"sealed": raw_days, "minute": minute_days}
        self._lock = threading.RLock()
        self._local = threading.local()
        self._readers: list[sqlite3.Connection] = []
        self._batches = 0
        self._keys: dict[str, int] = {}
        self._names: dict[int, str] = {}
        try:
            self._writer = open_writer(path, busy_s=5.0)
            self._writer.executescript(_SCHEMA)
            self._writer.execute(f"PRAGMA busy_timeout = {round(_BUSY_S * 1000)}")
            for name, key in self._writer.execute("SELECT address, key FROM channel"):
                self._learn(name, key)
        except sqlite3.Error as error:
            raise StoreUnavailableError(
                f"{path}: cannot be used as a store ({error}); check the path in [store], "
                "or close the program that holds it"
            ) from error
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

    def _known_key(self, name: str) -> int | None:
        """Key of an address, also of one that another process has just added."""
        if name not in self._keys:
            row = (
                self._reader()
                .execute("SELECT key FROM channel WHERE address = ?", (name,))
                .fetchone()
            )
            if row is None:
                return None
            self._learn(name, row[0])
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

    # reading

    def read(self, address: str, span: Span, *, lead: bool = False) -> Readings:
        """Readings within the span; with `lead` also the last one before it."""
        key = self._known_key(address)
        if key is None:
            return Readings.empty()
        with self._snapshot() as reader:
            found = self._range(reader, key, span)
            if lead:
                found = self._before(reader, key, span.start_ms).joined(found)
        return found

    def _range(self, reader: sqlite3.Connection, key: int, span: Span) -> Readings:
        if span.end_ms <= span.start_ms:
            return Readings.empty()
        payloads = reader.execute(
            "SELECT payload FROM sealed WHERE channel = ? AND day BETWEEN ? AND ? "
            "AND payload IS NOT NULL ORDER BY day",
            (key, span.start_ms // DAY_MS, (span.end_ms - 1) // DAY_MS),
        ).fetchall()
        days = sealed.unpack_days([p for (p,) in payloads]).within(span)
        return days.joined(self._hot(reader, key, span))

    def _hot(self, reader: sqlite3.Connection, key: int, span: Span) -> Readings:
        rows = reader.execute(
            "SELECT ts, value FROM reading WHERE channel = ? AND ts >= ? AND ts < ? ORDER BY ts",
            (key, span.start_ms, span.end_ms),
        ).fetchall()
        if not rows:
            return Readings.empty()
        times, values = zip(*rows, strict=True)
        return Readings(np.array(times, np.int64), np.array(values, np.float64))

    def _before(self, reader: sqlite3.Connection, key: int, time_ms: int) -> Readings:
        """The last reading before a moment, if it is not older than `LEAD_MS`."""
        hot = reader.execute(
            "SELECT ts, value FROM reading WHERE channel = ? AND ts < ? ORDER BY ts DESC LIMIT 1",
            (key, time_ms),
        ).fetchall()
        for (day,) in reader.execute(
            "SELECT day FROM sealed WHERE channel = ? AND first_ms < ? AND day >= ? "
            "ORDER BY day DESC LIMIT 1",
            (key, time_ms, (time_ms - LEAD_MS) // DAY_MS),
        ).fetchall():
            within = Span(day * DAY_MS, min(time_ms, (day + 1) * DAY_MS))
            packed = self._range(reader, key, within)
            hot += list(zip(packed.time_ms[-1:].tolist(), packed.value[-1:].tolist(), strict=True))
        hot = [row for row in hot if row[0] >= time_ms - LEAD_MS]
        if not hot:
            return Readings.empty()
        ts, value = max(hot, key=lambda row: row[0])
        return Readings.of([ts], [np.nan if value is None else value])

    def latest(self) -> dict[str, tuple[int, float]]:
        """Last reading of every channel, by one seek each in hot and sealed rows."""
        found = {}
        with self._snapshot() as reader:
            for name, key in self._keys.items():
                ends = [
                    reader.execute(
                        f"SELECT {columns} FROM {table} WHERE channel = ? "  # noqa: S608 - own text
                        f"ORDER BY {order} DESC LIMIT 1",
                        (key,),
                    ).fetchone()
                    for table, columns, order in (
                        ("reading", "ts, value", "ts"),
                        ("sealed", "last_ms, last_value", "day"),
                    )
                ]
                if rows := [row for row in ends if row]:
                    ts, value = max(rows, key=lambda row: row[0])
                    found[name] = (ts, float("nan") if value is None else value)
        return found

    def extent(self, address: str) -> Span | None:
        """First to last reading of a channel, or None."""
        key = self._known_key(address)
        if key is None:
            return None
        with self._snapshot() as reader:
            first, last = reader.execute(
                "SELECT min(a), max(b) FROM ("
                "SELECT min(ts) a, max(ts) b FROM reading WHERE channel = :key UNION ALL "
                "SELECT min(first_ms), max(last_ms) FROM sealed WHERE channel = :key)",
                {"key": key},
            ).fetchone()
        return None if first is None else Span(first, last + 1)

    def summary(self, address: str, span: Span, step: Step) -> Summary:
        """Summaries of sealed days as stored, of days with hot rows as computed now."""
        key = self._known_key(address)
        if key is None or span.end_ms <= span.start_ms:
            return sealed.UNPACK_SUMMARY[step]([])
        first, last = span.start_ms // DAY_MS, (span.end_ms - 1) // DAY_MS
        with self._snapshot() as reader:
            payloads = dict(
                reader.execute(
                    f"SELECT day, payload FROM {step} "  # noqa: S608 - own text
                    "WHERE channel = ? AND day BETWEEN ? AND ?",
                    (key, first, last),
                )
            )
            for day in self._open_days(reader, key, first, last):
                payloads[day] = sealed.PACK_SUMMARY[step](self._day_summary(reader, key, day, step))
        found = sealed.UNPACK_SUMMARY[step]([payloads[d] for d in sorted(payloads)])
        return found.touching(span, STEP_MS[step])

    def _open_days(self, reader: sqlite3.Connection, key: int, first: int, last: int) -> list[int]:
        rows = reader.execute(
            "SELECT DISTINCT ts / ? FROM reading WHERE channel = ? AND ts >= ? AND ts < ?",
            (DAY_MS, key, first * DAY_MS, (last + 1) * DAY_MS),
        )
        return [day for (day,) in rows]

    def _day_summary(self, reader: sqlite3.Connection, key: int, day: int, step: Step) -> Summary:
        span = Span(day * DAY_MS, (day + 1) * DAY_MS)
        lead = self._before(reader, key, span.start_ms)
        return self._summed(key, day, day, lead.joined(self._range(reader, key, span)), step)

    def _summed(self, key: int, first: int, last: int, readings: Readings, step: Step) -> Summary:
        edges = np.arange(first * DAY_MS, (last + 1) * DAY_MS + 1, STEP_MS[step])
        return summarise(readings, edges, hold_limit_ms(readings, self._channel(key)))

    def _channel(self, key: int) -> Channel:
        name = self._names[key]
        return self._channels.get(name) or Channel(id=name, of="plant", quantity="power", unit="W")

    def _learn(self, name: str, key: int) -> None:
        self._keys[name] = key
        self._names[key] = name

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

    # connections

    def _reader(self) -> sqlite3.Connection:
        reader: sqlite3.Connection | None = getattr(self._local, "reader", None)
        if reader is None:
            reader = sqlite3.connect(
                f"{self.path.absolute().as_uri()}?mode=ro",
                uri=True,
                timeout=5.0,
                isolation_level=None,
                check_same_thread=False,
            )
            self._local.reader = reader
            self._readers.append(reader)
        return reader

    @contextmanager
    def _snapshot(self) -> Any:
        """One consistent view of hot and sealed rows, closed again at once."""
        reader = self._reader()
        reader.execute("BEGIN")
        try:
            yield reader
        except sqlite3.Error as error:
            raise StoreUnavailableError(f"{self.path}: cannot be read ({error})") from error
        finally:
            reader.execute("ROLLBACK")

    def close(self) -> None:
        """Close every connection."""
        self._spool.close()
        for reader in self._readers:
            reader.close()
        with self._lock:
            self._writer.close()
