"""Choosing a class of pump: flow and head by hand, the profile's energy, payback, when not."""

import pytest

from analysis.base.estimate import Estimate
from analysis.energy.payback import Terms
from analysis.exchange.pump_choice import (
    HEAD_CLASSES,
    THREADS,
    Choice,
    Need,
    Use,
    choose,
    difference,
    plate_year,
    profile_year,
)
from analysis.plant.plant import Pump, PumpPlate, Tariff

HEAT = Estimate(10.0, 9.0, 11.0, "kW")
HOURS = Estimate(5000.0, 4500.0, 5500.0, "h")
TARIFF = Tariff(electricity_per_kwh=0.30)


def _choice(pump: Pump, old: float = 325.0, **more) -> Choice:
    need = Need(heat_kw=HEAT, spread_k=(10.0, 20.0), loop_m=40.0, **more)
    use = Use(old=Estimate(old, 0.9 * old, 1.1 * old, "kW.h"), hours=HOURS)
    return choose(pump, need, use, tariff=TARIFF, terms=Terms(investment=300.0))


OLD = Pump(id="heating", drive="induction", port_to_port_mm=180)


@pytest.mark.parametrize(("spread", "flow"), [(10.0, 0.86), (20.0, 0.43)])
def test_flow_for_ten_kilowatts(spread: float, flow: float) -> None:
    """10 kW need 0.86 m3/h at 10 K and 0.43 at 20 K (heating handbooks)."""
    need = Need(heat_kw=HEAT, spread_k=(spread, spread), loop_m=40.0)
    assert need.flow_m3h.value == pytest.approx(flow, abs=0.005)


def test_head_of_the_longest_loop() -> None:
    """40 m at 100 to 150 Pa/m, valves 5 to 10 and boiler 1 to 5 kPa: 1.02 to 2.14 m, by hand."""
    head = Need(heat_kw=HEAT, spread_k=(10.0, 20.0), loop_m=40.0).head_m
    assert (head.low, head.high) == (pytest.approx(1.020, abs=1e-3), pytest.approx(2.141, abs=1e-3))


def test_water_runs_slowly_in_the_pipe_chosen() -> None:
    """At most a metre a second: 0.73 m3/h in DN15, 1.33 in DN20, 2.11 in DN25 (bores)."""
    found = [one.flow_at(1.0) for one in THREADS[:3]]
    assert found == pytest.approx([0.733, 1.331, 2.107], abs=0.002)


def test_small_circuit_gets_the_smallest_class_that_serves() -> None:
    """10 kW at 1.6 m: four-metre class, DN15, the old length, proportional pressure."""
    found = _choice(OLD)
    assert found.head_class.head_m == 4
    assert found.thread.pipe == "DN15"
    assert found.length_mm == (180,)
    assert found.mode == "proportional pressure"


def test_year_by_the_load_profile() -> None:
    """10.4 W hydraulic, index 0.20: P_ref 33.93 W, mean 13.85 W, 69 kWh in 5,000 h (annex II)."""
    found = profile_year(HEAD_CLASSES[0], HOURS)
    assert found.value == pytest.approx(69.2, abs=0.5)
    assert found.low < 0.85 * found.value < 1.2 * found.value < found.high


def test_payback_has_an_interval() -> None:
    """325 less 69 kWh at 0.30: 300 pay back in 3.9 years, with both ends."""
    found = _choice(OLD).document()["money"]["payback_years"]
    assert found["value"] == pytest.approx(300 / (0.30 * (325 - 69.2)), rel=0.01)
    assert found["low"] < found["value"] < found["high"]


def test_strong_mode_costs_and_longer_hours_pay() -> None:
    """Fixed speed III saves least; more hours save more, half the hours less."""
    found = _choice(OLD)
    what_if = {name: e.value for name, e in found.what_if.items()}
    assert min(what_if["mode fixed speed III"], what_if["half the hours"]) < found.saving.value
    assert what_if["half the hours"] == pytest.approx(found.saving.value / 2, rel=0.01)
    assert what_if["a third more hours"] > found.saving.value


def test_electronic_pump_is_not_swapped_for_nothing() -> None:
    """An electronic pump of 60 kWh a year: turn it down; the saving may be nil, it never pays."""
    found = _choice(Pump(id="heating", drive="electronic"), old=75.0)
    words = " ".join(found.reasons_not)
    assert "electronic already" in words
    assert "may be nil" in words
    assert "does not pay back" in words


def test_head_beyond_small_pumps_is_left_to_an_engineer() -> None:
    """300 m of pipe want some 5 m and more: no class serves."""
    found = _choice(OLD, valve_kpa=(20.0, 30.0), boiler_kpa=(20.0, 30.0))
    assert found.head_class is None
    assert any("engineer" in why for why in found.reasons_not)


def test_recirculation_bears_its_caution() -> None:
    """Never less hygiene for a saving."""
    found = _choice(Pump(id="hot", drive="induction", duty="recirculation"))
    assert any("legionella" in caution for caution in found.cautions)


def test_difference_of_unknown_is_unknown() -> None:
    """Nothing is subtracted from what is not known, and it says why."""
    found = difference(
        Estimate.unknown("kW.h", "no readings"), profile_year(HEAD_CLASSES[0], HOURS)
    )
    assert (found.value, found.reason) == (None, "no readings")


def test_nameplate_stands_in_for_the_old_pump() -> None:
    """45 to 65 W over 5,000 h: 275 kWh, from 202 to 358, called stipulated."""
    found = plate_year(PumpPlate(rated_power_w=(45.0, 65.0)), HOURS)
    assert found.value == pytest.approx(275)
    assert (found.low, found.high) == (pytest.approx(202.5), pytest.approx(357.5))
    assert "stipulated" in found.basis


def test_more_hours_than_a_year_has_are_not_asked() -> None:
    """A third more than 8,000 h would be 10,667; the year ends at 8,760, so does the saving."""
    hours = Estimate(8000.0, 7600.0, 8400.0, "h")
    need = Need(heat_kw=HEAT, spread_k=(10.0, 20.0), loop_m=40.0)
    use = Use(old=Estimate(400.0, 380.0, 420.0, "kW.h"), hours=hours)
    found = choose(OLD, need, use, tariff=TARIFF, terms=None)
    more = found.what_if["a third more hours"].value
    assert more == pytest.approx(found.saving.value * 8760 / 8000, rel=0.01)
