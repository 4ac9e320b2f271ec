"""Rehearsal folders: written, read back, refused where something is missing."""

import numpy as np
import pytest

from analysis.base.quantities import physical_range
from analysis.rehearsal.rehearse import rehearse
from collector.errors import FormError
from collector.files.plant_file import load_plant
from collector.files.rehearsal_folder import (
    FAST_LOG_FILE,
    LOG_FILE,
    read_rehearsal,
    write_rehearsal,
)


@pytest.mark.parametrize("log", [LOG_FILE, FAST_LOG_FILE])
def test_folder_reads_back_as_it_was_written(tmp_path, log):
    """Plant, readings and truth survive the way through the files, whatever lay there before."""
    made = rehearse("swap", 1.5, 4, year=False)
    for before in (LOG_FILE, FAST_LOG_FILE):
        write_rehearsal(tmp_path / "one", rehearse("healthy", 0.2, 4, year=False), log=before)
    rows = write_rehearsal(tmp_path / "one", made, log=log)
    back = read_rehearsal(tmp_path / "one")
    assert back.plant == made.plant
    assert rows == sum(len(r) for r in made.record.values())
    for channel in made.plant.channels:
        readings = made.record[channel.id]
        low, high = physical_range(channel.quantity, channel.place)  # codes of errors are refused
        sent = (readings.value >= low) & (readings.value <= high)
        assert np.array_equal(readings.time_ms[sent], back.record[channel.id].time_ms)
        assert np.allclose(readings.value[sent], back.record[channel.id].value)
    assert back.truth["swap"]["pump"] == "heating"


@pytest.mark.parametrize("seed", range(4))
def test_drawn_plants_are_valid_plant_files(tmp_path, seed):
    """What the model draws passes every check of the plant file."""
    made = rehearse("mixed", 0.2, seed, year=False)
    write_rehearsal(tmp_path, made)
    assert load_plant(tmp_path / "plant.toml") == made.plant


def test_missing_truth_is_told(tmp_path):
    """A folder without truth names the file that is missing."""
    write_rehearsal(tmp_path, rehearse("healthy", 0.2, 4, year=False))
    (tmp_path / "truth.json").unlink()
    with pytest.raises(FormError, match=r"truth\.json"):
        read_rehearsal(tmp_path)
