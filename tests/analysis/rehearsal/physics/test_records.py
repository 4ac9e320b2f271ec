"""The physics of the rehearsal plant against figures from outside."""

import numpy as np
import pytest

from analysis.rehearsal.physics.electronic import (
    ElectronicPump,
    electronic_power_factor,
    electronic_power_w,
    energy_efficiency_index,
)
from analysis.rehearsal.physics.hydraulics import (
    CONSTANT_PRESSURE,
    CONSTANT_SPEED,
    PROPORTIONAL_PRESSURE,
    electronic_point,
    flow_at_speed,
)
from analysis.rehearsal.physics.motor import accepted_motors, circuit, running
from analysis.rehearsal.physics.water import (
    density_kg_m3,
    specific_heat_j_kg_k,
    thermosiphon_head_m,
)


@pytest.mark.parametrize(
    ("temp_c", "density"), [(20.0, 998.206), (40.0, 992.224), (60.0, 983.211), (80.0, 971.803)]
)
def test_density_is_that_of_iapws(temp_c, density):
    """IAPWS-IF97 at 0.101325 MPa, computed with the iapws reference library."""
    assert density_kg_m3(temp_c) == pytest.approx(density, abs=0.02)


@pytest.mark.parametrize(
    ("temp_c", "cp"), [(20.0, 4184.2), (40.0, 4178.1), (60.0, 4182.3), (80.0, 4195.1)]
)
def test_specific_heat_is_that_of_iapws(temp_c, cp):
    """IAPWS-IF97 at 0.3 MPa, computed with the iapws reference library."""
    assert specific_heat_j_kg_k(temp_c) == pytest.approx(cp, rel=2e-4)


def test_thermosiphon_head_of_a_five_metre_loop():
    """60/40 Cel over 5 m: about 0.045 m, from densities 983.2 and 992.2 (IAPWS-IF97)."""
    assert thermosiphon_head_m(60.0, 40.0, 5.0) == pytest.approx(5 * 9.013 / 992.224, rel=2e-3)


@pytest.mark.parametrize("size", [(1.0, 1.0), (1.5, 1.0), (1.5, 1.1)])
def test_energy_index_is_of_the_class(size):
    """At most 0.23, the limit of Regulation (EC) 641/2009 from August 2015; best near 0.15."""
    assert 0.14 < energy_efficiency_index(ElectronicPump().scaled(*size)) < 0.23


def test_affinity_laws():
    """Flow scales with speed, head with its square, on a loop without static head (textbook)."""
    pump = ElectronicPump()
    full = flow_at_speed(pump.h0, pump.b, pump.a, 1.0, 2.3)
    part = flow_at_speed(pump.h0, pump.b, pump.a, 0.8, 2.3)
    assert part == pytest.approx(0.8 * full)


@pytest.mark.parametrize(
    ("mode", "head", "ratio"),
    [(CONSTANT_PRESSURE, 1.5, (0.5, 0.63)), (PROPORTIONAL_PRESSURE, 3.0, (0.24, 0.34))],
)
def test_floor_to_ceiling_of_power_tells_the_mode(mode, head, ratio):
    """Floor over ceiling 0.52-0.58 at constant, 0.25-0.30 at proportional (class model)."""
    pump = ElectronicPump()
    watts = [
        float(
            electronic_power_w(
                pump, *reversed(electronic_point(mode, 1.0, head, 1.2, pump.h0, pump.b, pump.a, k))
            )
        )
        for k in (2.3, 1000.0)
    ]
    assert ratio[0] < watts[1] / watts[0] < ratio[1]


def test_dead_headed_electronic_pump_at_fixed_speed():
    """Power falls by 19 to 33 % from open to shut valves at fixed speed (class model)."""
    pump = ElectronicPump()
    watts = [
        float(
            electronic_power_w(
                pump,
                *reversed(
                    electronic_point(CONSTANT_SPEED, 0.68, 0.0, 1.0, pump.h0, pump.b, pump.a, k)
                ),
            )
        )
        for k in (2.3, 1000.0)
    ]
    assert 0.65 < watts[1] / watts[0] < 0.82


