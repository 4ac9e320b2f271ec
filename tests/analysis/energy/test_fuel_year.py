"""Fuel against official conversions, exact houses, measured gas and a rehearsed boiler."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.base.estimate import Estimate
from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, Span, parse_rfc3339
from analysis.energy.fuel_by_day import fuel_days, gas_gross_kwh, heat_value
from analysis.energy.fuel_year import fuel_year
from analysis.plant.plant import Boiler, Channel, Plant, Tariff
from analysis.readings.readings import Readings

BOILER = Boiler(id="boiler", fuel="oil", input_kw=24.0)
POWER = Channel(id="boiler.power", of="boiler", quantity="power", unit="W", interval_s=60)
METER = Channel(id="boiler.fuel", of="boiler", quantity="fuel_volume", unit="m3")
OUTDOOR = Channel(
    id="outdoor", of="plant", quantity="temperature", place="outdoor", unit="Cel", interval_s=600
)
START = parse_rfc3339("2025-01-06T00:00:00Z")


def _plant(*channels: Channel, boiler: Boiler = BOILER, price: float | None = 0.1) -> Plant:
    return Plant(
        name="Quay",
        timezone="UTC",
        tariff=Tariff(fuel_per_kwh=price),
        boilers=(boiler,),
        channels=channels,
    )


@pytest.mark.parametrize(
    ("volume", "calorific", "expected"),
    [(100, 39.5, 1122.063), (1, 39.5, 11.22063), (1, 38.0, 10.79453), (2.831685, 39.5, 31.7733)],
)
def test_official_gas_conversion(volume: float, calorific: float, expected: float) -> None:
    """Metered m3 times 1.02264 times calorific value over 3.6 (SI 1996/439), worked figures.

    The last is one unit of a hundred cubic feet; suppliers round it to 2.83 m3, 31.75 kWh.
    """
    assert gas_gross_kwh(volume, calorific, 1.02264) == pytest.approx(expected, rel=1e-5)


def test_the_bill_s_own_gas_is_reckoned_with() -> None:
    """100 m3 at 39.5 MJ/m3 are 1,122.063 kWh gross as billed in Britain, 1,011.1 net of methane.

    Billed: SI 1996/439. Methane gives 890.63 gross and 802.60 net kJ/mol (ISO 6976, from memory).
    """
    billed = heat_value("gas", Tariff(gas_mj_per_m3=39.5, gas_correction=1.02264))
    assert 100 * billed.net_kwh_per_m3 == pytest.approx(1122.063 * 802.60 / 890.63, rel=1e-4)
    assert "39.5 MJ" in billed.words
    usual = heat_value("gas", Tariff())
    assert usual.half_width > billed.half_width
    assert heat_value("oil", Tariff(gas_mj_per_m3=39.5)) == heat_value("oil", Tariff())


def _outdoor(days: int) -> tuple[Readings, np.ndarray]:
    daily = 9 - 8 * np.cos(2 * np.pi * (np.arange(days) - 14) / 365)
    daily = daily + 3 * np.sin(np.arange(days) * 1.7)
    time_ms = START + np.arange(0, days * DAY_MS, 10 * MINUTE_MS)
    return Readings.of(time_ms, daily[(time_ms - START) // DAY_MS]), daily


def _burner(hours_a_day: np.ndarray) -> Readings:
    """A power of 150 W for so many hours of each day, in firings of half an hour."""
    time_ms = START + np.arange(0, len(hours_a_day) * DAY_MS, MINUTE_MS)
    minute = (time_ms - START) // MINUTE_MS
    per_hour = hours_a_day[minute // 1440] * 60 / 24
    return Readings.of(time_ms, np.where(minute % 60 < np.round(per_hour), 150.0, 3.0))


def test_burner_hours_times_rated_input() -> None:
    """Twelve hours a day at 24 kW are 288 kWh; a day half unknown is unknown."""
    readings = _burner(np.full(5, 12.0))
    lost = (readings.time_ms > START + 2 * DAY_MS) & (
        readings.time_ms < START + 2 * DAY_MS + 11 * HOUR_MS
    )
    record = {"boiler.power": Readings(readings.time_ms[~lost], readings.value[~lost])}
    found = fuel_days(_plant(POWER), BOILER, record, Span(START, START + 5 * DAY_MS - 1))
    assert not isinstance(found, str)
    assert found.source == "burner hours"
    assert found.days.value[[0, 1, 3, 4]] == pytest.approx(288.0, rel=0.02)
    assert np.isnan(found.days.value[2])


def test_meter_beats_the_burner_and_resets_are_stitched() -> None:
    """Gas meter of 10 m3 a day that falls to zero once: about 98 kWh net a day (9.8 a m3)."""
    time_ms = START + np.arange(0, 6 * DAY_MS, HOUR_MS)
    volume = np.arange(len(time_ms)) * 10 / 24
    volume = np.where(time_ms >= START + 3 * DAY_MS, volume - volume[72] + 0.2, volume + 500)
    gas = Boiler(id="boiler", fuel="gas", input_kw=24.0, condensing=True)
    plant = _plant(POWER, METER, boiler=gas)
    found = fuel_days(plant, gas, {"boiler.fuel": Readings.of(time_ms, volume)},
                      Span(START, START + 6 * DAY_MS - HOUR_MS))  # fmt: skip
    assert not isinstance(found, str)
    assert found.source == "meter"
    assert found.days.value[:5] == pytest.approx(98.0, rel=0.06)


def test_exact_house_comes_back() -> None:
    """2 h a day and 0.5 h a kelvin below 15: signature, design load and oversize by hand.

    24 kW: base 48 kWh/d, slope 12 kWh/d/K, so UA over efficiency is 0.5 kW/K.
    """
    outdoor, daily = _outdoor(150)
    hours = 2 + 0.5 * np.maximum(15 - daily, 0)
    record = {"boiler.power": _burner(hours), "outdoor": outdoor}
    span = Span(START, START + 150 * DAY_MS - 1)
    found = fuel_year(_plant(POWER, OUTDOOR), BOILER, record, span)
    assert not isinstance(found, str)
    assert found.signature is not None
    assert found.signature.slope == pytest.approx(12.0, rel=0.05)
    assert found.signature.change_c == pytest.approx(15.0, abs=0.6)
    by_hand = (48 + 12 * (15 - found.design_outdoor_c)) / 24
    assert found.design_kw.value == pytest.approx(by_hand, rel=0.05)
    assert found.oversize.value == pytest.approx(24 / by_hand, rel=0.05)
    _, year = _outdoor(365)
    truth = 24 * (2 + 0.5 * np.maximum(15 - year, 0)).sum()
    assert found.per_year.low < truth < found.per_year.high
    assert found.cost_per_year.value == pytest.approx(0.1 * found.per_year.value)
    assert found.document()["signature"]["days"] >= 149


def test_gas_costs_by_the_gross_kilowatt_hour() -> None:
    """A gas bill counts a ninth more than the rated, net heat."""
    gas = Boiler(id="boiler", fuel="gas", input_kw=24.0)
    record = {"boiler.power": _burner(np.full(20, 6.0))}
    span = Span(START, START + 20 * DAY_MS - 1)
    found = fuel_year(_plant(POWER, boiler=gas), gas, record, span)
    assert not isinstance(found, str)
    assert found.cost_per_year.value == pytest.approx(0.1 * 1.1097 * found.per_year.value)
    assert found.signature is None
    assert "outdoor" in found.document()["signature"]["reason"]


def test_a_modulating_burner_unseen_is_wide() -> None:
    """Firing seen, load not: the interval tells that half the rated input is a guess."""
    gas = Boiler(id="boiler", fuel="gas", input_kw=24.0, condensing=True)
    record = {"boiler.power": _burner(np.full(60, 12.0))}
    span = Span(START, START + 60 * DAY_MS - 1)
    modulating = fuel_year(_plant(POWER, boiler=gas), gas, record, span)
    steady = fuel_year(_plant(POWER), BOILER, record, span)
    assert not isinstance(modulating, str)
    assert not isinstance(steady, str)
    assert modulating.per_year.value < 0.7 * steady.per_year.value
    assert _relative(modulating.per_year) > 1.2 * _relative(steady.per_year)


def _relative(estimate: Estimate) -> float:
    return (estimate.high - estimate.low) / estimate.value


def test_hours_told_by_the_water_are_unsure() -> None:
    """Half an hour of fire every two: by the plug to some per cent, by its water to a third."""
    flow = Channel(id="boiler.flow", of="boiler", quantity="temperature", place="flow", unit="Cel",
                   interval_s=60)  # fmt: skip
    time_ms = START + np.arange(0, 30 * DAY_MS, MINUTE_MS)
    minute = (time_ms - START) // MINUTE_MS % 120
    water = np.where(minute < 30, 45 + minute * 0.7, 66 - (minute - 30) * 21 / 90)
    record = {
        "boiler.flow": Readings.of(time_ms, water),
        "boiler.power": Readings.of(time_ms, np.where(minute < 30, 150.0, 5.0)),
    }
    span = Span(START, START + 30 * DAY_MS - 1)
    by_plug, by_water = (
        fuel_days(_plant(channel), BOILER, record, span) for channel in (POWER, flow)
    )
    assert not isinstance(by_plug, str)
    assert not isinstance(by_water, str)
    assert by_water.spread > 5 * by_plug.spread
    assert "told by the water" in by_water.words
    short, whole = (float(np.nansum(one.days.value)) for one in (by_water, by_plug))
    assert short < whole < short * (1 + 2 * by_water.spread)


def test_what_is_missing_is_said() -> None:
    """No meter and no rated input; no channel at all; less than a day."""
    bare = Boiler(id="boiler", fuel="gas")
    span = Span(START, START + DAY_MS)
    assert "input_kw" in str(fuel_year(_plant(POWER, boiler=bare), bare, {}, span))
    assert "no channel" in str(fuel_year(_plant(), BOILER, {}, span))
    short = Readings(*(column[:600] for column in (_burner(np.full(1, 12.0)).time_ms,
                                                   _burner(np.full(1, 12.0)).value)))  # fmt: skip
    found = fuel_year(_plant(POWER), BOILER, {"boiler.power": short}, span)
    assert "whole day" in str(found)


@pytest.mark.shared_data
def test_measured_gas_through_the_whole_way(shared_data: Path) -> None:
    """A season of real gas pulses (AMPds2, Makonin 2016, CC BY 4.0) as a meter and its weather.

    Pulses of 28.316 dm3 times 9.8 kWh/m3 by hand; the change point near 7 Cel.
    """
    pulses = pd.read_csv(shared_data / "furnace_gas_pulses_year1.csv.gz")
    stamp = pd.to_datetime(pulses["t"], utc=True).dt.as_unit("ms").astype(np.int64).to_numpy()
    weather = pd.read_csv(shared_data / "furnace_weather_hourly_year1.csv.gz")
    local = pd.to_datetime(weather["Date/Time"]).dt.tz_localize("Etc/GMT+8")
    outdoor = Readings.of(
        local.dt.tz_convert("UTC").dt.as_unit("ms").astype(np.int64), weather["Temp (C)"]
    )
    gas = Boiler(id="boiler", fuel="gas", input_kw=20.0)
    plant = Plant(
        name="Quay", timezone="America/Vancouver", boilers=(gas,),
        channels=(METER, Channel(id="outdoor", of="plant", quantity="temperature",
                                           place="outdoor", unit="Cel", interval_s=3600)),
    )  # fmt: skip
    record = {
        "boiler.fuel": Readings.of(stamp, np.cumsum(pulses["dm3"].to_numpy()) / 1000),
        "outdoor": outdoor,
    }
    found = fuel_year(plant, gas, record, Span(int(stamp[0]), int(stamp[-1]) + 1))
    assert not isinstance(found, str)
    assert found.measured_kwh == pytest.approx(pulses["dm3"].sum() / 1000 * 9.8, rel=0.02)
    assert found.signature is not None
    assert 5 < found.signature.change_c < 10
    assert found.per_year.low > 0.9 * found.measured_kwh
