"""Readings on a time-series server as they are read, with those that still wait to be sent."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import numpy as np
from influxdb_client import InfluxDBClient

from analysis.base.time import DAY_MS, Span
from analysis.plant.plant import Channel
from analysis.readings.readings import (
    FloatArray,
    IntArray,
    Readings,
    Summary,
    hold_limit_ms,
    summarise,
)
from collector.files.settings import StoreSettings
from collector.store.protocol import ALL_TIME, LEAD_MS, STEP_MS, Row, Step, clock_ms
from collector.store.server_query import Dialect, ExportDialect, FluxDialect, Http, Series
from collector.store.spool import Waiting, waiting_in

_FIGURES = ("mean", "low", "high", "covered_s")


class ServerReader:
    """Readings on a server, opened to be read only; satisfies `collector.store.protocol.Readable`.

    Parameters
    ----------
    settings : StoreSettings
        Address, organisation and bucket.
    spool : Path
        The collector's local file in which batches wait; neither made nor changed.
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
        waiting = self._waiting(spool)
        self._unsummed = waiting.unsummed
        self._recent = {b.seq: by_address(b.rows) for b in waiting.batches}
        self._last: dict[str, tuple[int, float]] = {}
        self._dialect_found: Dialect | None = None

    def _waiting(self, spool: Path) -> Waiting:
        """What waits in the spool when this is opened."""
        return waiting_in(spool)

    def _measure(self, what: str) -> str:
        return f"{self._settings.bucket}_{what}"

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
        for a, b in runs(open_days):
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

    def close(self) -> None:
        """Let go of the connections."""
        self._client.close()


def runs(days: Iterable[int]) -> list[tuple[int, int]]:
    """First and last of each unbroken run of days."""
    ordered: IntArray = np.array(sorted(days), dtype=np.int64)
    if not len(ordered):
        return []
    parts = np.split(ordered, np.flatnonzero(np.diff(ordered) > 1) + 1)
    return [(int(p[0]), int(p[-1])) for p in parts]


def by_address(rows: Sequence[Row]) -> dict[str, list[tuple[int, float]]]:
    """Times and values of each channel."""
    grouped: dict[str, list[tuple[int, float]]] = defaultdict(list)
    for name, ms, value in rows:
        grouped[name].append((ms, value))
    return dict(grouped)


def _in_order(parts: Sequence[Summary]) -> Summary:
    start: IntArray = np.concatenate([p.start_ms for p in parts])
    order = np.argsort(start, kind="stable")
    figures: list[FloatArray] = [
        np.concatenate(column)[order] for column in list(zip(*parts, strict=True))[1:]
    ]
    return Summary(start[order], *figures)
