"""The MQTT session against a real broker: nothing lost, nothing doubled, nothing stale taken."""

import os
import ssl
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collecting import ENERGY, FLOW, POWER, Collecting, publish, publisher
from collector.files.settings import BrokerSettings, Tls
from collector.store.protocol import ALL_TIME
from collector.store.sqlite import SqliteStore
from servers import Mosquitto, OldBroker, wait_for


@pytest.fixture
def collecting(
    mosquitto: Mosquitto, tmp_path: Path, cleanup: ExitStack
) -> Callable[..., Collecting]:
    """Start collectors on the test's broker; they end with the test."""

    def start(name: str = "a", **broker: object) -> Collecting:
        chosen = BrokerSettings(
            **({"host": "127.0.0.1", "port": mosquitto.port, "client_id": name} | broker)  # type: ignore[arg-type]
        )
        made = Collecting(chosen, tmp_path / f"{name}.sqlite")
        cleanup.callback(made.stop)
        return made

    return start


@pytest.mark.smoke
@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
@pytest.mark.parametrize("qos", [0, 1])
def test_readings_arrive(
    mosquitto: Mosquitto, collecting: Callable[..., Collecting], protocol: str, qos: int
) -> None:
    """Messages of every form become readings, in both protocol versions."""
    one = collecting(protocol=protocol)
    publish(
        mosquitto.port,
        ("cellar/plug-2/state", '{"power": 42.5, "voltage": 231}'),
        ("cellar/pipe-1", "61.25"),
        ("cellar/meter", '[{"bn":"meter:","n":"energy","u":"Wh","v":1500,"t":1700000000}]'),
        qos=qos,
    )
    wait_for(lambda: one.live.stored == 3, what="three readings")
    assert one.values(POWER) == [42.5]
    assert one.values(FLOW) == [61.25]
    assert one.values(ENERGY) == [1.5]
    assert one.store.read(ENERGY, ALL_TIME).time_ms.tolist() == [1_700_000_000_000]


def test_broker_that_never_answers_mqtt_5_is_spoken_to_in_the_older_version(
    mosquitto: Mosquitto,
    collecting: Callable[..., Collecting],
    cleanup: ExitStack,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """After two greetings without an answer the collector turns to 3.1.1 and hears readings."""
    monkeypatch.setattr("collector.mqtt.subscriber._ANSWER_S", 0.5)
    old = OldBroker(mosquitto.port)
    cleanup.callback(old.stop)
    one = collecting(port=old.port)
    wait_for(lambda: one.live.subscribed, what="the subscription")
    publish(mosquitto.port, ("cellar/pipe-1", "48.5"))
    wait_for(lambda: one.values(FLOW) == [48.5], what="the reading")


def test_bad_messages_are_counted_and_stop_nothing(
    mosquitto: Mosquitto, collecting: Callable[..., Collecting]
) -> None:
    """Rubbish between good readings is counted by rule and shown; the good ones are stored."""
    one = collecting()
    bad = ['{"power": }', "\x00\xff\x13", '{"power": "lots"}', "[]", '{"volts": 3}', "1e999"]
    messages = [("cellar/plug-2/state", b) for b in bad]
    messages += [("cellar/plug-2/state", '{"power": 99999}'), ("cellar/pipe-1", "-127")]
    publish(mosquitto.port, *messages, ("cellar/plug-2/state", '{"power": 7}'))
    wait_for(lambda: one.live.received == 9, what="all messages")
    wait_for(lambda: one.values() == [7.0], what="the good reading")
    assert one.live.counts[POWER, "undecodable"] == 6
    assert one.live.counts[POWER, "out_of_range"] == 1
    assert one.live.counts[FLOW, "fault_code"] == 1
    assert {r.address for r in one.live.refused} == {POWER}


def test_retained_message_is_no_fresh_reading(
    mosquitto: Mosquitto, collecting: Callable[..., Collecting]
) -> None:
    """A kept message is counted, not stored, unless it bears its own time."""
    publish(
        mosquitto.port,
        ("cellar/pipe-1", "55"),
        ("cellar/plug-2/state", '{"power": 9, "time": "2023-11-14T22:13:20Z"}'),
        retain=True,
    )
    one = collecting()
    wait_for(lambda: one.live.counts[FLOW, "retained"] == 1, what="the kept message")
    wait_for(lambda: one.values(POWER) == [9.0], what="the dated one")
    assert one.values(FLOW) == []
    assert one.store.read(POWER, ALL_TIME).time_ms.tolist() == [1_700_000_000_000]


def test_broker_restart_loses_nothing(
    mosquitto: Mosquitto, collecting: Callable[..., Collecting]
) -> None:
    """The session is taken up again after the broker restarts, with what it kept meanwhile."""
    one = collecting()
    publish(mosquitto.port, ("cellar/pipe-1", "50"))
    wait_for(lambda: one.live.stored == 1)
    mosquitto.stop()
    wait_for(lambda: one.live.connected_since_ms is None, what="the loss to be noticed")
    assert one.live.trouble is not None
    mosquitto.start()
    publish(mosquitto.port, ("cellar/pipe-1", "51"))
    wait_for(lambda: one.values(FLOW) == [50.0, 51.0], what="both readings")
    assert one.live.trouble is None


def test_messages_queued_while_away_arrive_once(
    mosquitto: Mosquitto, collecting: Callable[..., Collecting], tmp_path: Path
) -> None:
    """A collector that was stopped gets what the broker kept for it."""
    one = collecting()
    one.stop()
    publish(mosquitto.port, *[("cellar/plug-2/state", f'{{"power": {i}}}') for i in range(200)])
    two = collecting()
    wait_for(lambda: len(two.values()) == 200, what="the kept messages")
    assert two.values() == [float(i) for i in range(200)]


def collecting_child(port: int, path: Path) -> Any:
    """A collecting process of its own, once it is subscribed."""
    here = Path(__file__).parents[1]
    child = subprocess.Popen(
        [sys.executable, str(here / "collect_child.py"), str(port), str(path)],
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(map(str, (here.parents[1], here.parent)))},
    )
    assert child.stdout is not None
    assert child.stdout.readline() == "ready\n"
    return child


