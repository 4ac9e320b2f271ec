"""What ``run`` and ``demo`` share: pages served, and waiting for the end."""

import argparse
import signal
import threading
from contextlib import ExitStack

from collector.process import Service
from dashboard.command_line.argument_types import NOT_NEGATIVE
from dashboard.command_line.command import say
from dashboard.web.server import Pages


def serve_pages(service: Service, stack: ExitStack) -> None:
    """Serve the pages until the stack unwinds, and say where."""
    web = service.site.settings.web
    stack.enter_context(Pages(service.site))
    say(f"The pages are at http://{web.host}:{web.port}/ (end with Ctrl-C).")


def end_asked_for() -> threading.Event:
    """Set from now on by Ctrl-C or by the system, in place of breaking in anywhere."""
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    return stop


def wait(
    minutes: float | None,
    *,
    stop: threading.Event | None = None,
    after: threading.Event | None = None,
) -> None:
    """Until the time is up, counted from `after` on, or somebody asks us to stop."""
    stop = end_asked_for() if stop is None else stop
    while after is not None and not after.is_set():
        if stop.wait(0.2):
            return
    stop.wait(None if minutes is None else minutes * 60)


def time_argument(parser: argparse.ArgumentParser) -> None:
    """``--minutes``."""
    parser.add_argument("--minutes", type=NOT_NEGATIVE, metavar="N", help="end after N minutes")
