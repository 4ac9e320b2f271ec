"""Sends letters to the addresses a person chose, and over MQTT, until each has got them."""

import logging
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from typing import Any

import apprise
import orjson

from analysis.timebase import DAY_MS, MINUTE_MS
from collector.errors import BrokerError, FormError
from collector.replay import Message, Publisher
from collector.settings import NOTIFY_ADDRESSES, Settings

_log = logging.getLogger(__name__)
# The library logs the addresses it uses, and addresses hold secrets.
logging.getLogger("apprise").setLevel(logging.CRITICAL + 1)

_FIRST_PAUSE_MS, _LONGEST_PAUSE_MS = MINUTE_MS, 15 * MINUTE_MS
_UNKNOWN_FORM = (
    "is of no known form; see the README for forms, and mend it in addresses_file or the "
    "environment"
)


@dataclass(frozen=True, slots=True)
class Letter:
    """A notice in words."""

    title: str
    body: str
    urgency: str
    document: dict[str, Any]


class _Address:
    """One place that letters go to, with those it could not be given yet."""

    def __init__(self, name: str, deliver: Callable[[Letter], bool]) -> None:
        self.name = name
        self.deliver = deliver
        self.owed: list[tuple[int, Letter]] = []
        self.again_ms = 0
        self.pause_ms = _FIRST_PAUSE_MS

    def owe(self, letter: Letter, now_ms: int) -> None:
        """Keep a letter for later tries; those of a day ago are no news any more."""
        self.owed = [o for o in self.owed if now_ms - o[0] < DAY_MS] + [(now_ms, letter)]
        self.again_ms = now_ms + self.pause_ms

    def catch_up(self, now_ms: int) -> None:
        """Give it what it is owed, oldest first; where it fails, wait longer each time."""
        if not self.owed or 0 <= self.again_ms - now_ms <= _LONGEST_PAUSE_MS:
            return
        while self.owed and self.deliver(self.owed[0][1]):
            del self.owed[0]
        self.pause_ms = min(2 * self.pause_ms, _LONGEST_PAUSE_MS) if self.owed else _FIRST_PAUSE_MS
        self.again_ms = now_ms + self.pause_ms


class Messenger:
    """Sends letters to every address of an installation.

    What one address takes is told; another that cannot be reached is tried again by itself,
    so that nobody gets a letter twice because somebody else does not get it.

    Parameters
    ----------
    settings : Settings
        Where the addresses stand, and the MQTT topic.

    Raises
    ------
    FormError
        An address is of no known form; the message names its line, not its content.
    """

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        lines = (settings.secret(NOTIFY_ADDRESSES, settings.notify.addresses_file) or "").split(
            "\n"
        )
        self._addresses = [
            _Address(f"notification address number {number}", _by_library(number, line.strip()))
            for number, line in enumerate(lines, start=1)
            if line.strip() and not line.strip().startswith("#")
        ]
        if topic := settings.notify.mqtt_topic:
            self._addresses.append(_Address(f"MQTT topic {topic}", partial(self._publish, topic)))

    @property
    def has_addresses(self) -> bool:
        """Whether anybody can be told at all."""
        return bool(self._addresses)

    def unreached(self) -> dict[str, int]:
        """Addresses that are owed letters, and since when [ms]."""
        return {one.name: one.owed[0][0] for one in self._addresses if one.owed}

    def send(self, letter: Letter, now_ms: int) -> bool:
        """Send to all addresses; False where none could be reached, so that nobody knows."""
        missed = self.try_all(letter)
        if len(missed) == len(self._addresses):
            return False
        for one in missed:
            one.owe(letter, now_ms)
        return True

    def try_all(self, letter: Letter) -> list[_Address]:
        """Try every address once; those that could not be reached."""
        return [one for one in self._addresses if not one.deliver(letter)]

    def catch_up(self, now_ms: int) -> None:
        """Give each address what it could not be given before."""
        for one in self._addresses:
            one.catch_up(now_ms)

    def _publish(self, topic: str, letter: Letter) -> bool:
        try:
            with closing(Publisher(self._settings)) as publisher:
                publisher.publish(Message(0, topic, orjson.dumps(letter.document)))
        except BrokerError as error:
            _log.warning("notice=not published: %s", error)
            return False
        return True


def _by_library(number: int, address: str) -> Callable[[Letter], bool]:
    """How the library delivers to one address.

    Raises
    ------
    FormError
        It is of no known form.
    """
    one = apprise.Apprise()
    if not one.add(address):
        raise FormError([f"notification address number {number} {_UNKNOWN_FORM}"])

    def deliver(letter: Letter) -> bool:
        kind = "failure" if letter.urgency == "now" else "info"
        return bool(one.notify(title=letter.title, body=letter.body, notify_type=kind))

    return deliver
