"""Readings on a time-series server, with the local spool before it.

A server may lose what it acknowledged in its last seconds before a crash. So every batch is
committed to the spool first, forwarded from there, and forgotten only when it is older than
`KEEP_MS` and the server has not been restarted since; after a restart all that is still held
is sent again. Writing twice is harmless: a moment of a channel has one value.
"""

import logging
import threading
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path

import numpy as np
import urllib3
from influxdb_client import InfluxDBClient, WritePrecision
from influxdb_client.client.write_api import SYNCHRONOUS
from influxdb_client.rest import ApiException

from analysis.plant import Channel
from analysis.readings import FloatArray, IntArray, Readings, Summary, hold_limit_ms, summarise
from analysis.timebase import DAY_MS, Span
from collector.errors import StoreUnavailableError
from collector.server_query import Dialect, ExportDialect, FluxDialect, Http, Series
from collector.settings import StoreSettings
from collector.spool import Spool
from collector.store import ALL_TIME, LEAD_MS, STEP_MS, Row, Step, clock_ms

_log = logging.getLogger(__name__)

KEEP_MS = 120_000
"""A server killed under load lost up to 8 s that it had acknowledged; this is far more."""
_CHECK_MS = 5_000
_BULK = 50_000
_FIGURES = ("mean", "low", "high", "covered_s")


