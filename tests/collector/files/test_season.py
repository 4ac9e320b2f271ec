"""The demo's year on disk: what the model plays, as fine as instruments see it."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.rehearsal.course.play import play
from analysis.rehearsal.physics.records import BRANCH, STEM
from analysis.rehearsal.rehearse import set_scene
from analysis.rehearsal.samples import demo_rehearsal, demo_staging
from collector.errors import FormError
from collector.files.season import SEASON_STEP_S, read_season, write_season

DAYS = 12
SEEN = {"flow": 0.1, "return": 0.1, "room": 0.05, "store_top": 0.1, "level": 0.02, "on": 1.0}
"""Columns the instruments look at, and how finely."""


def test_the_file_is_what_the_model_plays_today() -> None:
    """Its first days, marched anew; run ``python deploy/season.py`` after a change of the model."""
    staging = demo_staging()
    scene = set_scene(staging, staging.faults)
    fresh = play(replace(scene, minutes=DAYS * 1440), step_s=SEASON_STEP_S)
    kept = read_season()
    names = STEM + BRANCH * 2
    for at, name in enumerate(names):
        if name in SEEN:
            apart = np.abs(kept.table[: len(fresh.table), at] - fresh.table[:, at])
            assert apart.max() <= 0.51 * SEEN[name], name
    assert kept.phase_s[: len(fresh.phase_s)] == pytest.approx(fresh.phase_s, abs=0.06)
    assert kept.phase[: len(fresh.phase)].tolist() == fresh.phase.tolist()


def test_written_and_read_back_is_the_same(tmp_path: Path) -> None:
    """A second writing loses nothing more."""
    once = read_season()
    write_season(tmp_path / "again.xz", once)
    again = read_season(tmp_path / "again.xz")
    assert np.array_equal(once.table, again.table)
    assert np.array_equal(once.phase_s, again.phase_s)


def test_damaged_file_is_told(tmp_path: Path) -> None:
    """Half a file names itself and what to do."""
    path = tmp_path / "half.xz"
    path.write_bytes(b"\xfd7zXZ\x00\x00")
    with pytest.raises(FormError, match=r"half.xz: the demo's year cannot be read"):
        read_season(path)


@pytest.mark.parametrize("now_ms", [1_784_116_800_000, 1_797_000_123_456])
def test_demo_ends_at_the_present_whenever_that_is(now_ms: int) -> None:
    """A year of readings before now and two days after it; the swap lies within them."""
    made = demo_rehearsal(now_ms, read_season())
    for readings in made.record.values():
        assert readings.time_ms[0] < now_ms - 364 * 86_400_000
        assert readings.time_ms[-1] > now_ms + 86_400_000 * 1.9
    (swap,) = made.plant.swaps
    assert made.truth.start_ms < swap.time.timestamp() * 1000 < now_ms
