"""Swap records in the journal's database, and their photos as files beside the store.

Records travel in a backup with the journal, photos with their folder; the checksum kept of each
photo tells after a restore, or years later, whether it is still the picture that was taken.
"""

import hashlib
import re
from collections import defaultdict
from dataclasses import asdict, fields, replace
from io import BytesIO
from pathlib import Path
from typing import Any, get_args

import sqlalchemy as sa
from PIL import Image
from sqlalchemy.engine import Connection, Engine

from analysis.base.errors import StokeholdError
from analysis.exchange.checklist import BY_NAME, missing
from analysis.plant.exchanges import (
    KnownSwap,
    Photo,
    PumpCard,
    SettingPower,
    StepDone,
    SwapRecord,
    Which,
    swaps_of,
    with_recorded,
)
from analysis.plant.plant import Plant, Pump
from collector.files.settings import Settings
from collector.journal.journal import Entry, Journal
from collector.journal.schema import SWAP, SWAP_PHOTO, SWAP_POWER, SWAP_PUMP, SWAP_STEP


class SwapError(StokeholdError):
    """A swap cannot be recorded as asked."""


class SwapBook:
    """The swap records of an installation.

    Parameters
    ----------
    engine : Engine
        The journal's database, see `Journal.engine`.
    photos : Path
        Folder of the photos, see `photo_folder`; made when needed.
    """

    def __init__(self, engine: Engine, photos: Path) -> None:
        self._engine = engine
        self._photos = photos

    def records(self, plant: str | None = None) -> list[SwapRecord]:
        """All records of a plant (its key), or of all, oldest first."""
        query = sa.select(SWAP).order_by(SWAP.c.started_ms, SWAP.c.id)
        if plant is not None:
            query = query.where(SWAP.c.plant == plant)
        with self._engine.connect() as connection:
            heads = [dict(row) for row in connection.execute(query).mappings()]
            if not heads:
                # As a rule there is none, and the watch asks each turn.
                return []
            parts = {
                t.name: _parts(connection, t, heads)
                for t in (SWAP_PUMP, SWAP_STEP, SWAP_POWER, SWAP_PHOTO)
            }
        return [_record(head, parts) for head in heads]

    def open_record(self, plant: str, pump: str) -> SwapRecord:
        """The newest record of a pump.

        Raises
        ------
        SwapError
            There is none.
        """
        found = [r for r in self.records(plant) if r.pump == pump]
        if not found:
            raise SwapError(
                f"no swap of '{pump}' is recorded; begin with: stokehold swap start --pump {pump}"
            )
        return found[-1]

    def start(self, record: SwapRecord) -> SwapRecord:
        """Begin a record and give it its number.

        Raises
        ------
        SwapError
            One of this pump is open: its new pump is not in yet.
        """
        for other in self.records(record.plant):
            if other.pump == record.pump and other.time_ms is None:
                raise SwapError(
                    f"swap {other.id} of '{record.pump}' is not finished; go on with it: "
                    f"stokehold swap guide --pump {record.pump}"
                )
        with self._engine.begin() as connection:
            made = connection.execute(SWAP.insert().values(_head(record))).inserted_primary_key
            kept = replace(record, id=int(made[0]) if made else 0)
            _save_cards(connection, kept)
        return kept

    def save(self, record: SwapRecord) -> None:
        """Keep a record's head and cards; steps, powers and photos have their own ways."""
        with self._engine.begin() as connection:
            chosen = SWAP.c.id == record.id
            connection.execute(SWAP.update().where(chosen).values(_head(record)))
            _save_cards(connection, record)

    def do(self, record: SwapRecord, step: str, done: StepDone) -> None:
        """Tick a step off.

        Raises
        ------
        SwapError
            The list has no such step, or what must come first is not done.
        """
        if step not in BY_NAME:
            raise SwapError(f"'{step}' is no step of the list; steps: {', '.join(BY_NAME)}")
        if first := missing(step, record.steps):
            raise SwapError(
                f"'{step}' comes after {', '.join(first)}; do and record these first: "
                f"{' '.join(BY_NAME[name].words for name in first)}"
            )
        key = {"swap": record.id, "step": step}
        self._replace(SWAP_STEP, key, done._asdict())

    def add_power(self, record: SwapRecord, power: SettingPower) -> None:
        """Keep the power at one setting of the old or the new pump; a newer value replaces."""
        row = power._asdict()
        key = {"swap": record.id, "which": row.pop("which"), "setting": row.pop("setting")}
        self._replace(SWAP_POWER, key, row)

    def add_photo(self, record: SwapRecord, source: Path, words: str) -> Photo:
        """Copy a photo beside the store and keep its checksum.

        Raises
        ------
        SwapError
            The file cannot be read or kept, is no picture, or too large a one.
        """
        try:
            content = _picture(source)
            digest = hashlib.sha256(content).hexdigest()
            plain_name = re.sub(r"[^A-Za-z0-9._-]+", "_", source.name)
            name = f"swap-{record.id}-{digest[:12]}-{plain_name}"
            self._photos.mkdir(parents=True, exist_ok=True)
            part = self._photos / f"{name}.part"
            part.write_bytes(content)
            part.rename(self._photos / name)
        except OSError as error:
            raise SwapError(
                f"{source}: cannot be kept as a photo ({error.strerror}); check path and space"
            ) from error
        photo = Photo(name, digest, words)
        row = photo._asdict()
        self._replace(SWAP_PHOTO, {"swap": record.id, "name": row.pop("name")}, row)
        return photo

    def photo_path(self, photo: Photo) -> Path:
        """Where a photo's file is."""
        return self._photos / photo.name

    def damaged(self, record: SwapRecord) -> list[Photo]:
        """Photos whose file is gone or is no longer the picture that was kept."""
        return [p for p in record.photos if _digest(self.photo_path(p)) != p.sha256]

    def _replace(self, table: sa.Table, key: dict[str, Any], row: dict[str, Any]) -> None:
        with self._engine.begin() as connection:
            connection.execute(table.delete().filter_by(**key))
            connection.execute(table.insert().values(key | row))


