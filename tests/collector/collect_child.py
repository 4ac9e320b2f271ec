"""A collecting process for tests that kill it: port and store path as arguments."""

import sys
import threading
from pathlib import Path

from collecting import PLANT
from collector.files.settings import BrokerSettings, CollectSettings, Settings
from collector.mqtt.live import Live
from collector.mqtt.routes import routes_for
from collector.mqtt.subscriber import Subscriber
from collector.payloads.screening import screens_for
from collector.store.protocol import addresses
from collector.store.sqlite import SqliteStore


def main(port: int, path: Path) -> None:
    """Collect until killed."""
    live = Live()
    settings = Settings(
        broker=BrokerSettings(host="127.0.0.1", port=port, client_id="child"),
        collect=CollectSettings(batch_age_s=0.1),
        folder=path.parent,
    )
    channels = addresses([PLANT])
    subscriber = Subscriber(
        settings,
        routes_for([PLANT]),
        SqliteStore(path, channels),
        live=live,
        screens=screens_for(channels, live.counts),
    )
    threading.Thread(target=subscriber.run, daemon=True).start()
    while not live.subscribed:
        live.changed.wait(0.02)
    print("ready", flush=True)
    threading.Event().wait()


main(int(sys.argv[1]), Path(sys.argv[2]))
