"""Publishes readings as MQTT messages, in the form the plant file describes for each channel."""

import heapq
import threading
import time
from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any

import orjson
from jsonpointer import JsonPointer

from analysis.base.time import SECOND_MS, format_rfc3339
from analysis.plant.plant import Channel
from analysis.readings.readings import Readings
from collector.errors import BrokerError
from collector.files.settings import BROKER_PASSWORD, Settings
from collector.mqtt.client import Message, plain_client
from collector.payloads.units import conversion
from collector.store.protocol import clock_ms

_QUEUE = 2000


def messages(channels: Mapping[str, Channel], record: Mapping[str, Readings]) -> Iterator[Message]:
    """Messages for readings, in order of time; readings of one topic and moment share one.

    JSON messages carry the readings' own time, so that a fast replay keeps it;
    plain numbers and Homie cannot.

    Parameters
    ----------
    channels : mapping of str to Channel
        Channels with topics, by id.
    record : mapping of str to Readings
        What to publish; channels without topic are left out.
    """
    by_topic: dict[str, list[Channel]] = defaultdict(list)
    for name, channel in channels.items():
        if channel.topic and name in record:
            by_topic[channel.topic].append(channel)
    streams = [_topic_messages(t, members, record) for t, members in by_topic.items()]
    yield from heapq.merge(*streams, key=lambda m: m.time_ms)


def _topic_messages(
    topic: str, members: list[Channel], record: Mapping[str, Readings]
) -> Iterator[Message]:
    converted = [(c, conversion(c.unit, c.quantity).inverse()) for c in members]
    streams = [
        zip(
            record[c.id].time_ms.tolist(),
            [i] * len(record[c.id]),
            record[c.id].value.tolist(),
            strict=True,
        )
        for i, c in enumerate(members)
    ]
    moment: dict[int, float] = {}
    at = None
    for time_ms, i, value in heapq.merge(*streams):
        if time_ms != at and moment and at is not None:
            yield from _encoded(topic, at, [(members[k], v) for k, v in moment.items()])
            moment = {}
        at = time_ms
        scale, offset = converted[i][1]
        moment[i] = float(f"{value * scale + offset:.12g}")
    if moment and at is not None:
        yield from _encoded(topic, at, [(members[k], v) for k, v in moment.items()])


def _encoded(topic: str, time_ms: int, values: list[tuple[Channel, float]]) -> Iterator[Message]:
    """Messages for the values of one topic at one moment."""
    pack: list[dict[str, Any]] = []
    content: dict[str, Any] = {}
    for channel, value in values:
        known = None if value != value else value  # noqa: PLR0124 - true for NaN only
        if channel.payload.startswith("senml:"):
            name = channel.payload.removeprefix("senml:")
            pack.append({"n": name, "t": time_ms / SECOND_MS, "v": known})
        elif channel.payload.startswith("/"):
            _place(content, JsonPointer(channel.payload).parts, known)
        elif known is not None:
            yield Message(time_ms, topic, repr(known).encode())
    if content:
        content["time"] = format_rfc3339(time_ms)
        yield Message(time_ms, topic, orjson.dumps(content))
    if pack := [p for p in pack if p["v"] is not None]:
        yield Message(time_ms, topic, orjson.dumps(pack))


def _place(content: dict[str, Any], parts: list[str], value: float | None) -> None:
    for part in parts[:-1]:
        content = content.setdefault(part, {})
    content[parts[-1]] = value


class Publisher:
    """Publishes with QoS 1 and waits for the broker's answers.

    Parameters
    ----------
    settings : Settings
        Which broker, and how to get in.

    Raises
    ------
    BrokerError
        The broker cannot be reached.
    """

    def __init__(self, settings: Settings) -> None:
        chosen = settings.broker
        password = settings.secret(BROKER_PASSWORD, chosen.password_file)
        self._client = plain_client(settings, password)
        self._client.max_inflight_messages_set(_QUEUE)
        host, port = chosen.host or chosen.listen, chosen.used_port
        try:
            self._client.connect(host, port)
        except (OSError, ValueError) as error:
            raise BrokerError(
                f"{host}:{port}: no broker answers ({error}); start it, or check host and port"
            ) from error
        self._client.loop_start()
        self._open: list[Any] = []

    def publish(self, message: Message) -> None:
        """Publish one message; blocks while too many are unanswered."""
        self._open.append(self._client.publish(message.topic, message.payload, qos=1))
        if len(self._open) >= _QUEUE:
            self.settle()

    def settle(self) -> None:
        """Wait until the broker has answered for everything.

        Raises
        ------
        BrokerError
            It does not answer.
        """
        for info in self._open:
            info.wait_for_publish(30)
            if not info.is_published():
                raise BrokerError("the broker does not answer; messages may not have arrived")
        self._open.clear()

    def close(self) -> None:
        """Settle and leave."""
        try:
            self.settle()
        finally:
            self._client.disconnect()
            self._client.loop_stop()


def publish_when_due(
    stream: Iterator[Message], publisher: Publisher, *, stop: threading.Event
) -> None:
    """Publish messages at the time of day they are dated; what is past, at once."""
    for message in stream:
        while (early_ms := message.time_ms - clock_ms()) > 0:
            publisher.settle()
            if stop.wait(early_ms / SECOND_MS):
                return
        publisher.publish(message)
    publisher.settle()


def replay(
    stream: Iterator[Message],
    publisher: Publisher,
    *,
    speed: float,
    stop: threading.Event | None = None,
) -> int:
    """Publish messages with their distances in time divided by `speed`.

    Parameters
    ----------
    stream : iterator of Message
        In order of time.
    publisher : Publisher
        Where to.
    speed : float
        1 is real time, 0 as fast as the broker takes them.
    stop : Event, optional
        Ends early.

    Returns
    -------
    int
        Messages published.
    """
    stop = stop or threading.Event()
    began, first, count = time.monotonic(), None, 0
    for message in stream:
        first = message.time_ms if first is None else first
        if speed > 0:
            due = began + (message.time_ms - first) / SECOND_MS / speed
            if stop.wait(max(0.0, due - time.monotonic())):
                break
        elif stop.is_set():
            break
        publisher.publish(message)
        count += 1
    publisher.settle()
    return count
