"""Sends letters to the addresses a person chose, and over MQTT, until each has got them."""

import logging
from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

import orjson

from analysis.base.errors import StokeholdError
from analysis.base.time import DAY_MS, MINUTE_MS
from collector.errors import FormError
from collector.files.settings import NOTIFY_ADDRESSES, Settings
from collector.mqtt.client import Message
from collector.mqtt.publisher import Publisher

_log = logging.getLogger(__name__)
# The library logs the addresses it uses, and addresses hold secrets.
logging.getLogger("apprise").setLevel(logging.CRITICAL + 1)

OWED = "owed"
"""Name under which the journal keeps letters that some address could not be given yet."""
_FIRST_PAUSE_MS, _LONGEST_PAUSE_MS = MINUTE_MS, 15 * MINUTE_MS
_UNKNOWN_FORM = "of no known form; collector/README.md shows the forms"


@dataclass(frozen=True, slots=True)
class Letter:
    """A notice in words."""

    title: str
    body: str
    urgency: str
    document: dict[str, Any]


Deliver = Callable[[Letter], bool]


class _Address:
    """One place that letters go to, with those it could not be given yet.

    `missed_ms` is since when nothing reaches it, None where the last letter did.
    """

    def __init__(self, name: str, deliver: Deliver) -> None:
        self.name = name
        self.missed_ms: int | None = None
        self._deliver = deliver
        self._owed: list[tuple[int, Letter]] = []
        self._again_ms = 0
        self._pause_ms = _FIRST_PAUSE_MS

    def give(self, letter: Letter, now_ms: int) -> bool:
        """Try to deliver a letter; an address that breaks must not cost the others theirs."""
        try:
            reached = self._deliver(letter)
        except Exception as error:  # noqa: BLE001 - whatever a library raises on an odd address
            # The library's words may hold the address, and that a password; ours do not.
            why = error if isinstance(error, StokeholdError) else type(error).__name__
            _log.warning("notice=not delivered to %s: %s", self.name, why)
            reached = False
        self.missed_ms = None if reached else self.missed_ms or now_ms
        self._again_ms = 0 if reached else self._again_ms
        return reached

    def owe(self, letter: Letter, now_ms: int) -> None:
        """Keep a letter for later tries."""
        self._owed.append((now_ms, letter))
        self._again_ms = now_ms + self._pause_ms

    def catch_up(self, now_ms: int) -> None:
        """Give it what it is owed, oldest first; where it fails, wait longer each time.

        What is a day old is no news any more.
        """
        self._owed = [one for one in self._owed if now_ms - one[0] < DAY_MS]
        if not self._owed or 0 <= self._again_ms - now_ms <= _LONGEST_PAUSE_MS:
            return
        while self._owed and self.give(self._owed[0][1], now_ms):
            del self._owed[0]
        waits = bool(self._owed)
        self._pause_ms = min(2 * self._pause_ms, _LONGEST_PAUSE_MS) if waits else _FIRST_PAUSE_MS
        self._again_ms = now_ms + self._pause_ms

    @property
    def is_behind(self) -> bool:
        """Whether it is owed letters, or the last did not reach it."""
        return self.missed_ms is not None or bool(self._owed)

    def document(self) -> dict[str, Any]:
        """What it is owed, for a journal."""
        owed = [[at, asdict(letter)] for at, letter in self._owed]
        return {"missed_ms": self.missed_ms, "owed": owed}

    def resume(self, document: Mapping[str, Any]) -> None:
        """Take up what it was owed before a restart; it is tried at once."""
        self.missed_ms = document["missed_ms"]
        self._owed = [(at, Letter(**letter)) for at, letter in document["owed"]]


class Messenger:
    """Sends letters to every address of an installation.

    What one address takes is told; another that cannot be reached is tried again by itself,
    so that nobody gets a letter twice because somebody else does not get it. A line that is
    no address costs the others nothing: it counts as never reached, and is named by its
    number, as it may hold a password.

    Parameters
    ----------
    settings : Settings
        Where the addresses stand, and the MQTT topic.
    """

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._lines: list[str] = []
        self._addresses: dict[tuple[str, str], _Address] = {}
        self.refresh()

    def refresh(self) -> None:
        """Read the addresses anew; one that stands as before keeps what it is owed."""
        wanted: dict[tuple[str, str], Callable[[], _Address]] = {}
        chosen = self._settings.notify
        try:
            text = self._settings.secret(NOTIFY_ADDRESSES, chosen.addresses_file) or ""
            self._lines = [line.strip() for line in text.split("\n")]
        except FormError as error:
            # Those read before stay: better told twice than nobody told.
            wanted[str(error), ""] = partial(_Address, str(error), _never)
        for number, line in enumerate(self._lines, start=1):
            if line and not line.startswith("#"):
                name = f"notification address number {number}"
                wanted[name, line] = partial(_by_library, name, line)
        if topic := chosen.mqtt_topic:
            name = f"MQTT topic {topic}"
            wanted[name, ""] = partial(_Address, name, partial(self._publish, topic))
        self._addresses = {key: self._addresses.get(key) or make() for key, make in wanted.items()}

    @property
    def has_addresses(self) -> bool:
        """Whether anybody can be told at all."""
        return bool(self._addresses)

    def unreached(self) -> dict[str, int]:
        """Addresses that the last letter did not reach, and since when [ms]."""
        return {
            one.name: one.missed_ms for one in self._addresses.values() if one.missed_ms is not None
        }

    def send(self, letter: Letter, now_ms: int) -> bool:
        """Send to all addresses; False where none could be reached, so that nobody knows."""
        missed = self._try_all(letter, now_ms)
        if len(missed) == len(self._addresses):
            return False
        for one in missed:
            one.owe(letter, now_ms)
        return True

    def try_all(self, letter: Letter, now_ms: int) -> list[str]:
        """Try every address once; the names of those that could not be reached."""
        return [one.name for one in self._try_all(letter, now_ms)]

    def _try_all(self, letter: Letter, now_ms: int) -> list[_Address]:
        return [one for one in self._addresses.values() if not one.give(letter, now_ms)]

    def catch_up(self, now_ms: int) -> None:
        """Give each address what it could not be given before."""
        for one in self._addresses.values():
            one.catch_up(now_ms)

    def document(self) -> dict[str, Any]:
        """What is owed, by the name of the address, to be kept over a restart."""
        return {one.name: one.document() for one in self._addresses.values() if one.is_behind}

    def resume(self, document: Mapping[str, Any]) -> None:
        """Take up what was owed before a restart."""
        for one in self._addresses.values():
            if one.name in document:
                one.resume(document[one.name])

    def _publish(self, topic: str, letter: Letter) -> bool:
        with closing(Publisher(self._settings)) as publisher:
            publisher.publish(Message(0, topic, orjson.dumps(letter.document)))
        return True


def _never(_letter: Letter) -> bool:
    """Deliver to nobody, as there is nobody there."""
    return False


def _by_library(name: str, line: str) -> _Address:
    """An address that the library delivers to; one it does not know is never reached."""
    import apprise  # noqa: PLC0415 - slow to load, and needed only where somebody is told

    one = apprise.Apprise()
    if not one.add(line):
        return _Address(f"{name} ({_UNKNOWN_FORM})", _never)

    def deliver(letter: Letter) -> bool:
        kind = "failure" if letter.urgency == "now" else "info"
        return bool(one.notify(title=letter.title, body=letter.body, notify_type=kind))

    return _Address(name, deliver)
