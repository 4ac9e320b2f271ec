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
from influxdb_client import WritePrecision
from influxdb_client.client.write_api import SYNCHRONOUS
from influxdb_client.rest import ApiException

from analysis.base.time import DAY_MS, Span
from analysis.plant.plant import Channel
from analysis.readings.readings import Readings, Summary
from collector.errors import StoreUnavailableError
from collector.files.settings import StoreSettings
from collector.store.protocol import STEP_MS, Row, clock_ms
from collector.store.server_reader import ServerReader, by_address, runs
from collector.store.spool import Spool, Waiting

_log = logging.getLogger(__name__)

KEEP_MS = 120_000
"""A server killed under load lost up to 8 s that it had acknowledged; this is far more."""
_CHECK_MS = 5_000
_BULK = 50_000


class ServerStore(ServerReader):
    """Readings on a server; satisfies `collector.store.protocol.Store`.

    Parameters as in `ServerReader`; the spool is made where absent.

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
        self._spool = Spool(spool)
        super().__init__(settings, spool, channels=channels, token=token)
        self._writer = self._client.write_api(write_options=SYNCHRONOUS)
        self._checked_ms = 0
        self._wake = threading.Event()
        self._closing = False
        self._forwarder = threading.Thread(target=self._forward, name="forwarder", daemon=True)
        self._forwarder.start()

    def _waiting(self, spool: Path) -> Waiting:  # noqa: ARG002 - it is open already
        """What waits in the spool, by the connection that writes it."""
        return self._spool.waiting()

    # writing

    def write(self, rows: Sequence[Row], marks: Sequence[int] = ()) -> None:
        """Commit a batch to the spool; it reaches the server soon after."""
        days = {(a, t // DAY_MS) for a, t, _ in rows} - self._unsummed
        seq = self._spool.put(rows, marks, days)
        self._unsummed |= days
        self._recent[seq] = by_address(rows)
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
            for a, b in runs(days):
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
        super().close()
        self._spool.close()


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
