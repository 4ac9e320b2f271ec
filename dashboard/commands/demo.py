"""The program at work on an invented plant."""

import argparse
import logging
import socket
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing
from dataclasses import replace
from pathlib import Path
from typing import Self

from tqdm import tqdm

from analysis.base.errors import StokeholdError
from analysis.base.time import DAY_MS, HOUR_MS, Span, to_ms
from analysis.plant.plant import Plant
from analysis.readings.readings import Record
from analysis.rehearsal.rehearse import Rehearsal
from analysis.rehearsal.samples import DEMO_DAYS, demo_rehearsal
from collector.errors import FormError
from collector.files.season import read_season
from collector.files.settings import (
    BrokerSettings,
    Settings,
    StoreSettings,
    WebSettings,
)
from collector.installation.site import Site
from collector.journal.journal import Entry
from collector.mqtt.publisher import Publisher, messages, publish_when_due
from collector.nightly.schedule import Schedule
from collector.process import Service
from collector.store.protocol import ALL_TIME, address, clock_ms
from dashboard.command_line.argument_types import PORT, number
from dashboard.command_line.command import (
    DONE,
    say,
)
from dashboard.web.serving import end_asked_for, serve_pages, time_argument, wait

_log = logging.getLogger(__name__)

_WRITTEN = {
    "holiday": ("remark", "away for some days, heating turned down"),
    "power_cut": ("remark", "no mains in the whole street"),
    "firewood_day": ("remark", "stove lit all day, the boiler had little to do"),
    "refill_venting": ("refill", "topped up to 1.5 bar, radiators vented"),
}
"""What the people of the invented house wrote down of what befell it."""
_SERVICED = 0.45
"""When its boiler was serviced, as a share of the history."""


def arguments(parser: argparse.ArgumentParser) -> None:
    """Where to serve, how much history, how long."""
    time_argument(parser)
    parser.add_argument("--port", type=PORT, default=8050, help="port of the pages (8050)")
    parser.add_argument("--broker-port", type=PORT, default=18830, help="port of the demo's broker")
    parser.add_argument(
        "--days",
        type=number(0, DEMO_DAYS),
        default=DEMO_DAYS,
        help="days of history to lay in (365)",
    )


def run(arguments: argparse.Namespace) -> int:
    """A rehearsal plant with history, live readings and pages, all in one."""
    for port, option in ((arguments.port, "--port"), (arguments.broker_port, "--broker-port")):
        _ask_free(port, option)
    say("Preparing the demo, an invented plant (some ten seconds) ...")
    now = clock_ms()
    rehearsal = demo_rehearsal(now, read_season())
    plant = rehearsal.plant
    with tempfile.TemporaryDirectory(prefix="stokehold-demo-") as folder:
        settings = Settings(
            broker=BrokerSettings(port=arguments.broker_port, client_id="stokehold-demo"),
            store=StoreSettings(path="demo.sqlite"),
            web=WebSettings(port=arguments.port),
            folder=Path(folder),
        )
        stop = end_asked_for()
        # Jobs judge what is there: they begin when the history is.
        with Service([plant], settings, jobs=()) as service, ExitStack() as stack:
            serve_pages(service, stack)
            stack.enter_context(_LiveReadings(plant, settings, rehearsal.record, now))
            history = stack.enter_context(_History(service.site, rehearsal, now, arguments.days))
            wait(arguments.minutes, stop=stop, after=history.laid_in)
    return DONE


def _ask_free(port: int, option: str) -> None:
    """Refuse a taken port before anybody has waited for the rest."""
    with closing(socket.socket()) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError as error:
            problem = (
                f"port {port} is taken ({error.strerror}), perhaps by a demo that runs already; "
                f"end that, or choose a free port with {option}"
            )
            raise FormError([problem]) from error


class _History:
    """Lays readings and logbook up to now into a running installation; then jobs begin."""

    def __init__(self, site: Site, rehearsal: Rehearsal, now_ms: int, days: float) -> None:
        self.laid_in = threading.Event()
        self._site = site
        self._rehearsal = rehearsal
        self._past = Span(now_ms - round(days * DAY_MS), now_ms)
        self._stack = ExitStack()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="history")

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *error: object) -> None:
        self._ending.set()
        self._thread.join()
        self._stack.close()

    def _run(self) -> None:
        began, site = time.monotonic(), self._site
        try:
            self._lay_in()
        except StokeholdError:
            _log.exception("demo=its history cannot be laid in")
        site.live.arriving = ""
        if not self._ending.is_set():
            schedule = Schedule(site)
            schedule.start()
            self._stack.callback(schedule.stop)
            web = site.settings.web
            say(f"The history is there after {time.monotonic() - began:.0f} s.")
            say(f"Open http://{web.host}:{web.port}/ in a browser; Ctrl-C ends the demo.")
        self.laid_in.set()

    def _lay_in(self) -> None:
        say(f"Laying in {self._past.days:.0f} days of history (about half a minute) ...")
        plant, past, live = self._rehearsal.plant, self._past, self._site.live
        for entry in _logbook(self._rehearsal):
            if past.start_ms <= entry.time_ms < past.end_ms:
                self._site.journal.add_entry(entry)
        bar = tqdm(plant.channels, unit="channel", leave=False, disable=None)
        for done, channel in enumerate(bar):
            if self._ending.is_set():
                bar.close()
                return
            live.arriving = (
                f"The history of this demo is being laid in: {done} of {len(plant.channels)} "
                "channels are there. Figures and findings come when it is whole."
            )
            readings = self._rehearsal.record[channel.id].within(past)
            self._site.store.load(address(plant, channel), readings)


def _logbook(rehearsal: Rehearsal) -> Iterator[Entry]:
    """What was written down in the invented house: its events, exchanges and a service."""
    plant, truth = rehearsal.plant, rehearsal.truth
    for event in truth.negatives:
        if event.what in _WRITTEN:
            kind, words = _WRITTEN[event.what]
            written_ms = event.start_ms if kind == "refill" else event.end_ms
            yield Entry(0, plant.key, written_ms, "plant", kind, words, "owner")
    for swap in plant.swaps:
        words = "old pump out, new one in, both valves opened, vented"
        yield Entry(0, plant.key, to_ms(swap.time), swap.pump, "swap", words, "heating firm")
    around_ms = truth.start_ms + round(_SERVICED * DEMO_DAYS * DAY_MS)
    serviced = around_ms // DAY_MS * DAY_MS + 10 * HOUR_MS
    for boiler in plant.boilers:
        words = "yearly service: burner and flue way cleaned, flue gas read"
        yield Entry(0, plant.key, serviced, boiler.id, "service", words, "heating firm")


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