class ServerStore:
    """Readings on a server; satisfies `collector.store.Store`.

    Parameters
    ----------
    settings : StoreSettings
        Address, organisation and bucket.
    spool : Path
        The local file in which batches wait.
    channels : mapping of str to Channel
        What is known of each address, for how long its values hold.
    token : str, optional
        Secret of the server.

    Raises
    ------
    StoreUnavailableError
        The settings ask for what this kind of server cannot do.
    """

    def __init__(
        self,
        settings: StoreSettings,
        spool: Path,
        *,
        channels: Mapping[str, Channel] | None = None,
        token: str | None = None,
    ) -> None:
        self._settings = settings
        self._channels = dict(channels or {})
        self._http = Http(settings.url, token)
        self._client = InfluxDBClient(
            url=settings.url, token=token or "", org=settings.organisation, timeout=30_000
        )
        self._writer = self._client.write_api(write_options=SYNCHRONOUS)
        self._spool = Spool(spool)
        self._unsummed = self._spool.unsummed()
        self._recent: dict[int, dict[str, list[tuple[int, float]]]] = {
            b.seq: _by_address(b.rows) for b in self._spool.kept()
        }
        self._last: dict[str, tuple[int, float]] = {}
        self._dialect_found: Dialect | None = None
        self._checked_ms = 0
        self._wake = threading.Event()
        self._closing = False
        self._forwarder = threading.Thread(target=self._forward, name="forwarder", daemon=True)
        self._forwarder.start()

    # writing

    def write(self, rows: Sequence[Row], marks: Sequence[int] = ()) -> None:
        """Commit a batch to the spool; it reaches the server soon after."""
        days = {(a, t // DAY_MS) for a, t, _ in rows} - self._unsummed
        seq = self._spool.put(rows, marks, days)
        self._unsummed |= days
        self._recent[seq] = _by_address(rows)
        for name, ms, value in rows:
            if ms >= self._last.get(name, (ms, 0.0))[0]:
                self._last[name] = (ms, value)
        self._wake.set()

    def delivered(self) -> list[int]:
        """Marks of the newest batches."""
        return self._spool.delivered()

    def _forward(self) -> None:
        away = False
        while not self._closing:
            self._wake.wait(1.0)
            self._wake.clear()
            try:
                self.forward_once()
                away = False
            except StoreUnavailableError as error:
                if not away:
                    _log.warning("store=server readings wait in the spool: %s", error)
                away = True
                threading.Event().wait(0.5)

    def forward_once(self) -> None:
        """Send what waits, and forget what the server surely holds.

        Raises
        ------
        StoreUnavailableError
            The server is away; nothing is forgotten.
        """
        now = clock_ms()
        if now - self._checked_ms > _CHECK_MS:
            self._check_restart(now)
        while batches := self._spool.unsent():
            self._send([line for b in batches for line in _lines(self._measure("reading"), b.rows)])
            self._spool.mark_sent([b.seq for b in batches], clock_ms())

    def _check_restart(self, now: int) -> None:
        started = self._http.started()
        if started != self._spool.remembered("server started"):
            self._spool.send_again()
            self._spool.remember("server started", started)
        else:
            lowest = self._spool.drop_sent_before(now - KEEP_MS)
            for seq in [s for s in list(self._recent) if s < lowest]:
                del self._recent[seq]
        self._checked_ms = now

    def _measure(self, what: str) -> str:
        return f"{self._settings.bucket}_{what}"

    def _send(self, lines: Iterable[str]) -> None:
        try:
            self._writer.write(
                bucket=self._settings.bucket,
                record="\n".join(lines),
                write_precision=WritePrecision.MS,
            )
        except (ApiException, urllib3.exceptions.HTTPError, OSError) as error:
            raise StoreUnavailableError(
                f"{self._settings.url}: the time-series server takes no readings "
                f"({type(error).__name__}); start it, or check [store]"
            ) from error

    def load(self, address: str, readings: Readings) -> None:
        """Keep many readings of one channel at once.

        Raises
        ------
        StoreUnavailableError
            The server is away, or keeps less of the past than is loaded.
        """
        if not len(readings):
            return
        for a in range(0, len(readings), _BULK):
            stamps = readings.time_ms[a : a + _BULK].tolist()
            values = readings.value[a : a + _BULK].tolist()
            rows = [(address, t, v) for t, v in zip(stamps, values, strict=True)]
            self._send(_lines(self._measure("reading"), rows))
        days = {(address, int(d)) for d in np.unique(readings.time_ms // DAY_MS)}
        self._spool.note_unsummed(days)
        self._unsummed |= days
        self._dialect().settle()
        self._last.pop(address, None)
        first = int(readings.time_ms[0])
        if not len(self.read(address, Span(first, first + 1))):
            raise StoreUnavailableError(
                f"{self._settings.url}: the server does not keep readings as old as these; "
                "start it with a longer retention and load them again"
            )

    # reading

    def _dialect(self) -> Dialect:
        if self._dialect_found is None:
            if b'"influxdb"' in self._http.get("/health").lower():
                self._dialect_found = FluxDialect.over(self._client, self._settings.bucket)
            else:
                self._dialect_found = ExportDialect(self._http)
        return self._dialect_found

    def read(self, address: str, span: Span, *, lead: bool = False) -> Readings:
        """Readings within the span, those still in the spool among them."""
        asked = Span(span.start_ms - LEAD_MS, span.end_ms) if lead else span
        series = Series(self._measure("reading"), "value", address)
        dialect = self._dialect()
        held = dialect.read(series._replace(field="unknown"), asked)
        found = Readings(held.time_ms, np.full(len(held), np.nan)).joined(
            dialect.read(series, asked)
        )
        found = found.joined(self._in_spool(address, asked))
        if not lead:
            return found
        before = found.within(Span(asked.start_ms, span.start_ms))
        return Readings(before.time_ms[-1:], before.value[-1:]).joined(found.within(span))

    def _in_spool(self, address: str, span: Span) -> Readings:
        rows = [row for held in list(self._recent.values()) for row in held.get(address, ())]
        if not rows:
            return Readings.empty()
        times, values = zip(*rows, strict=True)
        return Readings.of(times, values).within(span)

    def latest(self) -> dict[str, tuple[int, float]]:
        """Last reading of every channel; the server is asked once for each."""
        for name in self._channels:
            if name not in self._last and (end := self._ends(name)):
                self._last[name] = end[1]
        return dict(self._last)

    def extent(self, address: str) -> Span | None:
        """First to last reading of a channel, or None."""
        end = self._ends(address)
        return Span(end[0][0], end[1][0] + 1) if end else None

    def _ends(self, address: str) -> tuple[tuple[int, float], tuple[int, float]] | None:
        series = Series(self._measure("reading"), "value", address)
        first, last = self._dialect().ends(series)
        waiting = self._in_spool(address, ALL_TIME)
        whole = first.joined(last).joined(waiting)
        if not len(whole):
            return None
        rows = list(zip(whole.time_ms.tolist(), whole.value.tolist(), strict=True))
        return rows[0], rows[-1]

    def summary(self, address: str, span: Span, step: Step) -> Summary:
        """Summaries of finished days as stored, of others as computed now."""
        first, last = span.start_ms // DAY_MS, (span.end_ms - 1) // DAY_MS
        recent = clock_ms() // DAY_MS - 1
        open_days = {d for a, d in self._unsummed if a == address and first <= d <= last}
        open_days |= set(range(max(first, recent), min(last, recent + 1) + 1))
        stored = self._stored_summary(address, span, step)
        closed = ~np.isin(stored.start_ms // DAY_MS, list(open_days))
        parts = [Summary(*(c[closed] for c in stored))]  # type: ignore[arg-type]
        for a, b in _runs(open_days):
            parts.append(self._computed(address, Span(a * DAY_MS, (b + 1) * DAY_MS), step))
        return _in_order(parts).touching(span, STEP_MS[step])

    def _stored_summary(self, address: str, span: Span, step: Step) -> Summary:
        """Newest edition of each step.

        A server does not replace a value reliably, so a summary made again, after late
        readings, is written as a further edition beside the first.
        """
        asked = Span(span.start_ms - STEP_MS[step] + 1, span.end_ms)
        figures = [Readings.empty() for _ in _FIGURES]
        edition = 0
        while len((found := self._edition(address, asked, step, edition=edition))[0]):
            figures = [old.joined(new) for old, new in zip(figures, found, strict=True)]
            edition += 1
        return Summary(figures[0].time_ms, *(f.value for f in figures))

    def _edition(self, address: str, span: Span, step: Step, *, edition: int) -> list[Readings]:
        measurement, read = self._measure(step), self._dialect().read
        first = read(Series(measurement, _FIGURES[0], address, edition), span)
        if not len(first):
            return [first]
        others = (Series(measurement, name, address, edition) for name in _FIGURES[1:])
        return [first, *(read(series, span) for series in others)]

    def _computed(self, address: str, span: Span, step: Step) -> Summary:
        readings = self.read(address, span, lead=True)
        edges = np.arange(span.start_ms, span.end_ms + 1, STEP_MS[step])
        channel = self._channels.get(address) or Channel(
            id=address, of="plant", quantity="power", unit="W"
        )
        found = summarise(readings, edges, hold_limit_ms(readings, channel))
        some = found.covered_s > 0
        return Summary(*(c[some] for c in found))  # type: ignore[arg-type]

    # nightly work

    def tend(self, now_ms: int) -> None:
        """Sum up finished days; old readings are thinned by the server's own retention."""
        today = now_ms // DAY_MS
        days: dict[str, set[int]] = defaultdict(set)
        for name, day in set(self._unsummed):
            if day < today:
                days[name].add(day)
        for name, chosen in days.items():
            self._finish_days(name, chosen)

    def _finish_days(self, name: str, days: set[int]) -> None:
        """Sum days up; one that changes meanwhile stays noted for the next time."""
        noted = {(name, day) for day in days}
        self._unsummed -= noted
        try:
            for a, b in _runs(days):
                self._sum_up(name, Span(a * DAY_MS, (b + 1) * DAY_MS))
        except StoreUnavailableError:
            self._unsummed |= noted
            raise
        for day in days:
            if (name, day) not in self._unsummed:
                self._spool.summed(name, day)

    def _sum_up(self, address: str, span: Span) -> None:
        for step in STEP_MS:
            summary = self._computed(address, span, step)
            edition = 0
            while len(self._edition(address, span, step, edition=edition)[0]):
                edition += 1
            tags = f"{self._measure(step)},channel={address},edition={edition}"
            lines = _summary_lines(tags, summary)
            for a in range(0, len(lines), _BULK):
                self._send(lines[a : a + _BULK])
        self._dialect().settle()

    def close(self) -> None:
        """Send what can be sent, then let go."""
        if self._closing:
            return
        self._closing = True
        self._wake.set()
        self._forwarder.join(timeout=35)
        with suppress(StoreUnavailableError):
            self.forward_once()
        self._writer.close()
        self._client.close()
        self._spool.close()


def _by_address(rows: Sequence[Row]) -> dict[str, list[tuple[int, float]]]:
    grouped: dict[str, list[tuple[int, float]]] = defaultdict(list)
    for name, ms, value in rows:
        grouped[name].append((ms, value))
    return dict(grouped)


def _lines(measurement: str, rows: Sequence[Row]) -> list[str]:
    """Line protocol; an unknown value is a field of its own, as NaN cannot be written."""
    return [
        f"{measurement},channel={name} value={value!r} {ms}"
        if value == value  # noqa: PLR0124 - false for NaN only
        else f"{measurement},channel={name} unknown=1 {ms}"
        for name, ms, value in rows
    ]


def _summary_lines(tags: str, summary: Summary) -> list[str]:
    columns = [c.tolist() for c in summary]
    return [
        f"{tags} mean={m!r},low={lo!r},high={hi!r},covered_s={c!r} {t}"
        for t, m, lo, hi, c in zip(*columns, strict=True)
    ]


def _runs(days: Iterable[int]) -> list[tuple[int, int]]:
    """First and last of each unbroken run of days."""
    ordered: IntArray = np.array(sorted(days), dtype=np.int64)
    if not len(ordered):
        return []
    parts = np.split(ordered, np.flatnonzero(np.diff(ordered) > 1) + 1)
    return [(int(p[0]), int(p[-1])) for p in parts]


def _in_order(parts: Sequence[Summary]) -> Summary:
    start: IntArray = np.concatenate([p.start_ms for p in parts])
    order = np.argsort(start, kind="stable")
    figures: list[FloatArray] = [
        np.concatenate(column)[order] for column in list(zip(*parts, strict=True))[1:]
    ]
    return Summary(start[order], *figures)
