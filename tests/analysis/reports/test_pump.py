"""A pump's sheet: what was usual comes from the learned days alone, and learning is said."""

from dataclasses import replace

import numpy as np

from analysis.base.time import DAY_MS, MINUTE_MS, Span
from analysis.plant.plant import Channel, Plant, Pump
from analysis.pump.epochs import pump_history
from analysis.readings.readings import Readings
from analysis.reports.pump import SIGNS, pump_sheet

PUMP = Pump(id="heating", drive="induction", always_on=True, rated_power_w=(45, 65))
PLANT = Plant(
    name="Quay", timezone="UTC", pumps=(PUMP,),
    channels=(
        Channel(id="heating.power", of="heating", quantity="power", unit="W", interval_s=60),
    ),
)  # fmt: skip
T0 = 1_780_000_000_000 // DAY_MS * DAY_MS


def sheet_of(days: int, rise: float = 0.0):
    """A pump of 55 W that draws more, slowly, from its thirtieth day on."""
    n = days * 1440
    day = np.arange(n) / 1440
    rng = np.random.default_rng(5)
    watts = 55.0 * (1 + rise * np.clip(day - 30, 0, None)) + rng.normal(0, 0.3, n)
    record = {"heating.power": Readings.of(T0 + np.arange(n) * MINUTE_MS, watts)}
    history = pump_history(PLANT, PUMP, record, Span(T0, T0 + days * DAY_MS))
    assert history is not None
    return pump_sheet(history)


def test_band_is_what_the_pump_did_while_it_was_learned() -> None:
    """55 W about its baseline, though it later draws a quarter more."""
    sheet = sheet_of(90, rise=0.005)
    (band,) = sheet["usual"]["level_w"]
    assert 54.5 < band[0] < band[1] < 55.5
    assert sheet["days"]["level_w"][-1] > 65
    assert set(sheet["usual"]) == set(SIGNS)


def test_new_pump_has_no_band_yet() -> None:
    """After four days nothing is called usual, and what was never measured has no band."""
    sheet = sheet_of(4)
    assert sheet["epochs"][0]["is_learning"] is True
    assert sheet["usual"]["level_w"] == [None]
    assert sheet_of(40)["usual"]["spread_k"] == [None]


def test_air_on_its_way_out_is_nobodys_habit() -> None:
    """Topped up on its eighth day it flutters for three: usual is its restlessness without."""
    n = 40 * 1440
    day = np.arange(n) / 1440
    flutters = (day >= 8) & (day < 11)
    rng = np.random.default_rng(5)
    watts = 55.0 * (1 + np.where(flutters, 0.08, 0.004) * rng.standard_normal(n))
    bar = np.where(day < 8, 1.5 - 0.05 * day, 1.6)
    gauge = Channel(id="plant.pressure", of="plant", quantity="pressure", unit="bar")
    time_ms = T0 + np.arange(n) * MINUTE_MS
    record = {
        "heating.power": Readings.of(time_ms, watts),
        "plant.pressure": Readings.of(time_ms, bar),
    }
    plant = replace(PLANT, channels=(*PLANT.channels, gauge))
    history = pump_history(plant, PUMP, record, Span(T0, T0 + 40 * DAY_MS))
    assert history is not None
    sheet = pump_sheet(history)
    assert [e["why"] for e in sheet["epochs"]] == ["first readings", "refilled"]
    assert max(sheet["days"]["restless"][8:11]) > 0.05
    assert sheet["usual"]["restless"][1][1] < 0.01
