"""A backup taken while writing goes on brings everything back, or says what is wrong with it."""

import sqlite3
import tarfile
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.readings.readings import Readings
from collecting import PLANT, POWER
from collector.files.settings import Settings, StoreSettings
from collector.installation.backup import BackupError, back_up, restore
from collector.installation.site import Site
from collector.journal.exchanges import photo_folder
from collector.journal.journal import Entry
from collector.store.protocol import ALL_TIME


def filled(folder: Path) -> tuple[Settings, Path]:
    folder.mkdir()
    settings = Settings(folder=folder)
    plant = folder / "plant.toml"
    plant.write_text("[plant]\n")
    with closing(Site.open([PLANT], settings)) as site:
        site.store.load(POWER, Readings.of(np.arange(50_000) * 10_000, np.arange(50_000) % 60))
        site.journal.add_entry(Entry(0, "quay", 5, "heating", "work", "vented", "owner"))
    photos = photo_folder(settings.at(settings.store.path))
    photos.mkdir()
    (photos / "plate.jpg").write_bytes(b"\xff\xd8 picture")
    return settings, plant


def test_backup_and_restore_bring_everything_back(tmp_path: Path) -> None:
    """Readings, logbook, photo and plant file are the same on another box."""
    settings, plant = filled(tmp_path / "here")
    with closing(Site.open([PLANT], settings)) as site:
        site.store.write([(POWER, 10**12, 1.0)])
        back_up(settings, plant, tmp_path / "b.tar")
        expected = site.store.read(POWER, ALL_TIME)
    there = replace(settings, folder=tmp_path / "there")
    names = restore(there, tmp_path / "there" / "plants", tmp_path / "b.tar")
    assert sorted(names) == [
        "journal.sqlite",
        "photos/plate.jpg",
        "plants/plant.toml",
        "spool.sqlite",
        "store.sqlite",
    ]
    with closing(Site.open([PLANT], there)) as site:
        found = site.store.read(POWER, ALL_TIME)
        assert [e.words for e in site.journal.logbook("quay")] == ["vented"]
    np.testing.assert_array_equal(found.time_ms, expected.time_ms)
    np.testing.assert_array_equal(found.value, expected.value)
    assert (tmp_path / "there" / "plants" / "plant.toml").read_text() == "[plant]\n"
    photo = photo_folder(there.at(there.store.path)) / "plate.jpg"
    assert photo.read_bytes() == b"\xff\xd8 picture"


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    """Neither an archive that exists nor a store in the way."""
    settings, plant = filled(tmp_path / "here")
    back_up(settings, plant, tmp_path / "b.tar")
    with pytest.raises(BackupError, match="exists already"):
        back_up(settings, plant, tmp_path / "b.tar")
    with pytest.raises(BackupError, match="is in the way; move it"):
        restore(settings, tmp_path, tmp_path / "b.tar")


def test_damaged_backup_is_refused_and_leaves_nothing_half_done(tmp_path: Path) -> None:
    """A flipped byte in a member is noticed before the member takes its place."""
    settings, plant = filled(tmp_path / "here")
    archive = tmp_path / "b.tar"
    back_up(settings, plant, archive)
    content = bytearray(archive.read_bytes())
    with tarfile.open(archive) as opened:
        content[opened.getmember("store.sqlite").offset_data + 5000] ^= 1
    archive.write_bytes(content)
    there = replace(settings, folder=tmp_path / "there")
    with pytest.raises(BackupError, match=r"'store.sqlite' in the backup is damaged"):
        restore(there, tmp_path / "plants", archive)
    assert not there.at(there.store.path).exists()


@pytest.mark.parametrize("content", [b"", b"no archive at all" * 100])
def test_what_is_no_backup_is_refused(tmp_path: Path, content: bytes) -> None:
    """One line that names the file."""
    (tmp_path / "b.tar").write_bytes(content)
    with pytest.raises(BackupError, match=r"b.tar: is no whole backup"):
        restore(Settings(folder=tmp_path), tmp_path, tmp_path / "b.tar")


