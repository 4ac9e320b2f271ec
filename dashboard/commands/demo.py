"""The program at work on an invented plant."""

import argparse
import tempfile
import threading
import time
from contextlib import ExitStack, closing
from dataclasses import replace
from pathlib import Path

from analysis.plant import Plant
from analysis.readings import Record
from analysis.timebase import Span
from collector.replay import Publisher, messages, publish_when_due
from collector.service import Service
from collector.settings import (
    BrokerSettings,
    Settings,
    StoreSettings,
    WebSettings,
)
from collector.site import Site
from collector.store import ALL_TIME, address, clock_ms
from dashboard.command import (
    DONE,
    say,
)
from dashboard.serving import serve_pages, time_argument, wait

_HISTORY_DAYS = 365


def arguments(parser: argparse.ArgumentParser) -> None:
    """Where to serve, how much history, how long."""
    time_argument(parser)
    parser.add_argument("--port", type=int, default=8050, help="port of the pages (8050)")
    parser.add_argument("--broker-port", type=int, default=18830, help="port of the demo's broker")
    parser.add_argument("--days", type=float, default=_HISTORY_DAYS, help="days of history (365)")


def run(arguments: argparse.Namespace) -> int:
    """A rehearsal plant with history, live readings and pages, all in one."""
    from analysis.rehearsal.samples import demo_rehearsal  # noqa: PLC0415 - compiles on loading

    now, began = clock_ms(), time.monotonic()
    say(f"rehearsing {arguments.days:.0f} days of an invented plant (slower at first) ...")
    rehearsal = demo_rehearsal(now, history_days=arguments.days)
    plant, record = rehearsal.plant, rehearsal.record
    with tempfile.TemporaryDirectory(prefix="stokehold-demo-") as folder:
        settings = Settings(
            broker=BrokerSettings(port=arguments.broker_port, client_id="stokehold-demo"),
            store=StoreSettings(path="demo.sqlite"),
            web=WebSettings(port=arguments.port),
            folder=Path(folder),
        )
        _lay_in(plant, settings, record, now)
        say(f"{plant.name}: history laid in after {time.monotonic() - began:.0f} s")
        with Service([plant], settings) as service, ExitStack() as stack:
            stack.enter_context(_LiveReadings(plant, settings, record, now))
            serve_pages(service, stack)
            wait(arguments.minutes)
    return DONE


def _lay_in(plant: Plant, settings: Settings, record: Record, now_ms: int) -> None:
    past = Span(ALL_TIME.start_ms, now_ms)
    with closing(Site.open([plant], settings)) as site:
        for channel in plant.channels:
            site.store.load(address(plant, channel), record[channel.id].within(past))


class _LiveReadings:
    """Publishes the demo's readings as they fall due."""

    def __init__(self, plant: Plant, settings: Settings, record: Record, start_ms: int) -> None:
        local = replace(settings.broker, host="127.0.0.1")
        self._settings = replace(settings, broker=local)
        ahead = Span(start_ms, ALL_TIME.end_ms)
        self._channels = {c.id: c for c in plant.channels}
        self._record = {name: record[name].within(ahead) for name in self._channels}
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="rehearsal", daemon=True)

    def __enter__(self) -> None:
        self._thread.start()

    def __exit__(self, *error: object) -> None:
        self._stop.set()
        self._thread.join(10)

    def _run(self) -> None:
        stream = messages(self._channels, self._record)
        with closing(Publisher(self._settings)) as publisher:
            publish_when_due(stream, publisher, stop=self._stop)
