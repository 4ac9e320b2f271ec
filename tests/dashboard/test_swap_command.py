"""The swap's record on the command line: begun, written, guided through, resumed, shown."""

import io
import json
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from analysis.exchange.checklist import STEPS
from dashboard.cli import main

PLANT = """
[plant]
name = "Quay House"
timezone = "Europe/Dublin"
[[pump]]
id = "heating"
drive = "induction"
always_on = true
rated_power_w = [45, 65]
[[pump]]
id = "charging"
drive = "induction"
[[swap]]
pump = "charging"
time = 2025-03-14T10:30:00Z
claim_kwh_per_year = 100
"""
HEATING = ["--pump", "heating"]


@pytest.fixture
def where(tmp_path: Path) -> list[str]:
    """Arguments of an installation of its own."""
    (tmp_path / "plant.toml").write_text(PLANT)
    (tmp_path / "settings.toml").write_text("")
    return ["--plant", str(tmp_path / "plant.toml"), "--settings", str(tmp_path / "settings.toml")]


def shown(where: list[str], capsys: pytest.CaptureFixture[str]) -> dict:
    capsys.readouterr()
    main(["swap", "show", *HEATING, *where, "--json"])
    return json.loads(capsys.readouterr().out)


def test_cards_powers_and_photos_are_kept(
    where: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The old pump's card begins with the plant file's words; a changed photo is told."""
    assert main(["swap", "start", *HEATING, *where, "--who", "fitter", "--claim", "420"]) == 0
    picture = tmp_path / "old plate.jpg"
    Image.new("RGB", (8, 6), "grey").save(picture)
    new = ["--new", "drive=electronic", "length=180", "thread=G 1 1/2", "index=0.18", "most=40"]
    assert main(["swap", "record", *HEATING, *where, *new, "--photo", str(picture)]) == 0
    watts = ["--watts", "old:III=64.2", "new:pp low=6.1..5.8..6.4"]
    assert main(["swap", "record", *HEATING, *where, *watts]) == 0
    document = shown(where, capsys)
    assert (document["who"], document["claim_kwh_per_year"]) == ("fitter", 420)
    old, new_card = document["old"], document["new"]
    assert (old["drive"], old["least_w"], old["most_w"]) == ("induction", 45, 65)
    assert (new_card["thread"], new_card["port_to_port_mm"]) == ("G 1 1/2", 180)
    powers = {(p["pump"], p["setting"]): p["power_w"] for p in document["powers"]}
    assert powers["new", "pp low"] == {"value": 6.1, "low": 5.8, "high": 6.4}
    assert powers["old", "III"]["low"] < 64.2 < powers["old", "III"]["high"]
    (photo,) = document["photos"]
    (kept,) = (tmp_path / "stokehold.photos").iterdir()
    assert kept.name == photo["name"]
    kept.write_bytes(b"another picture")
    assert main(["swap", "show", *HEATING, *where]) == 1
    assert "gone or changed" in capsys.readouterr().err


def test_the_safe_order_is_kept(where: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """No pump is taken out live or hot, none is switched on before it is vented."""
    main(["swap", "start", *HEATING, *where])
    assert main(["swap", "record", *HEATING, *where, "--done", "powered"]) == 2
    assert "comes after vented" in capsys.readouterr().err
    assert main(["swap", "record", *HEATING, *where, "--done", "isolated"]) == 2
    assert "comes after dead, cool" in capsys.readouterr().err
    assert shown(where, capsys)["steps"] == {}


def test_the_guide_is_resumed_where_it_was_left(
    where: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stopped after three steps it goes on with the fourth; done, the swap is in the logbook."""
    main(["swap", "start", *HEATING, *where, "--who", "fitter"])
    monkeypatch.setattr("sys.stdin", io.StringIO("\nthree photos\n\nq\n"))
    assert main(["swap", "guide", *HEATING, *where]) == 0
    steps = shown(where, capsys)["steps"]
    assert list(steps) == ["before", "photos", "dead"]
    assert steps["photos"]["words"] == "three photos"
    monkeypatch.setattr("sys.stdin", io.StringIO("\n" * 40))
    assert main(["swap", "guide", *HEATING, *where]) == 0
    said = capsys.readouterr().out
    assert said.startswith("cool: ")
    assert "never run dry" in said
    assert "scalding water and steam" in said
    assert "Every step is done." in said
    document = shown(where, capsys)
    assert document["open_steps"] == []
    assert document["time"] == document["steps"]["powered"]["time"]
    main(["logbook", *where, "--json"])
    (entry,) = json.loads(capsys.readouterr().out)["entries"]
    assert (entry["kind"], entry["subject"], entry["who"]) == ("swap", "heating", "fitter")


def test_list_knows_both_sources(where: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """A record at the time of a plant-file swap is the same swap; another one is another."""
    charging = ["--pump", "charging", "--claim", "300", "--time", "2025-03-14T12:00:00Z"]
    main(["swap", "start", *where, *charging])
    main(["swap", "start", *where, *HEATING, "--time", "2026-01-05T12:00:00Z", "--claim", "400"])
    capsys.readouterr()
    assert main(["swap", "list", *where, "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["swaps"]
    found = [(r["pump"], r["time"], r["claim_kwh_per_year"], r["record"]["number"]) for r in rows]
    assert found == [
        ("heating", "2026-01-05T12:00:00Z", 400, 2),
        ("charging", "2025-03-14T10:30:00Z", 100, 1),
    ]


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        (["show", "--pump", "heating"], "no swap of 'heating' is recorded"),
        (["start"], "'None' is no pump of Quay House"),
        (["start", "--pump", "heating", "--old", "colour=red"], "'colour=red' cannot be"),
        (["start", "--pump", "heating", "--new", "length=long"], "'length=long' cannot be"),
    ],
)
def test_what_cannot_be_meant_is_refused(
    asked: list[str], told: str, where: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Status 2 and a line that says what to do."""
    assert main(["swap", *asked, *where]) == 2
    assert told in capsys.readouterr().err


def test_every_step_can_be_reached_and_dangers_are_named() -> None:
    """Each condition names an earlier step; work on mains, hot water and dry running is warned."""
    names = [step.name for step in STEPS]
    for step in STEPS:
        assert all(names.index(one) < names.index(step.name) for one in step.after)
    cautions = {step.name: step.caution.lower() for step in STEPS}
    for name, danger in (
        ("dead", "mains"),
        ("cool", "scald"),
        ("relieved", "steam"),
        ("vented", "never run dry"),
        ("vented", "steam"),
    ):
        assert danger in cautions[name]
    trades = [step.who for step in STEPS if step.name in ("dead", "wires", "filled", "powered")]
    assert all("licensed trade" in who for who in trades)


def test_only_pictures_of_a_bounded_size_are_kept_as_photos(
    where: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whatever lies in the folder goes into every backup: a wrong file is refused, nothing kept."""
    main(["swap", "start", *HEATING, *where])
    wrong = tmp_path / "secrets.jpg"
    wrong.write_text("not a picture")
    cut_off = tmp_path / "cut.png"
    whole = BytesIO()
    Image.new("RGB", (64, 64), "grey").save(whole, "PNG")
    cut_off.write_bytes(whole.getvalue()[:40])
    large = tmp_path / "large.jpg"
    with large.open("wb") as file:
        file.truncate(31 << 20)
    for path, remedy in ((wrong, "save it as JPEG"), (cut_off, "JPEG"), (large, "save it smaller")):
        capsys.readouterr()
        asked = ["swap", "record", *HEATING, *where, "--mode", "II", "--photo", str(path)]
        assert main(asked) == 2
        assert remedy in capsys.readouterr().err
    document = shown(where, capsys)
    assert (document["photos"], document["mode"]) == ([], "")
    assert not (tmp_path / "stokehold.photos").exists()
