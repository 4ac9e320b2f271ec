"""Everything one running installation consists of, handed to jobs and pages as one thing."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from analysis.plant import Plant
from collector.journal import Journal
from collector.live import Live
from collector.open_store import beside, open_store
from collector.settings import Settings
from collector.store import Store


@dataclass(frozen=True, slots=True)
class Site:
    """Plants, store, journal and the present, of one installation."""

    plants: tuple[Plant, ...]
    settings: Settings
    store: Store
    journal: Journal
    live: Live

    @classmethod
    def open(cls, plants: Sequence[Plant], settings: Settings) -> Self:
        """Open store and journal.

        Raises
        ------
        StoreUnavailableError
            One of them cannot be opened.
        """
        path = settings.at(settings.store.path)
        store = open_store(settings, plants)
        return cls(tuple(plants), settings, store, Journal(journal_place(path)), Live())

    def plant(self, key: str) -> Plant | None:
        """Plant of a key."""
        return next((p for p in self.plants if p.key == key), None)

    def close(self) -> None:
        """Close store and journal."""
        self.store.close()
        self.journal.close()


def journal_place(store: Path) -> Path:
    """File of the journal that belongs to a store."""
    return beside(store, "journal")
