"""The guided trial end to end: a real store filled as a plug would, hand and clock played."""

import json
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from analysis.base.time import MINUTE_MS
from collector.files.plant_file import load_plants
from collector.files.settings import load_settings
from collector.installation.site import open_journal
from collector.store.opening import open_store
from dashboard.cli import main
from dashboard.commands import trial

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
rated_power_w = [4, 40]
[[channel]]
id = "heating.power"
of = "heating"
quantity = "power"
unit = "W"
interval_s = 10
"""
START = 1_767_603_600_000
WATTS = {"I": 8.0, "III": 35.0, "unplugged": 0.0}


class House:
    """A clock that moves only while the program waits, a plug that writes, a hand on the knob."""

    def __init__(self, settings: Path, plant: Path) -> None:
        self.now = START
        self.watts = WATTS["III"]
        self.plants = load_plants(plant)
        self.settings = load_settings(settings)
        self.replies: list[str] = []
        self.rng = np.random.default_rng(2)

    def clock(self) -> int:
        """The played moment [ms]."""
        return self.now

    def wait(self, seconds: float) -> None:
        """Let time pass, with a reading every ten seconds."""
        times = self.now + np.arange(0, round(seconds * 1000), 10_000)
        values = self.watts + 0.05 * self.rng.standard_normal(len(times))
        with closing(open_store(self.settings, self.plants)) as store:
            rows = [
                ("quay-house/heating.power", int(t), float(v))
                for t, v in zip(times, values, strict=True)
            ]
            store.write(rows)
        self.now += round(seconds * 1000)

    def answer(self, question: str) -> str:
        """The next reply; the name of a setting turns the knob."""
        reply = self.replies.pop(0)
        if reply == "q":
            raise EOFError
        if "it is set" in question and reply in WATTS:
            self.watts = WATTS[reply]
            return ""
        return reply


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> House:
    (tmp_path / "plant.toml").write_text(PLANT)
    (tmp_path / "settings.toml").write_text("")
    made = House(tmp_path / "settings.toml", tmp_path / "plant.toml")
    made.wait(300)
    monkeypatch.setattr(trial, "clock_ms", made.clock)
    monkeypatch.setattr(trial, "pause", lambda _: made.wait(60))
    monkeypatch.setattr(trial, "_ask", made.answer)
    return made


@pytest.fixture
def where(house: House, tmp_path: Path) -> list[str]:
    return [
        "--plant", str(tmp_path / "plant.toml"), "--settings", str(tmp_path / "settings.toml"),
        "--pump", "heating", "--set", "I", "III", "--usual", "I",
    ]  # fmt: skip


def test_a_trial_interrupted_goes_on_and_gives_the_table(
    house: House, where: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Stopped after the first setting, resumed by the same command; all is kept."""
    main(["swap", "start", *where[:6], "--time", "2026-01-05T08:00:00Z"])
    house.replies = ["I", "8", "q"]
    assert main(["trial", *where]) == 0
    assert "the same command goes on from here" in capsys.readouterr().out
    house.now += 40 * MINUTE_MS
    house.replies = ["III", "44", "unplugged"]
    assert main(["trial", *where]) == 1
    said = capsys.readouterr().out
    assert said.count("caution:") == 2
    assert "I: 8.0 W" in said
    assert "! display: at III the pump shows 44 W" in said
    assert "- plug offset: without load the plug shows" in said
    capsys.readouterr()
    assert main(["trial", "show", *where, "--json"]) == 0
    result = json.loads(capsys.readouterr().out)["result"]
    table = {row["setting"]: row["power"] for row in result["table"]}
    for name in ("I", "III"):
        assert table[name]["low"] < WATTS[name] < table[name]["high"]
    with closing(open_journal(house.settings)) as journal:
        kept = journal.result("quay-house", "normal_w")
        assert kept is not None
        assert kept[1]["heating"] == pytest.approx(8.0, abs=0.2)
        assert [e.kind for e in journal.logbook("quay-house")] == ["setting", "swap"]
    main(["swap", "show", *where[:6], "--json"])
    powers = json.loads(capsys.readouterr().out)["powers"]
    assert {(p["pump"], p["setting"]) for p in powers} == {("new", "I"), ("new", "III")}


def test_single_moves_say_what_is_still_wanted(
    house: House, where: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """End refuses before ten minutes; skipping all ends a trial without a table."""
    assert main(["trial", "begin", *where]) == 0
    house.wait(240)
    assert main(["trial", "end", *where]) == 2
    assert "min still wanted" in capsys.readouterr().err
    house.wait(600)
    assert main(["trial", "end", *where, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["next"] == "III"
    assert document["result"]["table"][0]["power"]["value"] == pytest.approx(35.0, abs=0.2)
    assert main(["trial", "skip", *where]) == 0
    capsys.readouterr()
    main(["trial", "skip", *where, "--json"])
    last = json.loads(capsys.readouterr().out)
    assert [row["setting"] for row in last["result"]["table"]] == ["I"]


def test_the_valve_is_not_shut_where_the_boiler_is_not_seen(
    house: House, where: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Without the boiler's flow temperature the program objects, and goes on when skipped."""
    house.replies = ["I", "", "III", "", "s", "unplugged"]
    main(["trial", *where, "--valve"])
    said = capsys.readouterr().out
    assert "not now: the flow temperature of 'boiler' is not known" in said
    main(["trial", "show", *where, "--json"])
    assert json.loads(capsys.readouterr().out)["result"]["valve_shut"] is None
    main(["trial", "drop", *where])
    capsys.readouterr()
    assert main(["trial", "begin", *where, "--valve", "--no-offset"]) == 0
    for _ in range(2):
        main(["trial", "skip", *where])
    assert main(["trial", "begin", *where]) == 2
    assert "trial begin: the flow temperature" in capsys.readouterr().err
