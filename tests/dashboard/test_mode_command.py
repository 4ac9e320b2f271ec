"""``mode`` in words and JSON, and the pump rig's log through ``health``."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.base.time import DAY_MS, parse_rfc3339
from dashboard.cli import main

START = parse_rfc3339("2026-01-01T00:00:00Z")
PLANT = """
[plant]
name = "Quay House"
timezone = "UTC"
[[pump]]
id = "heating"
drive = "induction"
always_on = true
rated_power_w = [40, 75]
[[channel]]
id = "heating.power"
of = "heating"
quantity = "power"
unit = "W"
interval_s = 60
"""
RIG = """
[plant]
name = "Rig"
timezone = "UTC"
[[pump]]
id = "rig"
drive = "induction"
always_on = true
""" + "".join(
    f"""
[[channel]]
id = "rig.{name}"
of = "rig"
quantity = "{quantity}"
unit = "{unit}"
interval_s = 1
{f'place = "{place}"' if place else ""}
"""
    for name, quantity, unit, place in (
        ("current", "current", "A", ""),
        ("body", "temperature", "Cel", "body"),
        ("water", "temperature", "Cel", "flow"),
        ("flow", "flow", "L/min", ""),
    )
)


def written(folder: Path, plant: str, rows: list[str]) -> list[str]:
    """Plant file and log, as arguments."""
    (folder / "plant.toml").write_text(plant)
    (folder / "log.csv").write_text("\n".join(["time,channel,value", *rows]) + "\n")
    return ["--plant", str(folder / "plant.toml"), "--log", str(folder / "log.csv")]


@pytest.fixture
def turned(tmp_path: Path) -> list[str]:
    """Twelve days at one minute: 55 W, from the seventh day on 75 W."""
    time_ms = np.arange(START, START + 12 * DAY_MS, 60_000)
    stamps = np.datetime_as_string(time_ms.view("datetime64[ms]"), unit="s")
    watts = np.where(time_ms < START + 6 * DAY_MS, 55.0, 75.0) + np.sin(time_ms / 1e7)
    rows = [f"{t}Z,heating.power,{w:.1f}" for t, w in zip(stamps, watts, strict=True)]
    return written(tmp_path, PLANT, rows)


def test_mode_in_words_and_json(turned: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """The speed now, when it was changed, and what would be needed for the rest."""
    assert main(["mode", *turned]) == 0
    words = capsys.readouterr().out
    assert "heating: speed III" in words
    assert "setting changed 2026-01-07" in words
    assert "needs flow and return temperatures" in words
    assert main(["mode", "--json", *turned]) == 0
    (pump,) = json.loads(capsys.readouterr().out)["pumps"]
    assert pump["control"]["behaviour"] == "speed III"
    (change,) = pump["changes"]
    assert change["time"].startswith("2026-01-07")
    assert change["after_w"] == pytest.approx(75, abs=1)
    assert pump["strength"]["difference"]["value"] is None


@pytest.mark.shared_data
def test_a_closing_valve_on_the_rig_reaches_the_health_command(
    tmp_path: Path, shared_data: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A real run with a valve closing from second 573: noted within 100 s, on the flow.

    Source: SKAB v0.9, valve1/3 (Katser and Kozitsin 2020).
    """
    frame = pd.read_csv(shared_data / "pump_rig/valve1_3.csv.gz", sep=";", parse_dates=["datetime"])
    names = {
        "current": "Current",
        "body": "Temperature",
        "water": "Thermocouple",
        "flow": "Volume Flow RateRMS",
    }
    stamps = frame["datetime"].dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    rows = [
        f"{t},rig.{name},{v}"
        for name, column in names.items()
        for t, v in zip(stamps, frame[column], strict=True)
    ]
    assert main(["health", "--json", *written(tmp_path, RIG, rows)]) == 0
    notes = json.loads(capsys.readouterr().out)["data_quality"]
    (note,) = [n for n in notes if n["channel"] == "rig.flow"]
    late_s = (parse_rfc3339(note["from"]) - parse_rfc3339(stamps[573])) / 1000
    assert abs(late_s) < 100
    assert "below what it showed before" in note["problem"]
