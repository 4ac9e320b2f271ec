"""Everything one running installation consists of, handed to jobs and pages as one thing."""

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Self

from analysis.plant.exchanges import SwapRecord, with_recorded
from analysis.plant.plant import Plant
from collector.errors import PlantsFailedError
from collector.files.settings import JOURNAL_ADDRESS, Settings
from collector.journal.exchanges import swap_book
from collector.journal.journal import Journal
from collector.letters.delivery import OWED, Messenger
from collector.mqtt.live import Live
from collector.store.opening import beside, open_store
from collector.store.protocol import Store


@dataclass(frozen=True, slots=True)
class Site:
    """Plants, store, journal and the present, of one installation.

    `left_out` says what is wrong with plant files that could not be used, a line a mistake.
    """

    plants: tuple[Plant, ...]
    settings: Settings
    store: Store
    journal: Journal
    live: Live
    messenger: Messenger
    left_out: tuple[str, ...] = ()

    @classmethod
    def open(
        cls, plants: Sequence[Plant], settings: Settings, *, left_out: Sequence[str] = ()
    ) -> Self:
        """Open store and journal.

        Raises
        ------
        StoreUnavailableError
            One of them cannot be opened.
        """
        store = open_store(settings, plants)
        ruled = tuple(settings.ruled(plants))
        journal, messenger = open_journal(settings), Messenger(settings)
        kept = journal.result("", OWED)
        messenger.resume(kept[1] if kept else {})
        return cls(ruled, settings, store, journal, Live(), messenger, tuple(left_out))

    def plants_as_recorded(self) -> list[Plant]:
        """Every plant with the swaps recorded since its file was written, for all who judge."""
        of_plant: dict[str, list[SwapRecord]] = defaultdict(list)
        for record in swap_book(self.settings, self.journal).records():
            of_plant[record.plant].append(record)
        return [with_recorded(plant, of_plant[plant.key]) for plant in self.plants]

    def plant(self, key: str) -> Plant | None:
        """Plant of a key."""
        return next((p for p in self.plants if p.key == key), None)

    def close(self) -> None:
        """Close store and journal."""
        self.store.close()
        self.journal.close()


def each_plant(plants: Sequence[Plant], work: Callable[[Plant], None]) -> None:
    """Do a piece of work for every plant: one that fails stops none of those behind it.

    Raises
    ------
    PlantsFailedError
        After the last plant, where some failed.
    """
    failed: dict[str, Exception] = {}
    for plant in plants:
        try:
            work(plant)
        except Exception as error:  # noqa: BLE001 - a plant's failure must not cost the others
            failed[plant.key] = error
    if failed:
        raise PlantsFailedError(failed)


def open_journal(settings: Settings) -> Journal:
    """Open the journal of an installation, without its store.

    Raises
    ------
    StoreUnavailableError
        It cannot be opened.
    """
    address = settings.secret(JOURNAL_ADDRESS, settings.store.journal_file)
    return Journal(address or beside(settings.at(settings.store.path), "journal"))


def journal_to_read(settings: Settings) -> Journal:
    """Open the journal to read: one that is not there is not made, and knows nothing.

    Raises
    ------
    StoreUnavailableError
        It cannot be opened.
    """
    has_own = settings.secret(JOURNAL_ADDRESS, settings.store.journal_file) is not None
    if has_own or beside(settings.at(settings.store.path), "journal").exists():
        return open_journal(settings)
    return Journal("sqlite://")
