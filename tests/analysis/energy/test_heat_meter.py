"""Heat from flow and temperature difference, against IAPWS-IF97, EN 1434-1 and metered plants."""

import numpy as np
import pandas as pd
import pytest
from iapws import IAPWS97

from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, Span
from analysis.energy.heat_meter import (
    Heat,
    efficiency_of,
    heat_coefficient,
    heat_content,
    heat_of,
    water_density,
    water_enthalpy,
)
from analysis.plant.plant import Boiler, Channel, Plant
from analysis.readings.readings import Readings
from analysis.weather.degree_days import Days

PLANT = Plant(
    name="Invented",
    timezone="UTC",
    boilers=(Boiler(id="boiler", fuel="gas", input_kw=20.0),),
    channels=(
        Channel(id="rate", of="boiler", quantity="flow", unit="L/min", interval_s=60),
        Channel(id="f", of="boiler", quantity="temperature", place="flow", unit="Cel",
                interval_s=60),
        Channel(id="r", of="boiler", quantity="temperature", place="return", unit="Cel",
                interval_s=60),
    ),
)  # fmt: skip


@pytest.mark.parametrize(
    ("kelvin", "mega_pascal", "volume", "enthalpy"),
    [
        (300.0, 3.0, 0.100215168e-2, 115.331273),
        (300.0, 80.0, 0.971180894e-3, 184.142828),
        (500.0, 3.0, 0.120241800e-2, 975.542239),
    ],
)
def test_reference_library_gives_the_published_values(kelvin, mega_pascal, volume, enthalpy):
    """R7-97(2012), table 5 (region 1), from memory and met by the library."""
    water = IAPWS97(T=kelvin, P=mega_pascal)
    assert water.v == pytest.approx(volume, rel=1e-8)
    assert water.h == pytest.approx(enthalpy, rel=1e-8)


@pytest.mark.parametrize("temp_c", [1.0, 10.0, 25.0, 40.0, 55.0, 70.0, 85.0, 100.0, 120.0, 145.0])
def test_density_and_enthalpy_are_those_of_iapws(temp_c):
    """IAPWS-IF97 at 16 bar by the library `iapws`."""
    water = IAPWS97(T=temp_c + 273.15, P=1.6)
    assert water_density(temp_c) == pytest.approx(water.rho, rel=2e-5)
    assert water_enthalpy(temp_c) == pytest.approx(water.h, abs=0.012)


@pytest.mark.parametrize(
    ("flow_c", "return_c", "in_return", "in_flow"),
    [
        (35, 28, 4.16278, 4.15356),
        (50, 40, 4.14557, 4.12812),
        (60, 40, 4.14671, 4.10905),
        (70, 55, 4.12375, 4.09064),
        (80, 60, 4.11763, 4.06995),
        (90, 70, 4.10218, 4.05004),
    ],
)
def test_heat_coefficient_is_that_of_en_1434(flow_c, return_c, in_return, in_flow):
    """EN 1434-1: enthalpies and volumes of IF97 at 16 bar, reckoned by its formula."""
    assert heat_coefficient(flow_c, return_c) == pytest.approx(in_return, rel=4e-4)
    assert heat_coefficient(flow_c, return_c, sensor="flow") == pytest.approx(in_flow, rel=4e-4)


@pytest.mark.parametrize(
    ("litres_min", "flow_c", "return_c", "kilowatt"),
    [(12.0, 70.0, 55.0, 12.371), (10.0, 60.0, 40.0, 13.822)],
)
def test_worked_examples_come_out(litres_min, flow_c, return_c, kilowatt):
    """Worked by hand with EN 1434 coefficients; the rule of 1.163 gives 12.560 and 13.956."""
    assert litres_min * 0.06 * heat_content(flow_c, return_c) == pytest.approx(kilowatt, rel=4e-4)


def test_heat_holds_what_was_put_in_and_leaves_gaps_out():
    """Ten litres a minute at 60/40 give 13.822 kW; an hour without flow temperature gives none."""
    time = np.arange(0, 2 * DAY_MS, MINUTE_MS)
    flow = np.full(len(time), 60.0)
    flow[600:660] = np.nan
    record = {
        "rate": Readings.of(time, np.full(len(time), 10.0)),
        "f": Readings.of(time, flow),
        "r": Readings.of(time, np.full(len(time), 40.0)),
    }
    heat = heat_of(PLANT, "boiler", record, Span(0, 2 * DAY_MS))
    assert isinstance(heat, Heat)
    assert heat.covered_h == pytest.approx(47.0, abs=0.05)
    assert heat.total.value == pytest.approx(13.822 * 47.0, rel=2e-3)
    assert heat.total.low < heat.total.value < heat.total.high
    assert heat.days.value == pytest.approx(13.822 * 24.0, rel=2e-3)


