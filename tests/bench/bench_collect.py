"""Collecting against a bare subscriber: both drain the same queue of a real broker.

Prints messages a second, their ratio, and the growth of memory while collecting. The target is
0.6 of a bare paho subscriber with an empty callback. Run: python tests/bench/bench_collect.py [N]
"""

import resource
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from analysis.plant.plant import Channel, Plant, Pump
from collector.files.settings import BrokerSettings, Settings
from collector.mqtt.live import Live
from collector.mqtt.routes import routes_for
from collector.mqtt.subscriber import Subscriber
from collector.payloads.screening import screens_for
from collector.store.protocol import addresses
from collector.store.sqlite import SqliteStore
from servers import Mosquitto

PLANT = Plant(
    name="bench",
    timezone="UTC",
    pumps=tuple(Pump(id=f"p{i}", drive="electronic") for i in range(10)),
    channels=tuple(
        Channel(
            id=f"p{i}.power", of=f"p{i}", quantity="power", unit="W",
            topic=f"cellar/plug-{i}/state", payload="/power",
        )
        for i in range(10)
    ),
)  # fmt: skip
TOPICS = [(c.topic or "", 1) for c in PLANT.channels]
PUBLISH = """
import sys
import paho.mqtt.client as m
c = m.Client(m.CallbackAPIVersion.VERSION2)
c.max_inflight_messages_set(2000)
c.connect("127.0.0.1", int(sys.argv[1]))
c.loop_start()
for i in range(int(sys.argv[2])):
    payload = '{"power": %d.%d, "voltage": 231.2}' % (i % 60, i % 10)
    info = c.publish("cellar/plug-%d/state" % (i % 10), payload, 1)
    if i % 5000 == 0:
        info.wait_for_publish()
info.wait_for_publish()
c.disconnect()
"""


def client(name: str, protocol: int) -> mqtt.Client:
    """A client whose session outlives its connection."""
    extra = {} if protocol == mqtt.MQTTv5 else {"clean_session": False}
    return mqtt.Client(CallbackAPIVersion.VERSION2, client_id=name, protocol=protocol, **extra)


def connect(one: mqtt.Client, protocol: int, port: int) -> None:
    """Connect to the session kept."""
    if protocol != mqtt.MQTTv5:
        one.connect("127.0.0.1", port)
        return
    properties = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = 3600
    properties.ReceiveMaximum = 20_000
    one.connect("127.0.0.1", port, properties=properties, clean_start=False)


def subscribe(name: str, protocol: int, port: int) -> None:
    """Open a session that collects messages from now on."""
    one, done = client(name, protocol), threading.Event()
    one.on_connect = lambda *_: one.subscribe(TOPICS)
    one.on_subscribe = lambda *_: done.set()
    connect(one, protocol, port)
    while not done.is_set():
        one.loop(0.05)
    one.disconnect()
    one.loop(0.1)


def bare(protocol: int, port: int, n: int) -> float:
    """Messages a second into an empty callback."""
    one, seen = client("bare", protocol), [0]

    def count(*_: object) -> None:
        seen[0] += 1

    one.on_message = count
    connect(one, protocol, port)
    began = time.perf_counter()
    one.loop_start()
    while seen[0] < n:
        time.sleep(0.01)
    rate = n / (time.perf_counter() - began)
    one.disconnect()
    one.loop_stop()
    return rate


def memory_mb() -> float:
    """Greatest memory of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def ours(protocol: int, port: int, n: int, folder: Path) -> tuple[float, float]:
    """Messages a second to durable rows, and memory grown after the first tenth."""
    word = "5" if protocol == mqtt.MQTTv5 else "3.1.1"
    broker = BrokerSettings(host="127.0.0.1", port=port, client_id="ours", protocol=word)  # type: ignore[arg-type]
    channels = addresses([PLANT])
    store, live = SqliteStore(folder / f"{word}.sqlite", channels), Live()
    subscriber = Subscriber(
        Settings(broker=broker, folder=folder), routes_for([PLANT]), store, live=live,
        screens=screens_for(channels, live.counts),
    )  # fmt: skip
    began, early = time.perf_counter(), 0.0
    thread = threading.Thread(target=subscriber.run)
    thread.start()
    while live.stored < n:
        time.sleep(0.01)
        if not early and live.stored > n / 10:
            early = memory_mb()
    rate = n / (time.perf_counter() - began)
    subscriber.stop()
    thread.join()
    store.close()
    return rate, memory_mb() - early


def main(n: int) -> None:
    """Print the table."""
    print(f"{n} messages, QoS 1, JSON payload, Mosquitto on this machine")
    print("protocol   bare msg/s   ours msg/s   ratio (target 0.60)   memory grown MB")
    with tempfile.TemporaryDirectory() as text:
        folder = Path(text)
        broker = Mosquitto(folder, "allow_anonymous true\nmax_inflight_messages 0\n")
        for protocol, word in ((mqtt.MQTTv5, "5"), (mqtt.MQTTv311, "3.1.1")):
            for name in ("bare", "ours"):
                subscribe(name, protocol, broker.port)
            subprocess.run([sys.executable, "-c", PUBLISH, str(broker.port), str(n)], check=True)
            plain = bare(protocol, broker.port, n)
            rate, grown = ours(protocol, broker.port, n, folder)
            print(f"{word:<8} {plain:>12.0f} {rate:>12.0f} {rate / plain:>10.2f} {grown:>26.1f}")
        broker.stop(hard=True)


main(int(sys.argv[1]) if len(sys.argv) > 1 else 200_000)
