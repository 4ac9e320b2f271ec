"""``saving`` and ``rating``: words, the agreed JSON, and what is refused."""

import json
from pathlib import Path

import numpy as np
import pytest

from analysis.base.time import DAY_MS, parse_rfc3339
from dashboard.cli import main

PLANT = """
[plant]
name = "Quay House"
timezone = "UTC"
[tariff]
electricity_per_kwh = 0.30
fuel_per_kwh = 0.10
[[pump]]
id = "heating"
drive = "electronic"
always_on = true
rated_power_w = [4, 40]
[[channel]]
id = "heating.power"
of = "heating"
quantity = "power"
unit = "W"
interval_s = 600
"""
SWAP = """
[[swap]]
pump = "heating"
time = 2026-01-15T10:00:00Z
claim_kwh_per_year = 900
old = { drive = "induction", rated_power_w = [45, 75], always_on = true }
new = { drive = "electronic", rated_power_w = [4, 40], always_on = true }
"""


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Sixty days at ten minutes: 70 W, then 10 W."""
    at = parse_rfc3339("2026-01-15T10:00:00Z")
    time_ms = np.arange(at - 30 * DAY_MS, at + 30 * DAY_MS, 600_000)
    rows = ["time,channel,value"]
    stamps = np.datetime_as_string(time_ms.view("datetime64[ms]"), unit="s")
    rows += [
        f"{t}Z,heating.power,{70 if m < at else 10}"
        for t, m in zip(stamps, time_ms.tolist(), strict=True)
    ]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(rows) + "\n")
    return path


def _plant(folder: Path, text: str) -> Path:
    path = folder / "plant.toml"
    path.write_text(text)
    return path


def test_saving_answers_in_the_agreed_form(log: Path, tmp_path: Path, capsys) -> None:
    """Every key of the contract, 526 kWh a year, and a claim of 900 above the ceiling."""
    plant = _plant(tmp_path, PLANT + SWAP)
    status = main(["saving", "--plant", str(plant), "--log", str(log), "--json", "--cost", "300"])
    document = json.loads(capsys.readouterr().out)
    assert status == 0
    assert {
        "pump", "swap_time", "before", "after", "saving_per_year", "claim_kwh_per_year",
        "verdict", "method", "uncertainty", "money",
    } <= set(document)  # fmt: skip
    assert document["swap_time"] == "2026-01-15T10:00:00Z"
    assert document["saving_per_year"]["unit"] == "kW.h"
    assert document["saving_per_year"]["value"] == pytest.approx(525.6, rel=0.03)
    assert document["verdict"] == "refuted"
    assert "more than the old pump used" in document["why"]
    payback = document["money"]["payback_years"]
    assert payback["low"] < payback["value"] < payback["high"]


def test_saving_in_words(log: Path, tmp_path: Path, capsys) -> None:
    """Measured so far, projected and claimed stand apart, with the sum of the ceiling."""
    plant = _plant(tmp_path, PLANT + SWAP)
    assert main(["saving", "--plant", str(plant), "--log", str(log)]) == 0
    said = capsys.readouterr().out
    for words in ("saved so far:", "a year, projected:", "claimed: 900 kWh", "x 8,760 h ="):
        assert words in said


def test_plant_without_a_swap_is_told_the_remedy(log: Path, tmp_path: Path, capsys) -> None:
    """Nothing was exchanged: status 2 and how to write it down."""
    plant = _plant(tmp_path, PLANT)
    assert main(["saving", "--plant", str(plant), "--log", str(log)]) == 2
    assert "[[swap]]" in capsys.readouterr().err


def test_rating_of_a_table(tmp_path: Path, capsys) -> None:
    """The worked example by Regulation 641/2009: index 0.1564, all limits met."""
    table = tmp_path / "pump.csv"
    table.write_text("flow_m3h,head_m,power_w\n2,4,45\n1.5,3.5,28\n1,3,17\n0.5,2.5,10\n")
    assert main(["rating", "--table", str(table), "--on", "2026-01-01", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["energy_efficiency_index"]["value"] == pytest.approx(0.1564, abs=5e-5)
    assert [row["meets"] for row in document["limits"]] == [True, True, True]


def test_rating_of_a_pump_in_use_is_no_index(log: Path, tmp_path: Path, capsys) -> None:
    """Wall power alone gives none; with the rated point one in use, told apart."""
    plant = _plant(tmp_path, PLANT)
    asked = ["rating", "--plant", str(plant), "--log", str(log)]
    assert main(asked) == 0
    assert "gives no index" in capsys.readouterr().out
    assert main([*asked, "--rated-flow", "2", "--rated-head", "4"]) == 0
    assert "index in use" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("flow,head\n1,2\n", "line 1 must name"),
        ("flow_m3h,head_m,power_w\n2,4,x\n", "pump.csv:2: could not convert"),
        ("flow_m3h,head_m,power_w\n2,4,45\n-1,4,45\n", "pump.csv:3: flow must not be negative"),
        ("flow_m3h,head_m,power_w\n2,4,45\n", "at least four"),
    ],
)
def test_tables_that_cannot_be_read(tmp_path: Path, capsys, text: str, words: str) -> None:
    """File, line and remedy on standard error, status 2."""
    table = tmp_path / "pump.csv"
    table.write_text(text)
    assert main(["rating", "--table", str(table)]) == 2
    assert words in capsys.readouterr().err


def test_choose_in_words_and_json(log: Path, tmp_path: Path, capsys) -> None:
    """Without sensors the need is given; the class, the payback and the cautions are told."""
    plant = _plant(tmp_path, PLANT.replace("electronic", "induction"))
    asked = ["choose", "--plant", str(plant), "--log", str(log), "--heat-kw", "10"]
    assert main([*asked, "--spread-k", "15", "--cost", "300"]) == 0
    said = capsys.readouterr().out
    for words in ("head class 4 m", "pays back in", "what if mode fixed speed III", "caution:"):
        assert words in said
    assert main([*asked, "--spread-k", "15", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["flow"]["value"] == pytest.approx(10 / (1.163 * 15), rel=1e-3)
    assert document["head_class_m"] == 4


def test_choose_names_what_it_needs(log: Path, tmp_path: Path, capsys) -> None:
    """Without boiler input and outdoor sensor the heat is unknown, and the remedy is named."""
    plant = _plant(tmp_path, PLANT)
    assert main(["choose", "--plant", str(plant), "--log", str(log)]) == 0
    assert "--heat-kw" in capsys.readouterr().out
    assert main(["choose", "--plant", str(plant), "--log", str(log), "--pump", "x"]) == 2
    assert "it has heating" in capsys.readouterr().err