def test_member_outside_its_folder_is_refused(tmp_path: Path) -> None:
    """A crafted archive cannot write elsewhere."""
    import io
    import json

    manifest = json.dumps({"form": 1, "sha256": {"plants/../../x": "0"}}).encode()
    with tarfile.open(tmp_path / "b.tar", "w") as archive:
        entry = tarfile.TarInfo("manifest.json")
        entry.size = len(manifest)
        archive.addfile(entry, io.BytesIO(manifest))
    with pytest.raises(BackupError, match="outside its folder"):
        restore(Settings(folder=tmp_path / "a"), tmp_path / "a", tmp_path / "b.tar")


def test_server_readings_are_left_to_the_server(tmp_path: Path) -> None:
    """With a server store the backup holds journal and files only."""
    settings, plant = filled(tmp_path / "here")
    served = replace(settings, store=StoreSettings(kind="server"))
    assert "store.sqlite" not in back_up(served, plant, tmp_path / "b.tar")


def test_backup_is_consistent_while_rows_come_in(tmp_path: Path) -> None:
    """The copy of a database with an open write is sound."""
    settings, plant = filled(tmp_path / "here")
    with closing(sqlite3.connect(settings.at(settings.store.path), isolation_level=None)) as busy:
        busy.execute("BEGIN IMMEDIATE")
        busy.execute("INSERT INTO reading VALUES (1, 99999999999, 1.0)")
        back_up(settings, plant, tmp_path / "b.tar")
        busy.execute("ROLLBACK")
    there = replace(settings, folder=tmp_path / "there")
    restore(there, tmp_path / "there", tmp_path / "b.tar")
    with closing(sqlite3.connect(there.at(there.store.path))) as copy:
        assert copy.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert copy.execute("SELECT count(*) FROM reading WHERE ts = 99999999999").fetchone() == (
            0,
        )


def test_readings_that_wait_for_the_store_are_in_it(tmp_path: Path) -> None:
    """While another program holds the store a backup must not lose what was acknowledged."""
    settings, plant = filled(tmp_path / "here")
    file = settings.at("stokehold.sqlite")
    with (
        closing(Site.open([PLANT], settings)) as site,
        closing(sqlite3.connect(file, isolation_level=None)) as other,
    ):
        other.execute("BEGIN IMMEDIATE")
        site.store.write([(POWER, 10**12, 7.0)])
        back_up(settings, plant, tmp_path / "b.tar")
        other.execute("ROLLBACK")
    there = replace(settings, folder=tmp_path / "there")
    restore(there, tmp_path / "there" / "plants", tmp_path / "b.tar")
    with closing(Site.open([PLANT], there)) as site:
        site.store.tend(10**12)
        assert site.store.latest()[POWER] == (10**12, 7.0)


def test_backup_of_no_store_is_refused(tmp_path: Path) -> None:
    """Forgotten settings must not give an archive of a plant file night after night."""
    plant = tmp_path / "plant.toml"
    plant.write_text("[plant]\n")
    with pytest.raises(BackupError, match=r"no store at .*; set \[store\] path in --settings"):
        back_up(Settings(folder=tmp_path), plant, tmp_path / "b.tar")
    assert not (tmp_path / "b.tar").exists()


def test_log_of_another_database_is_in_the_way(tmp_path: Path) -> None:
    """Moving the store away as told, and not what SQLite wrote beside it, is noticed."""
    settings, plant = filled(tmp_path / "here")
    back_up(settings, plant, tmp_path / "b.tar")
    there = replace(settings, folder=tmp_path / "there")
    there.folder.mkdir()
    (there.folder / "stokehold.sqlite-wal").write_bytes(b"of another time")
    with pytest.raises(BackupError, match=r"stokehold\.sqlite-wal: is in the way"):
        restore(there, tmp_path / "there", tmp_path / "b.tar")


def test_restore_that_fails_leaves_the_way_free_for_the_next(tmp_path: Path) -> None:
    """A damaged last member takes the ones before it back, so that another copy can be used."""
    settings, plant = filled(tmp_path / "here")
    archive = tmp_path / "b.tar"
    back_up(settings, plant, archive)
    good = archive.read_bytes()
    content = bytearray(good)
    with tarfile.open(archive) as opened:
        content[opened.getmember("photos/plate.jpg").offset_data] ^= 1
    archive.write_bytes(content)
    there = replace(settings, folder=tmp_path / "there")
    with pytest.raises(BackupError, match="damaged"):
        restore(there, tmp_path / "there", archive)
    archive.write_bytes(good)
    assert len(restore(there, tmp_path / "there", archive)) == 5
