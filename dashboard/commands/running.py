"""The program at work: run, and the demo."""

import argparse
import signal
import tempfile
import threading
import time
from contextlib import ExitStack, closing
from dataclasses import replace
from pathlib import Path

from analysis.plant import Plant
from analysis.readings import Record
from analysis.timebase import Span
from collector.errors import FormError
from collector.notify import Messenger, send_test
from collector.plantfile import load_plants
from collector.replay import Publisher, messages, publish_when_due
from collector.service import Service
from collector.settings import (
    NOTIFY_ADDRESSES,
    BrokerSettings,
    Settings,
    StoreSettings,
    WebSettings,
)
from collector.site import Site
from collector.store import ALL_TIME, address, clock_ms
from dashboard.command import (
    DONE,
    TOLD,
    Command,
    answer,
    broker_arguments,
    json_argument,
    plant_argument,
    say,
    settings_of,
)
from dashboard.server import Pages

_HISTORY_DAYS = 365


def _pages(service: Service, stack: ExitStack) -> None:
    web = service.site.settings.web
    stack.enter_context(Pages(service.site))
    say(f"pages at http://{web.host}:{web.port}/ (end with Ctrl-C)")


def _wait(minutes: float | None) -> None:
    """Until the time is up or somebody asks us to stop."""
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    stop.wait(None if minutes is None else minutes * 60)


def _time_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--minutes", type=float, metavar="N", help="end by itself after so many minutes"
    )


# run


def run_arguments(parser: argparse.ArgumentParser) -> None:
    """Plant, settings, broker, and how long."""
    plant_argument(parser)
    broker_arguments(parser)
    _time_argument(parser)
    parser.add_argument("--no-pages", action="store_true", help="collect only, serve no pages")


def run_run(arguments: argparse.Namespace) -> int:
    """Collect, watch, raise alarms and serve the pages until told to stop."""
    plants = load_plants(arguments.plant)
    with Service(plants, settings_of(arguments)) as service, ExitStack() as stack:
        if not arguments.no_pages:
            _pages(service, stack)
        _wait(arguments.minutes)
    return DONE


# demo


def demo_arguments(parser: argparse.ArgumentParser) -> None:
    """Where to serve, how much history, how long."""
    _time_argument(parser)
    parser.add_argument("--port", type=int, default=8050, help="port of the pages (8050)")
    parser.add_argument("--broker-port", type=int, default=18830, help="port of the demo's broker")
    parser.add_argument("--days", type=float, default=_HISTORY_DAYS, help="days of history (365)")


def run_demo(arguments: argparse.Namespace) -> int:
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
            _pages(service, stack)
            _wait(arguments.minutes)
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


# notice


def notice_arguments(parser: argparse.ArgumentParser) -> None:
    """Plant and settings."""
    plant_argument(parser)
    json_argument(parser)


def run_notice(arguments: argparse.Namespace) -> int:
    """Send a test notice to every address of the settings."""
    settings = settings_of(arguments)
    if not Messenger(settings).has_addresses:
        raise FormError(
            [f"[notify]: no address; set addresses_file, mqtt_topic, or {NOTIFY_ADDRESSES}"]
        )
    with closing(Site.open(load_plants(arguments.plant), settings)) as site:
        reached = send_test(site, clock_ms())
    if arguments.json:
        answer({"reached": reached})
    else:
        say("sent" if reached else "could not be sent to every address; check them and the network")
    return DONE if reached else TOLD


COMMANDS = (
    Command("demo", "an invented plant with history and live readings", demo_arguments, run_demo),
    Command("run", "collect, watch and serve the pages", run_arguments, run_run),
    Command("notice", "send a test notice to every address", notice_arguments, run_notice),
)
