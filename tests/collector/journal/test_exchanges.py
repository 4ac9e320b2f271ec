"""Swap records share the journal's database and come back from a backup with their photos."""

from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa
from PIL import Image

from analysis.plant.exchanges import PumpCard, SettingPower, StepDone, SwapRecord, with_recorded
from analysis.plant.plant import PumpPlate
from collecting import PLANT
from collector.files.settings import Settings
from collector.installation.backup import back_up, restore
from collector.installation.site import open_journal
from collector.journal.exchanges import SwapBook, SwapError, photo_folder
from collector.journal.journal import Journal
from collector.journal.schema import bring_up_to_date

RECORD = SwapRecord(
    plant="quay",
    pump="heating",
    started_ms=10,
    who="fitter",
    claim_kwh_per_year=420.0,
    old=PumpCard(drive="induction", least_w=45.0, most_w=65.0, always_on=True),
    new=PumpCard(
        drive="electronic", thread="G 1 1/2", head_m=6.0, energy_index=0.18, plug="white 2"
    ),
    steps={},
)


@pytest.fixture(params=["file", "postgresql"])
def journal(request: pytest.FixtureRequest, tmp_path: Path):
    """A journal in a file, and one in a database of many boxes."""
    if request.param == "file":
        place: Path | str = tmp_path / "j.sqlite"
    else:
        place = str(request.getfixturevalue("postgres").fresh_database())
    with closing(Journal(place)) as made:
        yield made


def test_a_record_comes_back_as_it_was(journal: Journal, tmp_path: Path) -> None:
    """Cards, steps in their order, powers; ticking twice and measuring anew replace."""
    book = SwapBook(journal.engine, tmp_path / "photos")
    kept = book.start(RECORD)
    book.do(kept, "dead", StepDone(20, "fitter", "tested"))
    book.do(kept, "before", StepDone(15, "owner", ""))
    book.do(kept, "dead", StepDone(21, "fitter", "tested twice"))
    for watts in (64.0, 63.5):
        book.add_power(kept, SettingPower("old", "III", watts, watts - 3, watts + 3))
    book.save(replace(kept, time_ms=30))
    again = SwapBook(journal.engine, tmp_path / "photos").open_record("quay", "heating")
    steps = {
        "before": StepDone(15, "owner", ""),
        "dead": StepDone(21, "fitter", "tested twice"),
    }
    powers = (SettingPower("old", "III", 63.5, 60.5, 66.5),)
    assert again == replace(RECORD, id=kept.id, time_ms=30, steps=steps, powers=powers)
    assert list(again.steps) == ["before", "dead"]
    assert book.records("mill") == []


def test_a_journal_of_an_older_version_learns_of_plugs(journal: Journal, tmp_path: Path) -> None:
    """Its table of pumps lacks the plug; records of before have none, new ones keep theirs."""
    kept = SwapBook(journal.engine, tmp_path).start(replace(RECORD, time_ms=20))
    with journal.engine.begin() as connection:
        connection.execute(sa.text("ALTER TABLE swap_pump DROP COLUMN plug"))
        connection.execute(sa.text("DROP TABLE journal_version"))
    bring_up_to_date(journal.engine)
    book = SwapBook(journal.engine, tmp_path)
    assert book.open_record("quay", "heating").new == replace(RECORD.new, plug=None)
    book.save(replace(kept, old=replace(kept.old, plug="grey 1")))
    (swap,) = with_recorded(PLANT, book.records("quay")).swaps
    assert (swap.old.plug, swap.new.plug, swap.same_plug) == ("grey 1", "white 2", False)


def test_one_open_swap_a_pump(journal: Journal, tmp_path: Path) -> None:
    """A second begins only when the first one's pump is in."""
    book = SwapBook(journal.engine, tmp_path)
    kept = book.start(RECORD)
    with pytest.raises(SwapError, match="is not finished"):
        book.start(RECORD)
    book.save(replace(kept, time_ms=30))
    assert book.start(replace(RECORD, started_ms=40)).id != kept.id


def test_backup_and_restore_keep_records_and_photos(tmp_path: Path) -> None:
    """On another box the record is whole and the photo's checksum still fits."""
    here = Settings(folder=tmp_path / "here")
    here.folder.mkdir()
    plant = here.folder / "plant.toml"
    plant.write_text("[plant]\n")
    picture = tmp_path / "plate.jpg"
    Image.new("RGB", (8, 6), "grey").save(picture)
    with closing(open_journal(here)) as journal:
        book = SwapBook(journal.engine, photo_folder(here.at(here.store.path)))
        kept = book.start(RECORD)
        photo = book.add_photo(kept, picture, "old plate")
    back_up(here, plant, tmp_path / "b.tar")
    there = replace(here, folder=tmp_path / "there")
    restore(there, tmp_path / "there" / "plants", tmp_path / "b.tar")
    with closing(open_journal(there)) as journal:
        book = SwapBook(journal.engine, photo_folder(there.at(there.store.path)))
        again = book.open_record("quay", "heating")
        assert again == replace(kept, photos=(photo,))
        assert book.damaged(again) == []
        assert book.photo_path(photo).read_bytes() == picture.read_bytes()


def test_analyses_see_recorded_swaps(journal: Journal, tmp_path: Path) -> None:
    """A finished record is a swap of the plant like one of the plant file."""
    book = SwapBook(journal.engine, tmp_path)
    kept = book.start(RECORD)
    assert with_recorded(PLANT, book.records("quay")).swaps == ()
    book.save(replace(kept, time_ms=86_400_000))
    (swap,) = with_recorded(PLANT, book.records("quay")).swaps
    assert (swap.pump, swap.claim_kwh_per_year) == ("heating", 420.0)
    assert swap.time.isoformat() == "1970-01-02T00:00:00+00:00"
    assert swap.old == PumpPlate(drive="induction", rated_power_w=(45.0, 65.0), always_on=True)