@pytest.mark.parametrize("limit", ["", "max_inflight_messages 20\n"])
def test_collector_killed_under_load_loses_and_doubles_nothing(
    tmp_path: Path, cleanup: ExitStack, limit: str
) -> None:
    """Kill -9 of the collecting process, twice: every message becomes exactly one reading."""
    folder = tmp_path / "broker"
    folder.mkdir()
    broker = Mosquitto(folder, "allow_anonymous true\n" + limit)
    cleanup.callback(broker.stop, hard=True)
    child = collecting_child(broker.port, tmp_path / "s.sqlite")
    client = publisher(broker.port)
    n = 6000
    for i in range(n):
        info = client.publish("cellar/plug-2/state", f'{{"power": {i}}}', qos=1)
        if i % 50 == 0:
            info.wait_for_publish(10)
        if i in (2000, 4000):
            child.kill()
            child.wait()
            child.stdout.close()
            child = collecting_child(broker.port, tmp_path / "s.sqlite")
    info.wait_for_publish(10)
    client.disconnect()
    client.loop_stop()
    cleanup.callback(child.stdout.close)
    cleanup.callback(child.wait)
    cleanup.callback(child.kill)
    reader = SqliteStore(tmp_path / "s.sqlite")
    cleanup.callback(reader.close)
    wait_for(lambda: len(reader.read(POWER, ALL_TIME)) >= n, 30, "all readings")
    time.sleep(0.5)
    assert sorted(reader.read(POWER, ALL_TIME).value.tolist()) == [float(i) for i in range(n)]


def test_shared_subscription_splits_the_load(
    mosquitto: Mosquitto, collecting: Callable[..., Collecting]
) -> None:
    """Two collectors of one group get every message once between them."""
    one, two = collecting("one", share="cellar"), collecting("two", share="cellar")
    publish(mosquitto.port, *[("cellar/plug-2/state", f'{{"power": {i}}}') for i in range(300)])
    wait_for(lambda: len(one.values()) + len(two.values()) == 300, what="all readings")
    assert sorted(one.values() + two.values()) == [float(i) for i in range(300)]
    assert one.values()
    assert two.values()


def test_availability_is_understood(
    mosquitto: Mosquitto, collecting: Callable[..., Collecting]
) -> None:
    """A device's last will beside its topic marks its channels as gone, and back."""
    one = collecting()
    publish(mosquitto.port, ("cellar/plug-2/LWT", "Offline"), retain=True)
    wait_for(lambda: one.live.there.get(POWER, (True, 0))[0] is False, what="the loss")
    publish(mosquitto.port, ("cellar/plug-2/LWT", "Online"), retain=True)
    wait_for(lambda: one.live.there[POWER][0] is True, what="the return")


def test_own_last_will_tells_of_a_dead_collector(
    mosquitto: Mosquitto, tmp_path: Path, cleanup: ExitStack
) -> None:
    """When the collecting process dies the broker publishes so, for anybody to watch."""
    child = collecting_child(mosquitto.port, tmp_path / "s.sqlite")
    cleanup.callback(child.stdout.close)
    said: list[bytes] = []
    client = publisher(mosquitto.port)
    client.on_message = lambda _c, _d, m: said.append(bytes(m.payload))
    client.subscribe("stokehold/child/state", 1)
    wait_for(lambda: said == [b"ready"], what="the live state")
    child.kill()
    child.wait()
    wait_for(lambda: said[-1] == b"lost", what="the last will")
    client.disconnect()
    client.loop_stop()


