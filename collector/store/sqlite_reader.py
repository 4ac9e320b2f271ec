"""The embedded store as it is read: what came in and the sealed days behind it, as one."""

import sqlite3
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from analysis.base.time import DAY_MS, Span
from analysis.plant.plant import Channel
from analysis.readings.readings import Readings, Summary, hold_limit_ms, summarise
from collector.errors import StoreUnavailableError
from collector.store import sealed
from collector.store.protocol import LEAD_MS, STEP_MS, Step
from collector.store.spool import open_reader

VERSION = 1
"""Form of the file, as its `user_version` tells."""


class SqliteReader:
    """Readings of one SQLite file, opened to be read only.

    Satisfies `collector.store.protocol.Readable`.

    Parameters
    ----------
    path : Path
        The file, which is never made nor changed.
    channels : mapping of str to Channel
        What is known of each address, for how long its values hold.

    Raises
    ------
    StoreUnavailableError
        The file cannot be opened or is no store.
    """

    def __init__(self, path: Path, channels: Mapping[str, Channel] | None = None) -> None:
        self.path = path
        self._channels = dict(channels or {})
        self._local = threading.local()
        self._readers: list[sqlite3.Connection] = []
        self._keys: dict[str, int] = {}
        self._names: dict[int, str] = {}
        try:
            refuse_newer(self._reader(), path)
            for name, key in self._reader().execute("SELECT address, key FROM channel"):
                self._learn(name, key)
        except sqlite3.Error as error:
            raise unusable(path, error) from error

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

    def _learn(self, name: str, key: int) -> None:
        self._keys[name] = key
        self._names[key] = name

    def _reader(self) -> sqlite3.Connection:
        reader: sqlite3.Connection | None = getattr(self._local, "reader", None)
        if reader is None:
            reader = open_reader(self.path)
            self._local.reader = reader
            self._readers.append(reader)
        return reader

    @contextmanager
    def _snapshot(self) -> Iterator[sqlite3.Connection]:
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
        for reader in self._readers:
            reader.close()


def refuse_newer(connection: sqlite3.Connection, path: Path) -> None:
    """Leave alone what a later program wrote in a form unknown here.

    Raises
    ------
    StoreUnavailableError
        It is of such a form.
    """
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if version > VERSION:
        raise StoreUnavailableError(
            f"{path}: was written by a newer Stokehold (form {version}, this one knows {VERSION}); "
            "install that one again, or restore the backup made before it"
        )


def unusable(path: Path, error: sqlite3.Error) -> StoreUnavailableError:
    """What is told of a file that is no store, or cannot be opened."""
    return StoreUnavailableError(
        f"{path}: cannot be used as a store ({error}); check the path in [store], "
        "or close the program that holds it"
    )
