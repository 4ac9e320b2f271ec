"""One file that holds an installation: readings, journal, photos, plant files; and the way back.

A backup is a plain tar archive, so that any tool can open it: ``manifest.json`` with the
SHA-256 of every member, the databases, and what else belongs to the store.
"""

import hashlib
import io
import json
import sqlite3
import tarfile
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, closing
from pathlib import Path
from typing import NamedTuple

from analysis.base.errors import StokeholdError
from analysis.base.time import format_rfc3339
from collector.files.settings import JOURNAL_ADDRESS, Settings
from collector.journal.exchanges import photo_folder
from collector.store.opening import beside
from collector.store.protocol import clock_ms

_FORM = 1


class BackupError(StokeholdError):
    """A backup cannot be made or restored."""


class Member(NamedTuple):
    """One file of a backup: its name there, and where it is read from or goes to."""

    name: str
    path: Path
    is_database: bool


def _members(settings: Settings, plant: Path) -> Iterator[Member]:
    store = settings.at(settings.store.path)
    # First what waits to be stored: taken after the store, it might just have left for there.
    yield Member("spool.sqlite", beside(store, "spool"), is_database=True)
    if settings.store.kind == "sqlite":
        yield Member("store.sqlite", store, is_database=True)
    yield Member("journal.sqlite", beside(store, "journal"), is_database=True)
    plants = sorted(plant.glob("*.toml")) if plant.is_dir() else [plant]
    for file in plants:
        yield Member(f"plants/{file.name}", file, is_database=False)
    photos = photo_folder(store)
    for file in sorted(photos.rglob("*")) if photos.is_dir() else []:
        if file.is_file():
            yield Member(f"photos/{file.relative_to(photos)}", file, is_database=False)


def back_up(settings: Settings, plant: Path, out: Path) -> dict[str, int]:
    """Write a backup while everything goes on.

    Parameters
    ----------
    settings : Settings
        Where store and journal are; the readings of a server are backed up by
        the server's own means and are not in it.
    plant : Path
        Plant file or folder.
    out : Path
        The archive; must not exist.

    Returns
    -------
    dict of str to int
        Bytes of each member.

    Raises
    ------
    BackupError
        The archive exists, or a file cannot be read or written.
    """
    _refuse_nothing(settings)
    sizes: dict[str, int] = {}
    digests: dict[str, str] = {}
    try:
        # Copies lie beside the archive: on many a box the folder for such things is memory.
        with (
            tarfile.open(out, "x:") as archive,
            tempfile.TemporaryDirectory(prefix=f"{out.name}-", dir=out.parent) as folder,
        ):
            for member in _members(settings, plant):
                if not member.path.exists():
                    continue
                source = _copied(member.path, Path(folder)) if member.is_database else member.path
                digests[member.name] = _digest(source)
                sizes[member.name] = source.stat().st_size
                archive.add(source, member.name)
            manifest = {"form": _FORM, "made": format_rfc3339(clock_ms()), "sha256": digests}
            _add_text(archive, "manifest.json", json.dumps(manifest, indent=2))
    except FileExistsError as error:
        raise BackupError(f"{out}: exists already; name another file") from error
    except (OSError, sqlite3.Error) as error:
        out.unlink(missing_ok=True)
        raise BackupError(
            f"{out}: the backup cannot be written ({error}); check folder and free space"
        ) from error
    return sizes


def left_out(settings: Settings) -> list[str]:
    """What of an installation is no file here, and is backed up by its own means."""
    has_own = settings.secret(JOURNAL_ADDRESS, settings.store.journal_file) is not None
    return [
        *(["readings"] if settings.store.kind == "server" else []),
        *(["journal"] if has_own else []),
    ]


def _refuse_nothing(settings: Settings) -> None:
    """A backup of the wrong place must not pass for one, night after night."""
    store = settings.at(settings.store.path)
    own = {"readings": store, "journal": beside(store, "journal")}
    here = {what: path for what, path in own.items() if what not in left_out(settings)}
    if here and not any(path.exists() for path in here.values()):
        raise BackupError(f"no store at {store}; set [store] path in --settings")


