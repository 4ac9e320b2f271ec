"""A collector over a store of its own, and messages for it, shared by several tests."""

import threading
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from analysis.plant.plant import Channel, Plant, Pump
from collector.files.settings import BrokerSettings, CollectSettings, Settings
from collector.mqtt.live import Live
from collector.mqtt.routes import routes_for
from collector.mqtt.subscriber import Subscriber
from collector.payloads.screening import screens_for
from collector.store.protocol import ALL_TIME, addresses
from collector.store.sqlite import SqliteStore
from servers import wait_for

PLANT = Plant(
    name="Quay",
    timezone="UTC",
    pumps=(Pump(id="heating", drive="electronic"),),
    channels=(
        Channel(
            id="heating.power", of="heating", quantity="power", unit="W",
            topic="cellar/plug-2/state", payload="/power",
        ),
        Channel(
            id="boiler.flow", of="plant", quantity="temperature", unit="Cel", place="flow",
            topic="cellar/pipe-1", payload="",
        ),
        Channel(
            id="boiler.energy", of="plant", quantity="energy", unit="kW.h",
            topic="cellar/meter", payload="senml:meter:energy",
        ),
    ),
)  # fmt: skip
POWER = "quay/heating.power"
FLOW = "quay/boiler.flow"
ENERGY = "quay/boiler.energy"


class Collecting:
    """A subscriber running in a thread over a store of its own."""

    def __init__(self, broker: BrokerSettings, path: Path, **collect: float) -> None:
        self.live = Live()
        self.store = SqliteStore(path, addresses([PLANT]))
        settings = Settings(
            broker=broker,
            collect=CollectSettings(batch_age_s=0.1, **collect),
            folder=path.parent,  # type: ignore[arg-type]
        )
        self.subscriber = Subscriber(
            settings,
            routes_for([PLANT]),
            self.store,
            live=self.live,
            screens=screens_for(addresses([PLANT]), self.live.counts),
        )
        self.thread = threading.Thread(target=self.subscriber.run, daemon=True)
        self.thread.start()
        wait_for(
            lambda: self.live.connected_since_ms or self.live.trouble,
            what="an answer of the broker",
        )

    def stop(self) -> None:
        """End it."""
        self.subscriber.stop()
        self.thread.join(10)
        self.store.close()

    def values(self, address: str = POWER) -> list[float]:
        """Values in the store."""
        return self.store.read(address, ALL_TIME).value.tolist()


def publisher(port: int) -> mqtt.Client:
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    return client


def publish(port: int, *messages: tuple[str, str], retain: bool = False, qos: int = 1) -> None:
    client = publisher(port)
    for topic, payload in messages:
        client.publish(topic, payload, qos=qos, retain=retain).wait_for_publish(10)
    client.disconnect()
    client.loop_stop()
