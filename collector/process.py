"""The one process that owns the broker session, the writing connection and the schedule."""

import fcntl
import logging
import threading
from collections import defaultdict
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from dataclasses import replace
from typing import Self

from analysis.plant.plant import Plant
from collector.errors import StoreUnavailableError
from collector.files.settings import Settings
from collector.installation.site import Site
from collector.journal.journal import Event
from collector.mqtt.broker import TendedBroker
from collector.mqtt.routes import routes_for
from collector.mqtt.subscriber import Subscriber
from collector.nightly.jobs import JOBS, Job
from collector.nightly.schedule import Schedule
from collector.payloads.screening import screens_for
from collector.store.protocol import addresses, clock_ms

_log = logging.getLogger(__name__)


class Service:
    """A running installation: ``with Service(plants, settings) as service: ...``.

    Parameters
    ----------
    plants : sequence of Plant
        What to look after.
    settings : Settings
        Where broker and store are.
    jobs : sequence of Job
        What runs on the schedule.
    left_out : sequence of str
        What is wrong with plant files that could not be used, a line a mistake.

    Raises
    ------
    StokeholdError
        Store, journal or embedded broker cannot be used, or another process
        already works on this store.
    """

    def __init__(
        self,
        plants: Sequence[Plant],
        settings: Settings,
        jobs: Sequence[Job] = JOBS,
        *,
        left_out: Sequence[str] = (),
    ) -> None:
        self._plants = plants
        self._left_out = left_out
        self._settings = settings
        self._jobs = jobs
        self._stack = ExitStack()
        self.site: Site

    def __enter__(self) -> Self:
        with ExitStack() as stack:
            _lock(self._settings, stack)
            settings = self._with_broker(stack)
            self.site = Site.open(self._plants, settings, left_out=self._left_out)
            stack.callback(self.site.close)
            self.site.live.began_ms = clock_ms()
            self._start_collecting(settings, stack)
            schedule = Schedule(self.site, self._jobs)
            schedule.start()
            stack.callback(schedule.stop)
            self._note_start()
            self._stack = stack.pop_all()
        return self

    def __exit__(self, *error: object) -> None:
        self._stack.close()

    def _note_start(self) -> None:
        """Note the start, and readings that no plant file names: after a renaming all look lost."""
        now, words = clock_ms(), f"collecting for {len(self._plants)} plant(s)"
        events = [Event(now, "", "collector", "started", words)]
        for problem in self._left_out:
            _log.error("plant file left out: %s", problem)
            events.append(
                Event(now, "", "collector", "left_out", f"plant file left out: {problem}")
            )
        # Readings of a plant whose file is left out are no strangers; which they are is unknown.
        held = () if self._left_out else self.site.store.latest()
        for plant, ids in strangers(held, self._plants).items():
            words = (
                f"the store holds readings of plant '{plant}' that no plant file names now "
                f"({', '.join(ids[:5])}{' ...' if len(ids) > 5 else ''}); if its name or their id "
                "was changed, change it back, or export them with the old file and import them"
            )
            _log.warning("plant=%s %s", plant, words)
            events.append(Event(now, "", "collector", "strangers", words))
        self.site.journal.add_events(events)

    def _with_broker(self, stack: ExitStack) -> Settings:
        if self._settings.broker.host is not None:
            return self._settings
        folder = self._settings.at(self._settings.store.path).with_suffix(".broker")
        broker = TendedBroker(self._settings, folder)
        stack.callback(broker.stop)
        local = replace(self._settings.broker, host=_own_host(self._settings.broker.listen))
        return replace(self._settings, broker=local)

    def _start_collecting(self, settings: Settings, stack: ExitStack) -> None:
        routes = routes_for(self._plants)
        if not routes.groups:
            _log.warning("collector=no channel has a topic; nothing to collect")
            return
        live = self.site.live
        subscriber = Subscriber(
            settings,
            routes,
            self.site.store,
            live=live,
            screens=screens_for(addresses(self._plants), live.counts),
        )
        thread = threading.Thread(target=_guarded, args=(subscriber,), name="collector")
        thread.start()
        stack.callback(thread.join)
        stack.callback(subscriber.stop)


def strangers(held: Iterable[str], plants: Sequence[Plant]) -> dict[str, list[str]]:
    """Channels the store holds that no plant file names, by the plant they were of.

    Parameters
    ----------
    held : iterable of str
        Addresses in the store.
    plants : sequence of Plant
        Plants of the plant files.
    """
    known, found = addresses(plants), defaultdict(list)
    for name in sorted(held):
        if name not in known:
            plant, _, channel = name.partition("/")
            found[plant].append(channel)
    return dict(found)


def _own_host(listen: str) -> str:
    return "127.0.0.1" if listen in ("0.0.0.0", "::") else listen  # noqa: S104 - compared only


def _guarded(subscriber: Subscriber) -> None:
    """Begin again should the loop fail in a way nobody thought of; nothing stored is lost."""
    while True:
        try:
            subscriber.run()
        except Exception:  # noqa: BLE001 - the thread must not die unseen
            _log.exception("collector=failed, going on")
            threading.Event().wait(1.0)
        else:
            return


def _lock(settings: Settings, stack: ExitStack) -> None:
    """Hold the store for one process; two would run every job twice."""
    path = settings.at(settings.store.path).with_suffix(".lock")
    try:
        file = stack.enter_context(path.open("w"))
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        raise StoreUnavailableError(
            f"{path}: another stokehold already works on this store; stop it, or set another "
            "[store] path"
        ) from error
    except OSError as error:
        raise StoreUnavailableError(
            f"{path}: cannot be made ({error.strerror}); check the folder of [store] path"
        ) from error