def _copied(database: Path, folder: Path) -> Path:
    """A consistent copy of a database in use."""
    copy = folder / database.name
    with closing(sqlite3.connect(database)) as source, closing(sqlite3.connect(copy)) as target:
        source.backup(target)
    return copy


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _add_text(archive: tarfile.TarFile, name: str, text: str) -> None:
    content = text.encode()
    entry = tarfile.TarInfo(name)
    entry.size = len(content)
    archive.addfile(entry, io.BytesIO(content))


def restore(settings: Settings, plants: Path, source: Path) -> list[str]:
    """Bring a backup back to where the settings say; nothing there is overwritten.

    Parameters
    ----------
    settings : Settings
        Where store and journal shall be.
    plants : Path
        Folder for the plant files.
    source : Path
        The archive.

    Returns
    -------
    list of str
        Members restored.

    Raises
    ------
    BackupError
        It is no whole backup, or something stands in the way.
    """
    if not source.is_file():
        raise BackupError(f"{source}: there is no such file; give the archive that 'backup' wrote")
    try:
        with tarfile.open(source, "r:") as archive:
            digests = _manifest(archive, source)
            targets = {name: _target(settings, plants, name) for name in digests}
            _refuse_overwriting(targets, settings)
            with ExitStack() as undone:
                for name, target in targets.items():
                    _extract(archive, name, target, digests[name])
                    undone.callback(target.unlink)
                undone.pop_all()
    except OSError as error:
        raise BackupError(
            f"{source}: cannot be restored ({error}); check folder and free space"
        ) from error
    except (tarfile.TarError, KeyError, ValueError) as error:
        raise BackupError(f"{source}: is no whole backup ({error}); use another copy") from error
    return list(targets)


def _manifest(archive: tarfile.TarFile, source: Path) -> dict[str, str]:
    file = archive.extractfile("manifest.json")
    manifest = json.loads(file.read()) if file else {}
    if manifest.get("form") != _FORM:
        raise BackupError(f"{source}: was made by another version; restore it with that")
    digests: dict[str, str] = manifest["sha256"]
    return digests


def _target(settings: Settings, plants: Path, name: str) -> Path:
    store = settings.at(settings.store.path)
    if name == "store.sqlite":
        return store
    if name in ("journal.sqlite", "spool.sqlite"):
        return beside(store, name.removesuffix(".sqlite"))
    kind, _, rest = name.partition("/")
    folder = {"plants": plants, "photos": photo_folder(store)}[kind]
    target = (folder / rest).resolve()
    if not rest or not target.is_relative_to(folder.resolve()):
        raise BackupError(f"'{name}' in the backup would be written outside its folder")
    return target


def _refuse_overwriting(targets: dict[str, Path], settings: Settings) -> None:
    if "store.sqlite" in targets and settings.store.kind != "sqlite":
        raise BackupError("the backup holds an SQLite store; set [store] kind = 'sqlite'")
    for target in targets.values():
        # A log left of another database would be played into the one that comes back.
        beside_it = [target.with_name(f"{target.name}{end}") for end in ("", "-wal", "-journal")]
        for one in beside_it:
            if one.exists():
                raise BackupError(f"{one}: is in the way; move it elsewhere and restore again")


def _extract(archive: tarfile.TarFile, name: str, target: Path, digest: str) -> None:
    file = archive.extractfile(name)
    if file is None:
        raise BackupError(f"'{name}' is missing in the backup; use another copy")
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(target.name + ".part")
    try:
        with part.open("wb") as out:
            while block := file.read(1 << 20):
                out.write(block)
        if _digest(part) != digest:
            raise BackupError(f"'{name}' in the backup is damaged; use another copy")
        part.rename(target)
    finally:
        part.unlink(missing_ok=True)
