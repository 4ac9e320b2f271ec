"""Error limits against the tables of the standards, and what they do to figures."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.base.errors import StokeholdError
from analysis.base.time import DAY_MS, MINUTE_MS, Span, from_ms
from analysis.energy.instrument_limits import (
    Currents,
    meter_limit,
    meter_of,
    platinum_limit_k,
    sensor_uncertainty_k,
)
from analysis.plant.plant import Channel, Plant, Pump, PumpPlate, Swap
from analysis.readings.readings import Readings
from analysis.savings.saving import saving_of


@pytest.mark.parametrize(
    ("klass", "temp_c", "limit_k"),
    [
        ("A", 0.0, 0.15), ("A", 60.0, 0.27), ("A", 100.0, 0.35), ("A", -200.0, 0.55),
        ("B", 0.0, 0.30), ("B", 60.0, 0.60), ("B", 100.0, 0.80), ("B", -200.0, 1.30),
        ("AA", 0.0, 0.10), ("AA", 100.0, 0.27), ("C", 0.0, 0.60), ("C", 100.0, 1.60),
    ],
)  # fmt: skip
def test_platinum_thermometers(klass: str, temp_c: float, limit_k: float) -> None:
    """IEC 60751, table of tolerances (from memory, as printed to 0.01 K)."""
    assert platinum_limit_k(klass, temp_c) == pytest.approx(limit_k, abs=0.005)


@pytest.mark.parametrize(
    ("klass", "ambient_c", "low", "high"),
    [
        ("A", 20.0, 0.035, 0.035), ("B", 20.0, 0.02, 0.02), ("C", 20.0, 0.01, 0.007),
        ("A", 0.0, 0.05, 0.045), ("B", 0.0, 0.025, 0.025), ("C", 0.0, 0.013, 0.01),
        ("A", 35.0, 0.05, 0.045), ("C", 40.0, 0.013, 0.01), ("C", 5.0, 0.01, 0.007),
    ],
)  # fmt: skip
def test_electricity_meters(klass: str, ambient_c: float, low: float, high: float) -> None:
    """Directive 2014/32/EU, annex V, table 2: from the least current on, and from the transition.

    Values as published on legislation.gov.uk (annex V, division 3).
    """
    currents = Currents(least_a=0.25, transition_a=0.5)
    found = [
        meter_limit(klass, a, ambient_c=ambient_c, currents=currents) for a in (0.25, 0.4, 0.5, 40)
    ]
    assert found == pytest.approx([low, low, high, high])


def test_a_small_pump_lies_below_what_a_meter_is_held_to() -> None:
    """10 W at 230 V is 0.043 A: under the least current the share grows as the current falls."""
    assert meter_limit("B", 10 / 230) == pytest.approx(0.02 * 57.5 / 10)
    assert meter_limit("B", 10 / 230) > 0.1


def test_no_such_class() -> None:
    """Each table names its own classes; out of range nothing is promised."""
    with pytest.raises(StokeholdError, match="IEC 60751"):
        platinum_limit_k("2", 60.0)
    with pytest.raises(StokeholdError, match="class of a meter"):
        meter_limit("AA", 1.0)
    with pytest.raises(StokeholdError, match="50 °C"):
        meter_limit("A", 1.0, ambient_c=50.0)


def test_the_class_decides_a_channels_uncertainty() -> None:
    """Better classes are surer; a strap-on sensor is the least sure at 60 Cel."""
    pipe = Channel(id="f", of="p", quantity="temperature", unit="Cel", place="flow")
    classed = [replace(pipe, accuracy_class=k) for k in ("AA", "A", "B", "C", None)]
    sure = [sensor_uncertainty_k(one, 60.0) for one in classed[:4]]
    assert sure == sorted(sure)
    assert sure[1] == pytest.approx(0.27 / 3**0.5)
    power = Channel(id="w", of="p", quantity="power", unit="W")
    at_100 = [meter_of(replace(power, accuracy_class=k)).uncertainty_w(100) for k in "CBA"]
    assert at_100 == sorted(at_100)


def _swapped(**plates: str) -> Plant:
    old = PumpPlate(drive="induction", always_on=True, plug=plates.get("old"))
    new = PumpPlate(drive="electronic", always_on=True, plug=plates.get("new"))
    swap = Swap(pump="p", time=from_ms(MIDDLE), old=old, new=new)
    channel = Channel(
        id="p.power", of="p", quantity="power", unit="W", interval_s=60,
        accuracy_class=plates.get("klass"),
    )  # fmt: skip
    return Plant(
        name="Quay", timezone="UTC", channels=(channel,), swaps=(swap,),
        pumps=(Pump(id="p", drive="electronic", always_on=True),),
    )  # fmt: skip


START = 20_000 * DAY_MS
MIDDLE = START + 20 * DAY_MS
SPAN = Span(START, START + 40 * DAY_MS)


def _meter_part(plant: Plant) -> float:
    minute = np.arange(SPAN.start_ms, SPAN.end_ms, MINUTE_MS)
    power = Readings.of(minute, np.where(minute < MIDDLE, 70.0, 10.0))
    return saving_of(plant, plant.swaps[0], {"p.power": power}, span=SPAN).parts["meter"]


def test_a_new_plug_at_the_swap_widens_the_saving() -> None:
    """0.913 against 0.693 W from 70 to 10 W (GUM, computed), so a third wider over the year."""
    one, unnamed = _meter_part(_swapped(old="A", new="A")), _meter_part(_swapped(old="A"))
    two = _meter_part(_swapped(old="A", new="B"))
    assert unnamed == pytest.approx(one)
    assert two / one == pytest.approx(0.913 / 0.693, rel=0.03)


def test_a_meters_class_goes_into_the_saving() -> None:
    """Class A is held to 3.5 %, class C to 0.7 % from its transitional current on."""
    wide, narrow = (_meter_part(_swapped(old="A", new="A", klass=k)) for k in "AC")
    assert wide / narrow == pytest.approx(0.035 / 0.007, rel=0.03)
