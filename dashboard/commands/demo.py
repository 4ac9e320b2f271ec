"""The program at work on an invented plant."""

import argparse
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.base.time import DAY_MS, HOUR_MS, Span, to_ms
from analysis.plant.plant import Plant
from analysis.readings.readings import Record
from collector.files.settings import (
    BrokerSettings,
    Settings,
    StoreSettings,
    WebSettings,
)
from collector.installation.site import Site
from collector.journal.journal import Entry
from collector.mqtt.publisher import Publisher, messages, publish_when_due
from collector.process import Service
from collector.store.protocol import ALL_TIME, address, clock_ms
from dashboard.command_line.argument_types import PORT, number
from dashboard.command_line.command import (
    DONE,
    say,
)
from dashboard.web.serving import serve_pages, time_argument, wait

if TYPE_CHECKING:
    from analysis.rehearsal.rehearse import Rehearsal

_HISTORY_DAYS = 365
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
        "--days", type=number(0, 3_660), default=_HISTORY_DAYS, help="days of history to play (365)"
    )


def run(arguments: argparse.Namespace) -> int:
    """A rehearsal plant with history, live readings and pages, all in one."""
    from analysis.rehearsal.samples import demo_rehearsal  # noqa: PLC0415 - compiles on loading

    now, began = clock_ms(), time.monotonic()
    say(f"Playing {arguments.days:.0f} days of an invented plant; the first time takes longer ...")
    rehearsal = demo_rehearsal(now, history_days=arguments.days)
    plant, record = rehearsal.plant, rehearsal.record
    with tempfile.TemporaryDirectory(prefix="stokehold-demo-") as folder:
        settings = Settings(
            broker=BrokerSettings(port=arguments.broker_port, client_id="stokehold-demo"),
            store=StoreSettings(path="demo.sqlite"),
            web=WebSettings(port=arguments.port),
            folder=Path(folder),
        )
        _lay_in(rehearsal, settings, now)
        say(f"{plant.name}: its history was stored in {time.monotonic() - began:.0f} s.")
        with Service([plant], settings) as service, ExitStack() as stack:
            stack.enter_context(_LiveReadings(plant, settings, record, now))
            serve_pages(service, stack)
            wait(arguments.minutes)
    return DONE


def _lay_in(rehearsal: "Rehearsal", settings: Settings, now_ms: int) -> None:
    """Readings and logbook up to now."""
    plant, past = rehearsal.plant, Span(ALL_TIME.start_ms, now_ms)
    with closing(Site.open([plant], settings)) as site:
        for channel in plant.channels:
            readings = rehearsal.record[channel.id].within(past)
            site.store.load(address(plant, channel), readings)
        for entry in _logbook(rehearsal, now_ms):
            if entry.time_ms < now_ms:
                site.journal.add_entry(entry)


def _logbook(rehearsal: "Rehearsal", now_ms: int) -> Iterator[Entry]:
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
    around_ms = truth.start_ms + round(_SERVICED * (now_ms - truth.start_ms))
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
