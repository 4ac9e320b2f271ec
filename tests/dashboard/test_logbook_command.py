"""The logbook on the command line: written down, found again, refused where it makes no sense."""

import json
from pathlib import Path

import pytest

from dashboard.cli import main

PLANT = """
[plant]
name = "Quay House"
timezone = "Europe/Dublin"
[[boiler]]
id = "boiler"
fuel = "oil"
[[pump]]
id = "heating"
drive = "induction"
"""


@pytest.fixture
def where(tmp_path: Path) -> list[str]:
    """Arguments of an installation of its own."""
    (tmp_path / "plant.toml").write_text(PLANT)
    (tmp_path / "settings.toml").write_text("")
    return ["--plant", str(tmp_path / "plant.toml"), "--settings", str(tmp_path / "settings.toml")]


def test_what_is_written_down_is_listed_newest_first(
    where: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Words, kind, subject, time and who come back; filters choose."""
    early = ["--time", "2026-01-02T10:00:00+01:00", "--who", "owner", "--kind", "refill"]
    assert main(["logbook", "add", "topped up", "to 1.4 bar", *where, *early]) == 0
    late = ["--time", "2026-02-01T00:00:00Z", "--kind", "nozzle", "--subject", "boiler", "--json"]
    capsys.readouterr()
    assert main(["logbook", "add", "0.55 gph", *where, *late]) == 0
    assert json.loads(capsys.readouterr().out)["id"] == 2
    assert main(["logbook", *where, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["plant"] == "Quay House"
    assert [(e["time"], e["subject"], e["kind"], e["words"]) for e in document["entries"]] == [
        ("2026-02-01T00:00:00Z", "boiler", "nozzle", "0.55 gph"),
        ("2026-01-02T09:00:00Z", "plant", "refill", "topped up to 1.4 bar"),
    ]
    assert main(["logbook", *where, "--kind", "refill"]) == 0
    said = capsys.readouterr().out
    assert "plant, refill: topped up to 1.4 bar (owner)" in said
    assert "nozzle" not in said


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        (["add"], "words are missing"),
        (["add", "x", "--subject", "attic"], "'attic' is no part of Quay House"),
        (["add", "x", "--time", "noon"], "--time: 'noon'"),
    ],
)
def test_what_makes_no_sense_is_refused(
    asked: list[str], told: str, where: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Status 2, a line that says what to do, and nothing written."""
    assert main(["logbook", *asked, *where]) == 2
    assert told in capsys.readouterr().err
    main(["logbook", *where, "--json"])
    assert json.loads(capsys.readouterr().out)["entries"] == []
