"""The MQTT session: one thread that reads messages, stores them in batches and acknowledges.

Everything happens in the one thread that calls `run`: while a batch is being committed the
socket is not read, so that a slow disk holds the broker back instead of filling memory, and
no message is acknowledged before its readings are durable.
"""

import contextlib
import logging
import random
import select
import time
from collections import deque
from collections.abc import Mapping
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from collector.errors import StoreUnavailableError
from collector.files.settings import BROKER_PASSWORD, Settings
from collector.mqtt.client import plain_client
from collector.mqtt.intake import Batch, Held, Intake
from collector.mqtt.live import Live
from collector.mqtt.routes import Routes
from collector.payloads.screening import Screen
from collector.store.protocol import Store, clock_ms

_log = logging.getLogger(__name__)

_RECEIVE_MAXIMUM = 20_000
_FEW = 10
"""A broker that hands out few messages at a time waits for us once so many are unanswered."""
_STALL_S = 0.02
_TOPICS_A_PACKET = 200
_LONGEST_PAUSE_S = 30.0
_ANSWER_S = 5.0
"""A broker that has not answered our greeting after this long will not."""
_SILENT_REFUSALS = 2
"""A broker that hangs up so often without a word may not understand MQTT 5."""


class Subscriber:
    """Collects the readings of all routes into a store.

    Parameters
    ----------
    settings : Settings
        Broker and batching.
    routes : Routes
        What to subscribe to and how to decode it.
    store : Store
        Where readings go.
    live : Live
        Gets the newest values and the counts.
    screens : dict of str to Screen
        Screening by address.
    """

    def __init__(
        self,
        settings: Settings,
        routes: Routes,
        store: Store,
        *,
        live: Live,
        screens: dict[str, Screen],
    ) -> None:
        self._broker = settings.broker
        self._collect = settings.collect
        self._password = settings.secret(BROKER_PASSWORD, settings.broker.password_file)
        self._settings = settings
        self._routes = routes
        self._store = store
        self._live = live
        self._screens = screens
        self._resume(store.latest())
        self._inbox: deque[Held] = deque()
        self._pending: Batch | None = None
        self._intake = Intake(routes, live, screens, store.delivered())
        self._session = 0
        self._failures = 0
        self._unanswered = 0
        self._asked_at = 0.0
        self._was_refused = False
        self._protocol = mqtt.MQTTv5 if self._broker.protocol == "5" else mqtt.MQTTv311
        self._stopping = False
        self._client = self._make_client()

    def _resume(self, latest: Mapping[str, tuple[int, float]]) -> None:
        """Go on from the last readings kept, so that no arrival takes the time of one of them."""
        self._live.resume(latest)
        for name, (time_ms, value) in latest.items():
            if name in self._screens:
                self._screens[name].resume(time_ms, value)

    # session

    def _make_client(self) -> mqtt.Client:
        chosen = self._broker
        extra: dict[str, Any] = {}
        if self._protocol == mqtt.MQTTv311:
            extra["clean_session"] = False
        client = plain_client(
            self._settings,
            self._password,
            client_id=chosen.used_client_id,
            protocol=self._protocol,
            manual_ack=True,
            **extra,
        )
        client.will_set(self._state_topic, "lost", qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        client.on_subscribe = self._on_subscribe
        return client

    @property
    def _state_topic(self) -> str:
        return f"stokehold/{self._broker.used_client_id}/state"

    def _connect(self) -> None:
        chosen = self._broker
        extra: dict[str, Any] = {}
        if self._protocol == mqtt.MQTTv5:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            properties.SessionExpiryInterval = chosen.session_expiry_s
            properties.ReceiveMaximum = _RECEIVE_MAXIMUM
            extra = {"clean_start": False, "properties": properties}
        host = chosen.host or chosen.listen
        self._asked_at = time.monotonic()
        self._was_refused = False
        self._client.connect(host, chosen.used_port, keepalive=chosen.keepalive_s, **extra)

    def _on_connect(
        self, client: mqtt.Client, _data: Any, flags: Any, reason: ReasonCode, _properties: Any
    ) -> None:
        if reason.is_failure:
            self._refused(str(reason))
            return
        self._session += 1
        self._failures = self._unanswered = 0
        self._live.connected_since_ms = clock_ms()
        self._live.subscribed = 0
        self._live.trouble = None
        if not flags.session_present:
            self._intake.forget()
        share = f"$share/{self._broker.share}/" if self._broker.share else ""
        topics = [(share + topic, 1) for topic in self._routes.topics()]
        for a in range(0, len(topics), _TOPICS_A_PACKET):
            client.subscribe(topics[a : a + _TOPICS_A_PACKET])
        client.publish(self._state_topic, "ready", qos=1, retain=True)
        _log.info("broker=connected topics=%d session_kept=%s", len(topics), flags.session_present)

    def _refused(self, reason: str) -> None:
        if "protocol version" in reason.lower() and self._protocol == mqtt.MQTTv5:
            self._speak_older()
            return
        self._was_refused = True
        self._trouble(f"the broker refuses us: {reason}; check username, password and client_id")

    def _speak_older(self) -> None:
        _log.info("broker=speaks no MQTT 5, going on with 3.1.1")
        self._protocol = mqtt.MQTTv311
        self._client = self._make_client()

    def _on_disconnect(
        self, _client: mqtt.Client, _data: Any, _flags: Any, reason: ReasonCode, _props: Any
    ) -> None:
        if self._was_refused:
            return
        if self._live.connected_since_ms is None and self._protocol == mqtt.MQTTv5:
            self._unanswered += 1
            if self._unanswered >= _SILENT_REFUSALS:
                self._speak_older()
        # The reason first: whoever sees that the connection is gone shall find it.
        if not self._stopping:
            self._trouble(f"connection to the broker lost: {reason}")
        self._live.connected_since_ms = None

    def _on_subscribe(
        self, _client: mqtt.Client, _data: Any, _mid: int, reasons: list[ReasonCode], _p: Any
    ) -> None:
        refused = [str(r) for r in reasons if r.is_failure]
        self._live.subscribed += len(reasons) - len(refused)
        if refused:
            self._trouble(
                f"the broker refuses {len(refused)} subscriptions ({refused[0]}); "
                "check its access list"
            )

    def _on_message(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        self._inbox.append(
            Held(
                message.topic,
                bytes(message.payload),
                message.mid,
                message.qos,
                message.dup,
                message.retain,
                time.time_ns() // 1_000_000,
                self._session,
            )
        )

    def _trouble(self, what: str) -> None:
        """Tell a trouble once, not at every retry."""
        if what != self._live.trouble:
            _log.warning("broker=%s", what)
        self._live.trouble = what

    # the loop

    def run(self) -> None:
        """Collect until `stop` is called; outlives every loss of broker and store."""
        while not self._stopping:
            if self._client.socket() is None and not self._reconnect():
                continue
            self._wait_and_read()
            self._client.loop_misc()
            self._hang_up_on_silence()
            self._store_when_due()
        self._finish()

    def stop(self) -> None:
        """Ask `run` to end; may be called from another thread."""
        self._stopping = True

    def _reconnect(self) -> bool:
        if self._failures:
            pause = random.uniform(0, min(_LONGEST_PAUSE_S, 1.5**self._failures))  # noqa: S311
            end = time.monotonic() + pause
            while time.monotonic() < end and not self._stopping:
                time.sleep(0.05)
                self._store_when_due()
        try:
            self._connect()
        except (OSError, ValueError) as error:
            self._failures += 1
            self._trouble(
                f"{self._broker.host or self._broker.listen}:{self._broker.used_port} cannot be "
                f"reached ({error}); start the broker, or check [broker]"
            )
            return False
        self._failures += 1  # taken back once the broker accepts us
        return True

    def _hang_up_on_silence(self) -> None:
        """Some brokers misread MQTT 5 and wait for more, for ever."""
        waits = self._live.connected_since_ms is None and self._client.socket() is not None
        if waits and time.monotonic() - self._asked_at > _ANSWER_S:
            self._client.disconnect()
            self._client.loop_write()

    def _wait_and_read(self) -> None:
        sock = self._client.socket()
        if sock is None:
            return
        room = len(self._inbox) < self._collect.queue_size
        wants_write = [sock] if self._client.want_write() else []
        pending = getattr(sock, "pending", None)
        with contextlib.suppress(OSError, ValueError):
            buffered = room and pending is not None and pending() > 0
            timeout = 0.0 if buffered else self._timeout()
            readable, writable, _ = select.select([sock] if room else [], wants_write, [], timeout)
            if readable or buffered:
                self._read_all()
            if writable:
                self._client.loop_write()

    def _read_all(self) -> None:
        """Read packets until there are none or the batch is full."""
        for _ in range(self._collect.batch_size):
            before = len(self._inbox)
            if self._client.loop_read() != mqtt.MQTT_ERR_SUCCESS or len(self._inbox) == before:
                return

    def _timeout(self) -> float:
        if not self._inbox:
            return 0.2
        if len(self._inbox) >= _FEW:
            return _STALL_S
        return max(0.0, self._collect.batch_age_s - self._age_s())

    def _age_s(self) -> float:
        return (clock_ms() - self._inbox[0].arrival_ms) / 1000 if self._inbox else 0.0

    def _store_when_due(self) -> None:
        many = len(self._inbox)
        if self._pending or (
            many
            and (
                many >= self._collect.batch_size
                or self._age_s() >= self._collect.batch_age_s
                or (many >= _FEW and self._is_stalled())
            )
        ):
            self._store_batch()

    def _is_stalled(self) -> bool:
        """Nothing came for a moment: the broker may be waiting for our answers."""
        return (clock_ms() - self._inbox[-1].arrival_ms) / 1000 >= _STALL_S

    def _store_batch(self) -> None:
        if self._pending is None:
            size = min(len(self._inbox), self._collect.batch_size)
            self._pending = self._intake.screened([self._inbox.popleft() for _ in range(size)])
        batch = self._pending
        try:
            if batch.rows or batch.marks:
                self._store.write(batch.rows, batch.marks)
        except StoreUnavailableError as error:
            self._trouble(f"readings wait in memory: {error}")
            time.sleep(0.2)
            return
        self._pending = None
        self._intake.kept(batch)
        for held in batch.held:
            if held.qos and held.session == self._session:
                self._client.ack(held.mid, held.qos)
        self._live.took(batch.rows)

    def _finish(self) -> None:
        """Store what is read, say goodbye, keep the session for next time."""
        while self._inbox or self._pending:
            before = self._pending
            self._store_batch()
            if self._pending is not None and self._pending is before:
                break
        if self._client.is_connected():
            self._client.publish(self._state_topic, "offline", qos=1, retain=True)
            self._client.disconnect()
            self._client.loop_write()
