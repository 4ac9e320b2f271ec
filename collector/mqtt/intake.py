"""From messages to readings: repeated deliveries known, payloads decoded, values screened."""

import zlib
from collections import deque
from collections.abc import Iterable
from typing import NamedTuple

from collector.mqtt.live import Live, Refused
from collector.mqtt.routes import Routes, is_there
from collector.payloads.decode import decode
from collector.payloads.screening import Screen
from collector.store.protocol import Row
from collector.store.spool import MARK_BATCHES


class Held(NamedTuple):
    """A message read but not yet acknowledged.

    The client's own message objects are not kept: with MQTT 5 each carries
    dozens of small containers, which cost the garbage collector half the time.
    """

    topic: str
    payload: bytes
    mid: int
    qos: int
    is_dup: bool
    is_retained: bool
    arrival_ms: int
    session: int


class Batch(NamedTuple):
    """Readings of some messages, screened once and written as often as it takes."""

    held: list[Held]
    rows: list[Row]
    marks: list[int]


class Intake:
    """Turns messages into rows for the store.

    Parameters
    ----------
    routes : Routes
        How to decode each topic.
    live : Live
        Gets the counts and what was refused.
    screens : dict of str to Screen
        Screening by address.
    delivered : iterable of int
        Marks of the newest batches the store has kept.
    """

    def __init__(
        self, routes: Routes, live: Live, screens: dict[str, Screen], delivered: Iterable[int]
    ) -> None:
        self._routes = routes
        self._live = live
        self._screens = screens
        self._delivered: deque[set[int]] = deque([set(delivered)], maxlen=MARK_BATCHES + 1)

    def forget(self) -> None:
        """The broker has begun a new session: its message numbers mean nothing of the old."""
        self._delivered.clear()

    def kept(self, batch: Batch) -> None:
        """The store has this batch: a message of it that comes again is known."""
        self._delivered.append(set(batch.marks))

    def screened(self, held: list[Held]) -> Batch:
        """Readings of messages, each delivery once."""
        rows: list[Row] = []
        marks: list[int] = []
        for one in held:
            if one.qos:
                mark = one.mid << 32 | zlib.crc32(one.payload)
                if one.is_dup and (
                    mark in marks or any(mark in known for known in self._delivered)
                ):
                    self._live.counts["", "redelivered"] += 1
                    continue
                marks.append(mark)
            self._take(one, rows)
        self._live.received += len(held)
        self._live.last_message_ms = held[-1].arrival_ms
        return Batch(held, rows, marks)

    def _take(self, held: Held, rows: list[Row]) -> None:
        arrival_ms = held.arrival_ms
        groups = self._routes.groups.get(held.topic)
        if groups is None:
            self._take_availability(held.topic, held.payload, arrival_ms)
            return

        def refuse(name: str, why: str) -> None:
            self._refuse(name, "undecodable", why, arrival_ms)

        for name, picked in decode(groups, held.payload, arrival_ms, refuse):
            if held.is_retained and picked.time_ms is None:
                self._live.counts[name, "retained"] += 1
                continue
            if admitted := self._screens[name].admit(picked, arrival_ms):
                rows.append((name, *admitted))

    def _take_availability(self, topic: str, payload: bytes, arrival_ms: int) -> None:
        names = self._routes.availability.get(topic)
        if names is None:
            self._refuse("", "unknown_topic", topic[:100], arrival_ms)
            return
        if (there := is_there(payload)) is not None:
            for name in names:
                self._live.there[name] = (there, arrival_ms)

    def _refuse(self, name: str, rule: str, why: str, arrival_ms: int) -> None:
        self._live.counts[name, rule] += 1
        self._live.refused.append(Refused(arrival_ms, name, rule, why))
