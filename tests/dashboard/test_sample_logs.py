"""The sample logs of the invented house, examined as a newcomer would."""

import json
from pathlib import Path

import pytest

from dashboard.cli import main

SAMPLES = Path(__file__).parents[2] / "sample_logs"


def now_findings(name: str, capsys: pytest.CaptureFixture[str]) -> set[tuple[str, str]]:
    """Part and fault of everything told as urgent now."""
    folder = SAMPLES / name
    main(["health", "--plant", str(folder / "plant.toml"), "--log", str(folder / "log.csv.gz"),
          "--json"])  # fmt: skip
    document = json.loads(capsys.readouterr().out)
    return {(f["subject"], f["fault"]) for f in document["findings"] if f["urgency"] == "now"}


@pytest.mark.smoke
def test_stalled_pump_is_found_and_nothing_else(capsys: pytest.CaptureFixture[str]) -> None:
    """Two days are enough to know a pump by; the one that stalls then is named."""
    assert now_findings("stalled_pump", capsys) == {("heating", "stall")}


@pytest.mark.parametrize("name", ["healthy_week", "air_after_refill", "short_cycling"])
def test_nobody_is_woken_where_nothing_is_urgent(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sound house, one with air in its pump, one with a hurried burner."""
    assert now_findings(name, capsys) == set()


def test_new_pump_is_not_judged_by_the_old_one(capsys: pytest.CaptureFixture[str]) -> None:
    """From 81 W to 8 W is a swap, no stall; mains that are off while it is made are work."""
    assert now_findings("swap", capsys) == set()


@pytest.mark.parametrize(
    ("name", "told"),
    [("short_cycling", {("boiler", "short_cycling")}), ("healthy_week", set())],
)
def test_a_hurried_burner_is_told_within_days_and_a_sound_one_is_not(
    name: str, told: set[tuple[str, str]], capsys: pytest.CaptureFixture[str]
) -> None:
    """Three days of a narrow band are told as such; nothing is told of the sound week."""
    folder = SAMPLES / name
    main(["health", "--plant", str(folder / "plant.toml"), "--log", str(folder / "log.csv.gz"),
          "--json"])  # fmt: skip
    document = json.loads(capsys.readouterr().out)
    assert {(f["subject"], f["fault"]) for f in document["findings"]} == told


def test_a_seized_pump_is_no_ignition_trouble(capsys: pytest.CaptureFixture[str]) -> None:
    """The limiter stops the burner while the pump stands; that is not told of the burner."""
    folder = SAMPLES / "stalled_pump"
    main(["health", "--plant", str(folder / "plant.toml"), "--log", str(folder / "log.csv.gz"),
          "--json"])  # fmt: skip
    document = json.loads(capsys.readouterr().out)
    assert "ignition_trouble" not in {f["fault"] for f in document["findings"]}
