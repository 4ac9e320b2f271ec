"""The command line: exit status, one line on standard error, JSON and nothing else on output."""

import json
from pathlib import Path

import pytest

from dashboard.cli import COMMANDS, main

PLANT = """
[plant]
name = "Quay House"
timezone = "Europe/Dublin"
[[boiler]]
id = "boiler"
fuel = "gas"
[[pump]]
id = "heating"
drive = "electronic"
always_on = true
[[channel]]
id = "heating.power"
of = "heating"
quantity = "power"
unit = "W"
[[channel]]
id = "boiler.flow"
of = "boiler"
quantity = "temperature"
place = "flow"
unit = "Cel"
"""


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    path = tmp_path / "plant.toml"
    path.write_text(PLANT)
    return path


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Two days of a pump at 40 W that stops for the last six hours."""
    path = tmp_path / "log.csv"
    rows = ["time,channel,value"]
    for minute in range(2 * 1440):
        stamp = f"2026-01-{1 + minute // 1440:02d}T{minute // 60 % 24:02d}:{minute % 60:02d}:00Z"
        rows.append(f"{stamp},heating.power,{40 if minute < 2 * 1440 - 360 else 0}")
    path.write_text("\n".join(rows) + "\n")
    return path


def test_health_tells_a_stopped_pump(
    plant: Path, log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The finding is in the JSON, and sets the status only where asked."""
    asked = ["health", "--plant", str(plant), "--log", str(log), "--json"]
    assert main(asked) == 0
    document = json.loads(capsys.readouterr().out)
    (finding,) = document["findings"]
    assert (finding["subject"], finding["fault"], finding["urgency"]) == ("heating", "stall", "now")
    assert finding["from"] == "2026-01-02T18:00:00Z"
    assert finding["to"] is None
    assert main([*asked, "--fail-on-finding"]) == 1


def test_words_for_a_person(plant: Path, log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without --json every analysis answers in words, with check, who and caution."""
    for command in ("energy", "cycles", "health"):
        assert main([command, "--plant", str(plant), "--log", str(log)]) == 0
    said = capsys.readouterr().out
    for words in (
        "heating: 1.68 kWh measured",
        "check first:",
        "caution:",
        "boiler: cannot be judged",
    ):
        assert words in said


def test_from_and_to_limit_the_span(
    plant: Path, log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Only what lies within the span asked for is counted."""
    span = ["--from", "2026-01-01T06:00:00Z", "--to", "2026-01-01T13:00:00+01:00"]
    assert main(["energy", "--plant", str(plant), "--log", str(log), "--json", *span]) == 0
    document = json.loads(capsys.readouterr().out)
    assert (document["from"], document["to"]) == ("2026-01-01T06:00:00Z", "2026-01-01T12:00:00Z")
    assert document["pumps"][0]["measured_kwh"] == pytest.approx(0.24)


def test_bad_rows_set_status_one_and_lose_nothing(
    plant: Path, log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A broken row is told on standard error; the answer stands on standard output alone."""
    with log.open("a") as file:
        file.write("someday,heating.power,40\n")
    assert main(["energy", "--plant", str(plant), "--log", str(log), "--json"]) == 1
    captured = capsys.readouterr()
    assert json.loads(captured.out)["pumps"][0]["measured_kwh"] == pytest.approx(1.68, rel=0.001)
    assert f"{log}:2882: time is no RFC 3339 time" in captured.err


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["energy", "--plant", "absent.toml"], "absent.toml: cannot be read"),
        (["energy", "--plant", "PLANT", "--log", "absent.csv"], "absent.csv: cannot be read"),
        (["energy", "--plant", "PLANT", "--log", "LOG", "--from", "noon"], "--from: 'noon'"),
        (["survey"], "--broker: is missing"),
        (["export", "x.csv", "--plant", "PLANT", "--channel", "y"], "'y' is no channel"),
    ],
)
def test_unusable_input_is_status_two_and_one_line(
    arguments: list[str],
    message: str,
    plant: Path,
    log: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """One line on standard error says what, where and what to do; standard output is empty."""
    monkeypatch.chdir(plant.parent)
    filled = [{"PLANT": str(plant), "LOG": str(log)}.get(a, a) for a in arguments]
    assert main(filled) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
    assert message in captured.err


def test_check_names_every_mistake(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Check lists all mistakes, each with its line, and --json holds the same."""
    path = tmp_path / "plant.toml"
    path.write_text(PLANT.replace('"gas"', '"coal"').replace('unit = "W"', 'unit = "bar"'))
    assert main(["check", "--plant", str(path), "--json"]) == 2
    document = json.loads(capsys.readouterr().out)
    assert document["ok"] is False
    assert len(document["problems"]) == 2
    path.write_text(PLANT)
    assert main(["check", "--plant", str(path)]) == 0


def test_folder_of_plants_answers_for_each(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder of plant files gives one document with a part for each plant."""
    monkeypatch.chdir(tmp_path)
    folder = tmp_path / "plants"
    folder.mkdir()
    (folder / "a.toml").write_text(PLANT)
    (folder / "b.toml").write_text(PLANT.replace("Quay House", "Mill House"))
    assert main(["energy", "--plant", str(folder), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [p["plant"] for p in document["plants"]] == ["Quay House", "Mill House"]


def test_every_command_has_help_and_stands_in_the_readme(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """No command without words, none that the README does not know."""
    readme = (Path(__file__).parents[2] / "README.md").read_text()
    for command in COMMANDS:
        with pytest.raises(SystemExit) as ended:
            main([command.name, "--help"])
        assert ended.value.code == 0
        assert command.words in capsys.readouterr().out.replace("\n", " ")
        assert f"stokehold {command.name}" in readme
