"""What every store of readings can do, and the forms in which it is asked."""

import time
from collections.abc import Iterator, Mapping, Sequence
from typing import Literal, Protocol

from analysis.base.time import DAY_MS, Span
from analysis.plant.plant import Channel, Plant
from analysis.readings.readings import Readings, Record, Summary

Row = tuple[str, int, float]
"""One reading to be kept: address, time [ms], value in the quantity's own unit or NaN."""

Step = Literal["minute", "hour"]
STEP_MS: dict[Step, int] = {"minute": 60_000, "hour": 3_600_000}

ALL_TIME = Span(-(1 << 53), 1 << 53)
"""A span no reading lies outside of."""

LEAD_MS = 7 * DAY_MS
"""How far back a reading is looked for whose value may hold into a span."""


class Readable(Protocol):
    """A place of readings that is read, addressed by ``plant key/channel id``."""

    def read(self, address: str, span: Span, *, lead: bool = False) -> Readings:
        """Readings within the span; with `lead` also the last one before it."""

    def summary(self, address: str, span: Span, step: Step) -> Summary:
        """Time-weighted summaries of the steps that touch the span and hold anything."""

    def latest(self) -> dict[str, tuple[int, float]]:
        """Last reading of every channel: time [ms] and value."""

    def extent(self, address: str) -> Span | None:
        """First to last reading of a channel, or None."""

    def close(self) -> None:
        """Let go of files and connections."""


class Store(Readable, Protocol):
    """A place where readings are kept as well.

    A moment of a channel has one value, so that a repeated delivery never
    doubles a reading. Where another value comes for the same moment, the file
    keeps the later one; which one a server keeps is the server's business.
    """

    def write(self, rows: Sequence[Row], marks: Sequence[int] = ()) -> None:
        """Keep a batch; on return it survives a crash.

        `marks` name the deliveries the batch came from, see `delivered`.

        Raises
        ------
        StoreUnavailableError
            Nothing of the batch is kept.
        """

    def load(self, address: str, readings: Readings) -> None:
        """Keep many readings of one channel at once, as from a log file."""

    def delivered(self) -> list[int]:
        """Marks of the newest batches kept, by which a repeated delivery is known."""

    def tend(self, now_ms: int) -> None:
        """Do the nightly work: close finished days, sum them up, thin out old ones."""


def address(plant: Plant, channel: Channel) -> str:
    """Name of a plant's channel in a store."""
    return f"{plant.key}/{channel.id}"


def addresses(plants: Sequence[Plant]) -> dict[str, Channel]:
    """Channels of all plants by their address."""
    return {address(p, c): c for p in plants for c in p.channels}


class StoreRecord(Record):
    """Readings of one plant as the analyses want them, read from a store when asked for.

    With `lead` the last reading before the span comes along, however old, to hold into it; the
    live watch does without, for finding it may open a sealed day of each channel.
    """

    def __init__(self, store: Readable, plant: Plant, span: Span, *, lead: bool = True) -> None:
        self._lead = lead
        self._store = store
        self._plant = plant
        self._span = span
        self._known: dict[str, Readings] = {}
        self._ids = [c.id for c in plant.channels]

    def __getitem__(self, channel: str) -> Readings:
        if channel not in self._ids:
            raise KeyError(channel)
        if channel not in self._known:
            name = f"{self._plant.key}/{channel}"
            self._known[channel] = self._store.read(name, self._span, lead=self._lead)
        return self._known[channel]

    def __iter__(self) -> Iterator[str]:
        return iter(self._ids)

    def __len__(self) -> int:
        return len(self._ids)


def plant_extent(store: Readable, plant: Plant) -> Span | None:
    """First to last reading of a whole plant, or None where there is none."""
    found = [store.extent(address(plant, c)) for c in plant.channels]
    spans = [s for s in found if s]
    if not spans:
        return None
    return Span(min(s.start_ms for s in spans), max(s.end_ms for s in spans))


def clock_ms() -> int:
    """The present moment [ms since 1970, UTC]."""
    return time.time_ns() // 1_000_000


def latest_by_channel(
    latest: Mapping[str, tuple[int, float]], plant: Plant
) -> dict[str, tuple[int, float]]:
    """The part of `Store.latest` that belongs to one plant, by channel id."""
    return {c.id: latest[address(plant, c)] for c in plant.channels if address(plant, c) in latest}
