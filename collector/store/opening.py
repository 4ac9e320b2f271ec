"""Chooses and opens the store the settings ask for."""

from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path

from analysis.plant.plant import Plant
from collector.errors import FormError
from collector.files.settings import STORE_TOKEN, Settings
from collector.store.protocol import Readable, Store, addresses
from collector.store.sqlite import SqliteStore
from collector.store.sqlite_reader import SqliteReader

_OWN_RETENTION = (
    "[store]: raw_days and minute_days are for kind 'sqlite'; a server thins out "
    "by its own retention: set that there and remove these keys"
)
_NO_CLIENT = (
    "[store] kind = 'server' needs the extra 'server', which is not installed: "
    "pip install 'stokehold[server]', in a clone pip install -e '.[server]'"
)


def open_store(settings: Settings, plants: Sequence[Plant]) -> Store:
    """Open the store for these plants, to write and to read; made where absent.

    Raises
    ------
    StoreUnavailableError
        It cannot be opened.
    FormError
        The settings ask for what it cannot do.
    """
    chosen = settings.store
    channels = addresses(plants)
    path = settings.at(chosen.path)
    if chosen.kind == "sqlite":
        return SqliteStore(path, channels, raw_days=chosen.raw_days, minute_days=chosen.minute_days)
    if chosen.raw_days or chosen.minute_days:
        raise FormError([_OWN_RETENTION])
    _need_client()
    from collector.store.server import ServerStore  # noqa: PLC0415 - its client is slow to load

    token = settings.secret(STORE_TOKEN, chosen.token_file)
    return ServerStore(chosen, beside(path, "spool"), channels=channels, token=token)


def open_to_read(settings: Settings, plants: Sequence[Plant]) -> Readable:
    """Open the store for these plants to read only: nothing is made, sent or changed.

    Raises
    ------
    StoreUnavailableError
        It cannot be opened.
    FormError
        There is none.
    """
    chosen = settings.store
    channels = addresses(plants)
    path = settings.at(chosen.path)
    if chosen.kind == "sqlite":
        if not path.exists():
            raise FormError([f"no store at {path}; set [store] path in --settings, or give --log"])
        return SqliteReader(path, channels)
    _need_client()
    from collector.store.server_reader import ServerReader  # noqa: PLC0415 - its client is slow to load

    token = settings.secret(STORE_TOKEN, chosen.token_file)
    return ServerReader(chosen, beside(path, "spool"), channels=channels, token=token)


def _need_client() -> None:
    if find_spec("influxdb_client") is None:
        raise FormError([_NO_CLIENT])


def beside(store: Path, what: str) -> Path:
    """Path of a companion file of the store, such as its spool or the journal."""
    return store.with_name(f"{store.stem}.{what}.sqlite")
