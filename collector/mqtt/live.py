"""The present: last reading of every channel and what the collector has to say of itself."""

import threading
from collections import Counter, deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from analysis.alarms.notices import Told
from collector.payloads.screening import CLOCK_AHEAD_MS
from collector.store.protocol import Row, clock_ms


class Refused(NamedTuple):
    """One message or reading that was kept out, for a person to look at."""

    time_ms: int
    address: str
    rule: str
    why: str


@dataclass(slots=True)
class Live:
    """Shared between the collector's thread, the jobs and the pages; plain reads are safe.

    `failing` holds the words of each failure that lasts, by job and plant (empty where
    the whole job fails), `unreached` since when no notice has reached an address, `owed`
    what the journal keeps for such addresses, and `told_not_kept` what a person was told
    while the journal could not note it. `arriving` says what is still on its way into the
    store, empty when it is all there.
    """

    latest: dict[str, tuple[int, float]] = field(default_factory=dict)
    there: dict[str, tuple[bool, int]] = field(default_factory=dict)
    counts: Counter[tuple[str, str]] = field(default_factory=Counter)
    journalled: dict[tuple[str, str], int] = field(default_factory=dict)
    refused: deque[Refused] = field(default_factory=lambda: deque(maxlen=500))
    began_ms: int | None = None
    received: int = 0
    stored: int = 0
    connected_since_ms: int | None = None
    subscribed: int = 0
    trouble: str | None = None
    arriving: str = ""
    failing: dict[tuple[str, str], str] = field(default_factory=dict)
    unreached: dict[str, int] = field(default_factory=dict)
    owed: dict[str, Any] = field(default_factory=dict)
    told_not_kept: list[Told] = field(default_factory=list)
    last_message_ms: int | None = None
    changed: threading.Event = field(default_factory=threading.Event)

    def resume(self, latest: Mapping[str, tuple[int, float]]) -> None:
        """Take up the last readings known from the store."""
        self.latest.update(latest)

    def took(self, rows: Sequence[Row]) -> None:
        """Note a batch that is safe in the store.

        A last reading of the future came under a clock that was ahead: any now is newer.
        """
        latest = self.latest
        to_come_ms = clock_ms() + CLOCK_AHEAD_MS
        for name, ms, value in rows:
            known = latest.get(name)
            if known is None or ms >= known[0] or known[0] > to_come_ms:
                latest[name] = (ms, value)
        self.stored += len(rows)
        self.changed.set()
