"""``commissioning`` over a log and over a store, where the nightly job keeps the same reports."""

import json
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from analysis.base.time import DAY_MS, parse_rfc3339
from analysis.readings.readings import Readings
from collector.files.log_writing import write_log
from collector.files.plant_file import load_plants
from collector.files.settings import load_settings
from collector.installation.site import Site
from collector.nightly.jobs import work_at_night
from dashboard.cli import main

PLANT = """
[plant]
name = "Quay House"
timezone = "Europe/Dublin"
[[pump]]
id = "heating"
drive = "electronic"
rated_power_w = [4, 40]
[[channel]]
id = "heating.power"
of = "heating"
quantity = "power"
unit = "W"
interval_s = 60
[[channel]]
id = "heating.flow"
of = "heating"
quantity = "temperature"
place = "flow"
unit = "Cel"
interval_s = 60
[[channel]]
id = "heating.return"
of = "heating"
quantity = "temperature"
place = "return"
unit = "Cel"
interval_s = 60
"""
SWAP = parse_rfc3339("2026-01-10T10:00:00Z")


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    path = tmp_path / "plant.toml"
    path.write_text(PLANT)
    (tmp_path / "settings.toml").write_text("")
    return path


def turned_round() -> dict[str, Readings]:
    """Five days right, then three with flow and return exchanged, as behind a reversed pump."""
    times = SWAP + np.arange(-5 * 1440, 3 * 1440) * 60_000
    minute = np.arange(len(times))
    warm = np.clip((minute % 180) / 15.0, 0, 1) * (minute % 180 < 100)
    near, far = 28 + 27 * warm, 28 + 19 * np.roll(warm, 6)
    after = times >= SWAP
    return {
        "heating.power": Readings.of(times, np.where(after, 12.0, 60.0)),
        "heating.flow": Readings.of(times, np.where(after, far, near)),
        "heating.return": Readings.of(times, np.where(after, near, far)),
    }


def test_a_reversed_pump_is_told_after_a_day(
    plant: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """From a log and a swap of the plant file: found, with what to do and the exit status asked."""
    plant.write_text(PLANT + '[[swap]]\npump = "heating"\ntime = 2026-01-10T10:00:00Z\n')
    (channels,) = [p.channels for p in load_plants(plant)]
    log = plant.with_name("log.csv.gz")
    record = turned_round()
    write_log(log, ((c, record[c.id]) for c in channels))
    asked = ["commissioning", "--plant", str(plant), "--log", str(log)]
    assert main([*asked, "--json"]) == 0
    (report,) = json.loads(capsys.readouterr().out)["reports"]
    assert (report["stage"], report["until"]) == ("day", "2026-01-11T10:00:00Z")
    states = {check["check"]: check["state"] for check in report["checks"]}
    assert states["reversed"] == "found"
    assert states["too_weak"] == "unknown"
    assert main([*asked, "--fail-on-finding"]) == 1
    said = capsys.readouterr().out
    assert "! The water goes the wrong way round: found, very likely" in said
    assert "prove it dead" in said


def test_the_nightly_job_keeps_the_reports_of_recorded_swaps(
    plant: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A swap known only from its record is judged by the job as by the command."""
    where = ["--plant", str(plant), "--settings", str(plant.with_name("settings.toml"))]
    assert main(["swap", "start", *where, "--time", "2026-01-10T10:00:00Z"]) == 0
    settings = load_settings(plant.with_name("settings.toml"))
    plants = load_plants(plant)
    with closing(Site.open(plants, settings)) as site:
        for channel, readings in turned_round().items():
            site.store.load(f"quay-house/{channel}", readings)
        work_at_night(site, SWAP + 3 * DAY_MS)
        kept = site.journal.result("quay-house", "commissioning")
    capsys.readouterr()
    assert main(["commissioning", *where, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert kept is not None
    assert kept[1] == document["reports"]
    assert document["reports"][0]["checks"][0]["state"] == "found"


def test_without_a_swap_there_is_no_report(plant: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command says so instead of judging nothing."""
    where = ["--plant", str(plant), "--settings", str(plant.with_name("settings.toml"))]
    Site.open(load_plants(plant), load_settings(plant.with_name("settings.toml"))).close()
    assert main(["commissioning", *where]) == 0
    assert "no swap lies a day or more before the last reading" in capsys.readouterr().out