def test_power_factor_of_small_electronic_pumps():
    """0.40 to 0.55 between 4 and 25 W (common practice, no source)."""
    factor = electronic_power_factor(np.array([4.0, 25.0]))
    assert 0.38 < factor[0] < 0.45
    assert 0.5 < factor[1] < 0.6


@pytest.fixture(scope="module")
def motors():
    """An ensemble of motors that have the class data."""
    return accepted_motors(np.random.default_rng(1), 12_000)[:150]


def _ratios(motors, **ailing):
    sound = np.array([float(running(m).power_w) for m in motors])
    ill = np.array([float(running(m, **ailing).power_w) for m in motors])
    return ill / sound


def test_motors_have_the_class_data(motors):
    """58-72 W, 0.25-0.33 A, power factor above 0.9, 1900-2600 rpm (trade data of 65 W pumps)."""
    found = [running(m) for m in motors]
    assert all(57.5 < float(r.power_w) < 72.5 for r in found)
    assert all(0.249 < float(r.current_a) < 0.332 for r in found)
    assert all(float(r.power_factor) > 0.89 for r in found)
    assert all(1880 < 3000 * float(r.speed) < 2620 for r in found)


def test_power_follows_the_mains_by_the_class_exponent(motors):
    """P goes with V to the power 1.43-1.80 for 5-95 % of an ensemble, 1.65 in the middle."""
    high = np.array([float(running(m, voltage_v=242.0).power_w) for m in motors])
    low = np.array([float(running(m, voltage_v=218.0).power_w) for m in motors])
    exponent = np.log(high / low) / np.log(242.0 / 218.0)
    assert np.median(exponent) == pytest.approx(1.65, abs=0.12)
    assert 1.2 < np.quantile(exponent, 0.05) < np.quantile(exponent, 0.95) < 1.95


@pytest.mark.parametrize(
    ("ailing", "low", "high"),
    [
        ({"hydraulic": 0.62}, 0.87, 0.98),
        ({"hydraulic": 0.06}, 0.63, 0.95),
        ({"drag": 0.2}, 1.01, 1.09),
        ({"capacity": 0.7}, 0.82, 1.03),
    ],
)
def test_faults_move_power_by_the_class_ratio(motors, ailing, low, high):
    """Dead head 0.88-0.96, dry 0.63-0.90, drag 1.02-1.06, capacitor 0.83-1.00 (class model)."""
    ratio = _ratios(motors, **ailing)
    assert low < np.quantile(ratio, 0.05)
    assert np.quantile(ratio, 0.95) < high


def test_locked_rotor_takes_little_more_than_running(motors):
    """1.19-1.56 times its own power cold, sagging as the winding warms; factor unchanged."""
    sound = np.array([float(running(m).power_w) for m in motors])
    cold = np.array([float(circuit(m, 1.0, heat_k=-40.0).power_w) for m in motors]) / sound
    hot = np.array([float(circuit(m, 1.0, heat_k=60.0).power_w) for m in motors]) / sound
    assert 1.1 < np.quantile(cold, 0.05) < np.quantile(cold, 0.95) < 1.6
    assert np.all(hot < cold)


def test_ageing_capacitor_shows_in_the_power_factor(motors):
    """About -0.06 at 70 % and -0.11 at 50 % of the capacitance (class model)."""
    sound = np.array([float(running(m).power_factor) for m in motors])
    fall = [
        float(np.median(sound - [float(running(m, capacity=c).power_factor) for m in motors]))
        for c in (0.7, 0.5)
    ]
    assert fall[0] == pytest.approx(0.065, abs=0.02)
    assert fall[1] == pytest.approx(0.115, abs=0.03)


def test_energy_of_the_circuit_is_positive_and_bounded(motors):
    """Shaft power never exceeds what is taken from the mains (first law)."""
    for motor in motors[:20]:
        slip = np.linspace(0.02, 1.0, 60)
        at = circuit(motor, slip)
        assert np.all(at.torque_w * (1.0 - slip) < at.power_w)
