"""The command line: exit status, one line on standard error, JSON and nothing else on output."""

import json
from pathlib import Path

import pytest

from collector.store.protocol import clock_ms
from collector.store.sqlite import SqliteStore
from dashboard.cli import COMMANDS, main

REVERSED = ("2026-02-01T00:00:00Z", "--to", "2026-01-01T00:00:00Z")
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


@pytest.mark.smoke
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
        (
            ["energy", "--plant", "PLANT", "--log", "LOG", "--from", "2026-02-01T00:00:00Z"],
            "--from: the readings end at 2026-01-02T23:59:00.001Z; give an earlier time",
        ),
        (
            ["energy", "--plant", "PLANT", "--log", "LOG", "--to", "2025-12-01T00:00:00Z"],
            "--to: the readings begin at 2026-01-01T00:00:00Z; give a later time",
        ),
        (
            ["export", "x.csv", "--plant", "PLANT", "--from", *REVERSED],
            "--to: lies before --from; exchange them",
        ),
        (["replay", "absent.csv"], "absent.csv: there is no such file"),
        (["replay", "LOG", "--plant", "absent.toml"], "absent.toml: cannot be read"),
        (["restore", "absent.tar"], "absent.tar: there is no such file"),
        (["rating", "--plant", "PLANT", "--log", "LOG", "--pump", "nope"], "'nope' is no pump of"),
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


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ("saving --hours 99999", "--hours: '99999' must be a number from 0 to 8760"),
        ("saving --hours nan", "--hours: 'nan' must be a number from 0 to 8760"),
        ("saving --hours -3", "--hours: '-3' must be"),
        ("saving --hours-within 1.5", "--hours-within: '1.5' must be a number from 0 to 1"),
        ("saving --cost nan", "--cost: 'nan' must be a number from 0 on"),
        ("saving --years 0", "--years: '0' must be a number above 0"),
        ("choose --heat-kw -8", "--heat-kw: '-8' must be"),
        ("choose --heat-kw nan", "--heat-kw: 'nan' must be"),
        ("choose --heat-kw 8 --spread-k 0", "--spread-k: '0' must be"),
        ("choose --loop-m -5", "--loop-m: '-5' must be"),
        ("choose --hours 20000", "--hours: '20000' must be"),
        ("energy --co2-electricity -1", "--co2-electricity: '-1' must be"),
        ("energy --co2-fuel nan", "--co2-fuel: 'nan' must be"),
        ("rating --rated-flow 0 --rated-head 0", "--rated-flow: '0' must be"),
        ("rating --within 0.02 -1 0", "--within: '-1' must be"),
        ("rating --within nan 0 0", "--within: 'nan' must be"),
        ("check --port 0", "--port: '0' must be a whole number from 1 to 65535"),
        ("rehearse stall --days -3", "--days: '-3' must be"),
        ("rehearse stall --days 0", "--days: '0' must be"),
        ("rehearse stall --days nan", "--days: 'nan' must be"),
        ("rehearse stall --fleet 0", "--fleet: '0' must be"),
        ("energy --plants x", "the following arguments are required: --plant"),
        ("energie", "invalid choice"),
    ],
)
def test_argument_that_cannot_be_is_one_line(
    arguments: str, message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A number out of its range is refused where it is read, by one way for all commands."""
    with pytest.raises(SystemExit) as ended:
        main(arguments.split())
    assert ended.value.code == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
    assert message in captured.err


@pytest.mark.parametrize(
    "command",
    [
        "cycles",
        "energy",
        "health",
        "boiler",
        "mode",
        "saving",
        "report r.pdf",
        "export x.csv",
        "trial",
    ],
)
def test_reading_where_no_store_is_makes_none(
    command: str, plant: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A mistyped folder is told, and stays as it was."""
    monkeypatch.chdir(plant.parent)
    assert main([*command.split(), "--plant", str(plant)]) == 2
    assert "no store at stokehold.sqlite; set [store] path" in capsys.readouterr().err
    assert [file.name for file in plant.parent.iterdir()] == ["plant.toml"]


@pytest.mark.parametrize(
    "command", ["cycles", "energy", "health", "boiler", "export x.csv", "swap list", "logbook list"]
)
def test_reading_makes_nothing_beside_the_store(
    command: str, plant: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A reading command leaves neither spool nor journal behind."""
    monkeypatch.chdir(plant.parent)
    store = SqliteStore(plant.parent / "stokehold.sqlite")
    store.write([("quay/heating.power", clock_ms() - k * 60_000, 60.0) for k in range(60)])
    store.close()
    (plant.parent / "stokehold.spool.sqlite").unlink()
    main([*command.split(), "--plant", str(plant)])
    capsys.readouterr()
    made = {file.name for file in plant.parent.iterdir()} - {"plant.toml", "x.csv"}
    assert made <= {"stokehold.sqlite", "stokehold.sqlite-shm", "stokehold.sqlite-wal"}


def test_rows_of_unknown_channels_are_something_to_be_told(plant: Path, log: Path) -> None:
    """An analysis of part of a log says so by its status, as import does."""
    with log.open("a") as file:
        file.write("2026-01-01T00:00:00Z,attic.power,40\n")
    assert main(["energy", "--plant", str(plant), "--log", str(log)]) == 1


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (
            "2026-01-01T00:00:00Z,attic.power,40\n",
            "none of its channels is in the plant file (attic",
        ),
        ("someday,heating.power,40\n", "log.csv:2: time is no RFC 3339 time"),
        ("", "holds no reading"),
    ],
)
def test_log_without_a_usable_row_is_refused(
    row: str, message: str, plant: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No span of 1970 is told of a log that gives nothing."""
    path = tmp_path / "log.csv"
    path.write_text("time,channel,value\n" + row)
    assert main(["energy", "--plant", str(plant), "--log", str(path)]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
    assert message in captured.err


def test_energy_in_json_holds_all_that_the_text_tells(
    plant: Path, log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Totals, the plug's own use, fuel, and emissions where a factor is given."""
    asked = ["energy", "--plant", str(plant), "--log", str(log), "--json"]
    assert main(asked) == 0
    plain = json.loads(capsys.readouterr().out)
    totals = {"electricity_per_year", "electricity_cost_per_year", "plug_own_per_year"}
    assert {"pumps", "boilers", "fuel"} | totals <= set(plain)
    assert "co2_per_year" not in plain["pumps"][0]
    assert main([*asked, "--co2-electricity", "0.4"]) == 0
    pump = json.loads(capsys.readouterr().out)["pumps"][0]
    assert pump["co2_per_year"]["value"] == pytest.approx(0.4 * pump["per_year"]["value"], rel=1e-4)
    assert pump["co2_per_year"]["unit"] == "kg"


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
    SqliteStore(tmp_path / "stokehold.sqlite").close()
    assert main(["energy", "--plant", str(folder), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [p["plant"] for p in document["plants"]] == ["Quay House", "Mill House"]


@pytest.mark.smoke
def test_every_command_has_help(capsys: pytest.CaptureFixture[str]) -> None:
    """No command without words."""
    for command in COMMANDS:
        with pytest.raises(SystemExit) as ended:
            main([command.name, "--help"])
        assert ended.value.code == 0
        assert command.words in " ".join(capsys.readouterr().out.split())


def test_running_power_is_told_of_a_few_hours(
    plant: Path, log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Three hours at 40 W hold no whole day, and were measured running all the same."""
    span = ["--from", "2026-01-01T06:00:00Z", "--to", "2026-01-01T09:00:00Z"]
    assert main(["rating", "--plant", str(plant), "--log", str(log), "--json", *span]) == 0
    (pump,) = json.loads(capsys.readouterr().out)["pumps"]
    assert pump["mean_running_power_w"] == pytest.approx(40.0)
