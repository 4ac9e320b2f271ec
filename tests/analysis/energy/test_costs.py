"""A plant's yearly costs: sums with intervals, fuel with its picture."""

import numpy as np
import pytest

from analysis.base.estimate import Estimate
from analysis.base.time import DAY_MS, Span, parse_rfc3339
from analysis.energy.costs import plant_costs, summed
from analysis.plant.plant import Boiler, Channel, Plant, Pump, Tariff
from analysis.readings.readings import Readings

START = parse_rfc3339("2025-01-06T00:00:00Z")


def test_errors_of_one_season_add_up_in_full() -> None:
    """100 +- 3 and 50 +- 4 are 150 +- 7 (GUM 5.2.2); one unknown makes the sum unknown."""
    parts = [Estimate(100, 97, 103, "kW.h"), Estimate(50, 46, 54, "kW.h")]
    found = summed(parts, "kW.h", "two")
    assert (found.value, found.low, found.high) == pytest.approx((150, 143, 157))
    unknown = summed([*parts, Estimate.unknown("kW.h", "no plug")], "kW.h", "three")
    assert unknown.value is None
    assert unknown.reason == "no plug"


def test_a_plant_with_pump_boiler_and_weather() -> None:
    """What is not measured is left out of the sum and named; the picture has every whole day."""
    time_ms = START + np.arange(0, 30 * DAY_MS, 300_000)
    day = (time_ms - START) // DAY_MS
    minute = (time_ms // 60_000) % 60
    plant = Plant(
        name="Quay", timezone="UTC",
        tariff=Tariff(electricity_per_kwh=0.3, fuel_per_kwh=0.1),
        boilers=(Boiler(id="boiler", fuel="oil", input_kw=20.0),),
        pumps=(Pump(id="heating", drive="induction", always_on=True),
               Pump(id="charging", drive="induction", duty="store")),
        channels=(
            Channel(id="heating.power", of="heating", quantity="power", unit="W", interval_s=300),
            Channel(id="boiler.power", of="boiler", quantity="power", unit="W", interval_s=300),
            Channel(id="outdoor", of="plant", quantity="temperature", place="outdoor",
                    unit="Cel", interval_s=300),
        ),
    )  # fmt: skip
    record = {
        "heating.power": Readings.of(time_ms, np.full(len(time_ms), 60.0)),
        "boiler.power": Readings.of(time_ms, np.where(minute < 20 + day % 5 * 5, 150.0, 3.0)),
        "outdoor": Readings.of(time_ms, 5.0 - day % 5 * 2.0),
    }
    found = plant_costs(plant, record, Span(START, START + 30 * DAY_MS - 1))
    assert found.electricity.value == pytest.approx(
        found.pumps[0].per_year.value + found.boilers[0].per_year.value
    )
    assert "2 of 3 machines" in found.electricity.basis
    assert found.electricity_cost.value == pytest.approx(0.3 * found.electricity.value)
    document = found.document()
    fuel = document["fuel"][0]
    assert len(fuel["days"]["kwh"]) == 30
    assert fuel["line"]["low"][0] <= fuel["line"]["kwh"][0] <= fuel["line"]["high"][0]
    assert fuel["line"]["kwh"][0] > fuel["line"]["kwh"][-1], "colder days use more"