def test_heat_over_fuel_is_the_efficiency_on_common_days():
    """90 kWh of water a day from 100 kWh of fuel are nine tenths."""
    time = np.arange(0, 6 * DAY_MS, MINUTE_MS)
    kilowatt = 90.0 / 24.0
    rate = kilowatt / float(heat_content(60.0, 40.0)) / 0.06
    record = {
        "rate": Readings.of(time, np.full(len(time), rate)),
        "f": Readings.of(time, np.full(len(time), 60.0)),
        "r": Readings.of(time, np.full(len(time), 40.0)),
    }
    heat = heat_of(PLANT, "boiler", record, Span(0, 6 * DAY_MS))
    assert isinstance(heat, Heat)
    fuel = Days(heat.days.start_ms, np.full(6, 100.0))
    found = efficiency_of(heat, fuel, 0.03)
    assert found.value == pytest.approx(0.9, rel=2e-3)
    assert found.low < 0.9 < found.high


def test_temperatures_alone_give_no_heat():
    plant = Plant(name="Invented", timezone="UTC", boilers=PLANT.boilers,
                  channels=PLANT.channels[1:])  # fmt: skip
    assert "no flow meter" in heat_of(plant, "boiler", {}, Span(0, DAY_MS))


def _building(shared_data, number):
    frame = pd.read_csv(
        shared_data / f"hydronic_building_{number}_hourly.csv.gz", parse_dates=["datetime_UTC"]
    )
    frame = frame.set_index("datetime_UTC")
    known = frame[["sup", "ret", "flow", "hw"]].notna().all(axis=1)
    return frame[known & (frame["flow"] > 0.5) & (frame["sup"] - frame["ret"] > 2.0)]


@pytest.mark.shared_data
@pytest.mark.parametrize("number", [29, 127])
def test_metered_buildings_agree_up_to_their_constant(shared_data, number):
    """Heat of two real plants (Raftery et al. 2024, doi 10.5061/dryad.t4b8gtj8n, CC0).

    Their authors took 4.19 MJ/(m3 K) whatever the temperature (seen in 29, where it is exact):
    by density and enthalpy water at 35 to 60 Cel carries a per cent less.
    """
    frame = _building(shared_data, number)
    cubic_metres = frame["flow"] * 3.6
    ours = float((cubic_metres * heat_content(frame["sup"], frame["ret"])).sum())
    theirs = float(frame["hw"].sum()) / 1000.0
    assert 0.98 < ours / theirs < 1.0


@pytest.mark.shared_data
def test_counters_of_volume_and_kelvin_give_the_same_heat(shared_data):
    """District heating's identity: kWh against m3·K read from counters, as Danish meters show.

    A meter that sums water times flow and water times return temperature gives the heat by one
    coefficient at the volume-weighted means; hour by hour it must come out the same.
    """
    frame = _building(shared_data, 29)
    water = frame["flow"] * 3.6
    by_flow, by_return = (water * frame["sup"]).sum(), (water * frame["ret"]).sum()
    mean_flow, mean_return = by_flow / water.sum(), by_return / water.sum()
    coefficient = float(heat_coefficient(mean_flow, mean_return)) / 3.6
    hourly = float((water * heat_content(frame["sup"], frame["ret"])).sum())
    assert coefficient * (by_flow - by_return) == pytest.approx(hourly, rel=2e-3)


@pytest.mark.shared_data
def test_command_line_chain_gives_the_buildings_heat(shared_data):
    """The whole way from readings to a heat figure, against the authors' own sum."""
    frame = _building(shared_data, 29).iloc[:2000]
    record = {
        name: Readings.from_series(frame[column] * factor)
        for name, column, factor in (("rate", "flow", 60.0), ("f", "sup", 1.0), ("r", "ret", 1.0))
    }
    channels = tuple(
        Channel(id=c.id, of=c.of, quantity=c.quantity, place=c.place, unit=c.unit, interval_s=1440)
        for c in PLANT.channels
    )
    plant = Plant(name="Invented", timezone="UTC", boilers=PLANT.boilers, channels=channels)
    times = frame.index.astype("datetime64[ms, UTC]").astype(np.int64)
    span = Span(int(times[0]), int(times[-1]) + HOUR_MS)
    heat = heat_of(plant, "boiler", record, span)
    assert isinstance(heat, Heat)
    assert heat.total.value == pytest.approx(frame["hw"].sum() / 1000.0 * 0.99, rel=0.01)
    assert heat.kwh_per_m3k == pytest.approx(1.15, abs=0.005)