_PICTURES = ("JPEG", "PNG", "WEBP")
_LARGEST_PHOTO = 30 << 20
"""Bytes; photos of phones have a third of it at most, and all of them go into every backup."""


def _picture(source: Path) -> bytes:
    """Content of a picture's file; anything else would lie in every backup and show nowhere.

    Raises
    ------
    SwapError
        It is no picture that reports can show, or too large.
    OSError
        It cannot be read.
    """
    if source.stat().st_size > _LARGEST_PHOTO:
        raise SwapError(
            f"{source}: is larger than {_LARGEST_PHOTO >> 20} MB; save it smaller and record that"
        )
    content = source.read_bytes()
    try:
        with Image.open(BytesIO(content), formats=_PICTURES) as found:
            found.verify()
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise SwapError(
            f"{source}: is no picture of a kind reports can show; save it as JPEG, PNG or WebP"
        ) from error
    return content


def begin_swap(book: SwapBook, plant: Plant, pump: Pump, *, now_ms: int, who: str) -> SwapRecord:
    """Begin the record of a pump's exchange, the old pump as the plant file has it.

    Raises
    ------
    SwapError
        One of this pump is open.
    """
    least, most = pump.rated_power_w or (None, None)
    card = PumpCard(
        drive=pump.drive,
        port_to_port_mm=pump.port_to_port_mm,
        least_w=least,
        most_w=most,
        always_on=pump.always_on,
    )
    blank = SwapRecord(
        plant=plant.key, pump=pump.id, started_ms=now_ms, who=who, old=card, steps={}
    )
    return book.start(blank)