def test_user_and_password(
    tmp_path: Path, cleanup: ExitStack, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The right password opens, a wrong one is told with what to check."""
    folder = tmp_path / "broker"
    folder.mkdir()
    users = folder / "users"
    users.write_text("cellar:keys\n")
    users.chmod(0o600)
    subprocess.run(["mosquitto_passwd", "-U", str(users)], check=True)
    broker = Mosquitto(folder, f"allow_anonymous false\npassword_file {users}\n")
    cleanup.callback(broker.stop, hard=True)
    chosen = BrokerSettings(host="127.0.0.1", port=broker.port, username="cellar")
    monkeypatch.setenv("STOKEHOLD_BROKER_PASSWORD", "wrong")
    refused = Collecting(chosen, tmp_path / "refused.sqlite")
    cleanup.callback(refused.stop)
    wait_for(lambda: "refuses us" in (refused.live.trouble or ""), what="the refusal")
    assert "check username, password" in (refused.live.trouble or "")
    monkeypatch.setenv("STOKEHOLD_BROKER_PASSWORD", "keys")
    accepted = Collecting(chosen, tmp_path / "accepted.sqlite")
    cleanup.callback(accepted.stop)
    wait_for(lambda: accepted.live.connected_since_ms, what="the connection")


def certificates(folder: Path) -> None:
    """A CA, and a certificate each for broker and collector, made by openssl."""
    run = ["openssl"]
    subprocess.run(
        [*run, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=ca",
         "-keyout", "ca.key", "-out", "ca.pem", "-addext", "keyUsage=critical,keyCertSign"],
        cwd=folder, check=True, capture_output=True,
    )  # fmt: skip
    for name in ("server", "client"):
        (folder / f"{name}.ext").write_text("subjectAltName=IP:127.0.0.1\n")
        subprocess.run(
            [*run, "req", "-newkey", "rsa:2048", "-nodes", "-subj", f"/CN={name}",
             "-keyout", f"{name}.key", "-out", f"{name}.csr"],
            cwd=folder, check=True, capture_output=True,
        )  # fmt: skip
        subprocess.run(
            [*run, "x509", "-req", "-in", f"{name}.csr", "-CA", "ca.pem", "-CAkey", "ca.key",
             "-days", "2", "-out", f"{name}.pem", "-extfile", f"{name}.ext"],
            cwd=folder, check=True, capture_output=True,
        )  # fmt: skip


def test_tls_with_client_certificate(tmp_path: Path, cleanup: ExitStack) -> None:
    """An encrypted connection with certificates on both sides carries readings."""
    folder = tmp_path / "broker"
    folder.mkdir()
    certificates(folder)
    broker = Mosquitto(
        folder,
        f"cafile {folder}/ca.pem\ncertfile {folder}/server.pem\nkeyfile {folder}/server.key\n"
        "require_certificate true\nallow_anonymous true\n",
    )
    cleanup.callback(broker.stop, hard=True)
    tls = Tls(
        ca=str(folder / "ca.pem"),
        certificate=str(folder / "client.pem"),
        key=str(folder / "client.key"),
    )
    chosen = BrokerSettings(host="127.0.0.1", port=broker.port, tls=tls)
    one = Collecting(chosen, tmp_path / "s.sqlite")
    cleanup.callback(one.stop)
    wait_for(lambda: one.live.connected_since_ms, what="the connection")
    context = ssl.create_default_context(cafile=folder / "ca.pem")
    context.load_cert_chain(folder / "client.pem", folder / "client.key")
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.tls_set_context(context)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    for i in range(300):
        client.publish("cellar/pipe-1", str(40 + i / 100), qos=1)
    wait_for(lambda: len(one.values(FLOW)) == 300, what="the readings over TLS")
    client.disconnect()
    client.loop_stop()


def test_store_away_holds_messages_unacknowledged(
    mosquitto: Mosquitto, collecting: Callable[..., Collecting]
) -> None:
    """With store and spool full nothing is lost; all comes in once there is room."""
    one = collecting()
    for connection in (one.store._writer, one.store._spool._connection):
        (pages,) = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count = {pages}")
    publish(mosquitto.port, *[("cellar/plug-2/state", f'{{"power": {i}}}') for i in range(3000)])
    wait_for(lambda: "disk is full" in (one.live.trouble or ""), what="the trouble to be told")
    for connection in (one.store._writer, one.store._spool._connection):
        connection.execute("PRAGMA max_page_count = 1000000")
    wait_for(lambda: len(one.values()) == 3000, what="all readings")
    assert one.values() == [float(i) for i in range(3000)]