def tick_step(
    book: SwapBook, journal: Journal, record: SwapRecord, step: str, done: StepDone
) -> SwapRecord:
    """Tick a step off; with the one that powers it the new pump is in, and the logbook knows.

    Raises
    ------
    SwapError
        The list has no such step, or what must come first is not done.
    """
    book.do(record, step, done)
    if step == "powered" and record.time_ms is None:
        book.save(replace(record, time_ms=done.time_ms))
    kept = book.open_record(record.plant, record.pump)
    note_swap(journal, kept)
    return kept


def note_swap(journal: Journal, record: SwapRecord) -> None:
    """Enter a finished swap in the logbook, once."""
    words = f"pump exchanged (swap {record.id})"
    if record.time_ms is None:
        return
    if any(e.kind == "swap" and e.words == words for e in journal.logbook(record.plant)):
        return
    journal.add_entry(
        Entry(0, record.plant, record.time_ms, record.pump, "swap", words, record.who)
    )


def photo_folder(store: Path) -> Path:
    """Folder of the photos that belong to a store."""
    return store.with_name(f"{store.stem}.photos")


def swap_book(settings: Settings, journal: Journal) -> SwapBook:
    """The swap records of an installation whose journal is open."""
    return SwapBook(journal.engine, photo_folder(settings.at(settings.store.path)))


def known_swaps(book: SwapBook, plant: Plant) -> list[KnownSwap]:
    """Every swap of a plant, from its file and from the records."""
    records = book.records(plant.key)
    return [known for pump in plant.pumps for known in swaps_of(plant, pump.id, records)]


def as_recorded(book: SwapBook, plant: Plant) -> Plant:
    """The plant with the recorded swaps among its own, as analyses shall see it."""
    return with_recorded(plant, book.records(plant.key))


def _digest(path: Path) -> str | None:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return None


def _head(record: SwapRecord) -> dict[str, Any]:
    return {c.name: getattr(record, c.name) for c in SWAP.columns if c.name != "id"}


def _save_cards(connection: Connection, record: SwapRecord) -> None:
    connection.execute(SWAP_PUMP.delete().filter_by(swap=record.id))
    for which, card in (("old", record.old), ("new", record.new)):
        row = {"swap": record.id, "which": which} | asdict(card)
        connection.execute(SWAP_PUMP.insert().values(row))


def _parts(
    connection: Connection, table: sa.Table, heads: list[dict[str, Any]]
) -> dict[int, list[dict[str, Any]]]:
    """Rows of a table by the swap they belong to: one query for all swaps."""
    swaps = [head["id"] for head in heads]
    query = sa.select(table).where(table.c.swap.in_(swaps)).order_by(*table.primary_key)
    found: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for row in connection.execute(query).mappings():
        found[row["swap"]].append(dict(row))
    return found


def _record(head: dict[str, Any], parts: dict[str, dict[int, list[dict[str, Any]]]]) -> SwapRecord:
    def rows(table: sa.Table) -> list[dict[str, Any]]:
        return parts[table.name].get(head["id"], [])

    cards = {row["which"]: _card(row) for row in rows(SWAP_PUMP)}
    steps = {row["step"]: _tuple(StepDone, row) for row in rows(SWAP_STEP)}
    return SwapRecord(
        **head,
        old=cards["old"],
        new=cards["new"],
        steps=dict(sorted(steps.items(), key=lambda one: one[1].time_ms)),
        powers=tuple(_tuple(SettingPower, row) for row in rows(SWAP_POWER)),
        photos=tuple(_tuple(Photo, row) for row in rows(SWAP_PHOTO)),
    )


def _card(row: dict[str, Any]) -> PumpCard:
    return PumpCard(**{one.name: row[one.name] for one in fields(PumpCard)})


def _tuple(kind: Any, row: dict[str, Any]) -> Any:
    return kind(**{name: row[name] for name in kind._fields})


WHICH: tuple[str, ...] = get_args(Which)
"""Which of the two pumps a card or a power belongs to."""
