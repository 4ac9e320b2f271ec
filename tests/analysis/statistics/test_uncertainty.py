"""Uncertainty against the GUM's own examples and worked savings of the literature."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.base.errors import StokeholdError
from analysis.statistics.uncertainty import (
    Comparison,
    Meter,
    combined,
    difference_uncertainty_w,
    effective_count,
    effective_freedom,
    expansion,
    improved_factor,
    lag1,
    mean_bias,
    portfolio_uncertainty,
    propagate,
    rectangular,
    variation,
)

# Simultaneous resistance and reactance, GUM (JCGM 100:2008) H.2: five readings of voltage [V],
# current [A] and phase angle [rad]. Data and printed results from memory; they agree to a
# thousandth when computed again.
VOLTAGE = [5.007, 4.994, 5.005, 4.990, 4.999]
CURRENT = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]
ANGLE = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def _impedance(x: np.ndarray) -> np.ndarray:
    z = x[0] / x[1]
    return np.array([z * np.cos(x[2]), z * np.sin(x[2]), z])


def test_correlated_inputs_give_resistance_and_reactance() -> None:
    """GUM H.2: R 127.732 (0.071), X 219.847 (0.2956), Z 254.260 (0.236) ohm, correlations too."""
    data = np.array([VOLTAGE, CURRENT, ANGLE])
    found, covariance = propagate(_impedance, data.mean(axis=1), np.cov(data) / 5)
    u = np.sqrt(np.diag(covariance))
    assert found == pytest.approx([127.732, 219.847, 254.260], abs=0.001)
    assert u == pytest.approx([0.071, 0.2956, 0.236], abs=0.0005)
    r = covariance / np.outer(u, u)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.588, -0.485, 0.993], abs=0.001)


def test_ignored_correlation_gives_the_wrong_uncertainty() -> None:
    """The same without the inputs' correlation: u(R) 0.195, nearly three times too much."""
    data = np.array([VOLTAGE, CURRENT, ANGLE])
    spread = np.diag(np.diag(np.cov(data) / 5))
    _, covariance = propagate(_impedance, data.mean(axis=1), spread)
    assert np.sqrt(covariance[0, 0]) == pytest.approx(0.195, abs=0.0005)


def test_rectangular_bounds() -> None:
    """GUM 4.3.7: bounds of 0.40e-6 give a standard uncertainty of 0.23e-6."""
    assert rectangular(0.40e-6) == pytest.approx(0.23e-6, abs=0.005e-6)


def test_effective_freedom_of_equal_parts() -> None:
    """GUM G.4: two equal parts with 5 degrees of freedom each have 10 together."""
    assert effective_freedom((1.0, 1.0), (5.0, 5.0)) == pytest.approx(10.0)


def test_plug_is_poor_at_low_power() -> None:
    """2 %, 0.5 W, step 0.1 W: 11.8 to 2.5 % from 5 to 70 W (k = 2; the plug model is ours)."""
    watts = np.array([5.0, 10.0, 25.0, 45.0, 70.0])
    expanded = np.array([2 * Meter().uncertainty_w(p) for p in watts])
    assert expanded == pytest.approx([0.59, 0.62, 0.82, 1.19, 1.72], abs=0.006)
    assert expanded / watts == pytest.approx([0.118, 0.062, 0.033, 0.026, 0.025], abs=0.0006)


def test_same_plug_tells_a_difference_better_than_two() -> None:
    """70 W before, 10 W after: 0.693 W with the same plug, 0.913 W with two (GUM, computed)."""
    same = difference_uncertainty_w(Meter(), 70.0, 10.0, same_plug=True)
    two = difference_uncertainty_w(Meter(), 70.0, 10.0, same_plug=False)
    assert (same, two) == (pytest.approx(0.693, abs=5e-4), pytest.approx(0.913, abs=5e-4))


def test_stipulated_hours_cost_certainty() -> None:
    """70 to 10 W over 5,000 h: 35.6 kWh where hours are stipulated to 10 %, 8.2 where measured.

    Computed after the GUM; the plug's 1 % of reading is a standard uncertainty here, its 0.5 W
    and the hours' 10 % are bounds.
    """
    meter = Meter(gain=0.01 * np.sqrt(3.0))
    watts = difference_uncertainty_w(meter, 70.0, 10.0, same_plug=False)
    measured = 2 * combined((5.0,), (watts,))
    stipulated = 2 * combined((5.0, 60.0 / 1000), (watts, rectangular(500.0)))
    assert (stipulated, measured) == (pytest.approx(35.6, abs=0.1), pytest.approx(8.2, abs=0.1))


def test_heat_from_flow_and_spread() -> None:
    """0.6 m3/h at 60/40 Cel, 13.822 kW: u 0.641 kW, 0.469 where the sensors err alike (GUM)."""
    k = 13.822 / 0.6 / 20
    sensitivity = (k * 20, k * 0.6, -k * 0.6)
    u = (0.03 * 0.6, 0.5, 0.5)
    alike = [[1, 0, 0], [0, 1, 0.8], [0, 0.8, 1]]
    assert combined(sensitivity, u) == pytest.approx(0.641, abs=0.001)
    assert combined(sensitivity, u, alike) == pytest.approx(0.469, abs=0.001)


def test_quantiles() -> None:
    """Student's t: 1.64906 and 1.96652 at 363, 1.81246 at 10 degrees of freedom (tables)."""
    assert expansion(0.90, 363) == pytest.approx(1.64906, abs=1e-5)
    assert expansion(0.95, 363) == pytest.approx(1.96652, abs=1e-5)
    assert expansion(0.90, 10) == pytest.approx(1.81246, abs=1e-5)


def test_fractional_savings_uncertainty_of_daily_data() -> None:
    """A year before and after, CV 0.20, saving a tenth, autocorrelation 0.5 (Guideline 14)."""
    daily = Comparison(cv=0.20, before=365, after=365, autocorrelation=0.5)
    assert effective_count(365, 0.5) == pytest.approx(121.667, abs=0.001)
    assert daily.savings_uncertainty(0.10, 1.0) == pytest.approx(0.2303, abs=5e-5)
    t = expansion(0.90, 363)
    assert daily.savings_uncertainty(0.10, t) == pytest.approx(0.3798, abs=5e-5)
    improved = daily.savings_uncertainty(0.10, t, improved_factor(12, "daily"))
    assert improved == pytest.approx(0.4198, abs=5e-5)


@pytest.mark.parametrize(("rho", "expected"), [(0.0, 0.1323), (0.8, 0.4053)])
def test_autocorrelation_widens(rho: float, expected: float) -> None:
    """The same with residuals independent, and nearly repeating."""
    daily = Comparison(cv=0.20, before=365, after=365, autocorrelation=rho)
    assert daily.savings_uncertainty(0.10, 1.0) == pytest.approx(expected, abs=5e-5)


def test_fractional_savings_uncertainty_of_bills() -> None:
    """Twelve monthly bills before and after: 0.2741, improved 0.2840 (Guideline 14, CalTRACK)."""
    bills = Comparison(cv=0.10, before=12, after=12)
    assert bills.savings_uncertainty(0.15, 1.0464) == pytest.approx(0.2741, abs=1e-4)
    improved = bills.savings_uncertainty(0.15, 1.0464, improved_factor(12, "billing"))
    assert improved == pytest.approx(0.2840, abs=1e-4)


@pytest.mark.parametrize(("after", "share"), [(365, 0.0461), (30, 0.161)])
def test_least_saving_that_can_be_shown(after: int, share: float) -> None:
    """The share whose uncertainty is half of it: 4.61 % after a year, 16.1 % after a month."""
    daily = Comparison(cv=0.20, before=365, after=after, autocorrelation=0.5)
    assert daily.relative_uncertainty(1.0) / 0.5 == pytest.approx(share, abs=5e-4)


def test_measures_of_fit() -> None:
    """CV(RMSE) and NMBE of five points, by hand."""
    y, model = [10, 12, 14, 16, 18], [11, 12, 13, 17, 18]
    assert variation(y, model, 2) == pytest.approx(0.071429, abs=1e-6)
    assert variation(y, model, 1) == pytest.approx(0.061859, abs=1e-6)
    assert mean_bias(y, model, 1) == pytest.approx(-0.017857, abs=1e-6)
    assert mean_bias(y, model, 2) == pytest.approx(-0.023810, abs=1e-6)


def test_portfolio() -> None:
    """Three savings together are surer than one: 0.16443 (CalTRACK 4.3.2.4, computed)."""
    found = portfolio_uncertainty((120, 80, 60), (400, 300, 250))
    assert found == pytest.approx(0.16443, abs=5e-6)


def test_autocorrelation_of_sorted_data_is_refused(shared_data: Path) -> None:
    """The weekly gas record is sorted by temperature: no autocorrelation can be had from it."""
    gas = pd.read_csv(shared_data / "whiteside.csv")["Gas"]
    with pytest.raises(StokeholdError, match="order"):
        lag1(gas, in_time_order=False)


def test_autocorrelation_of_a_known_process() -> None:
    """A long autoregressive series of 0.6 shows 0.6."""
    kick = np.random.default_rng(3).standard_normal(20_000)
    series = np.zeros(len(kick))
    for k in range(1, len(kick)):
        series[k] = 0.6 * series[k - 1] + kick[k]
    assert lag1(series, in_time_order=True) == pytest.approx(0.6, abs=0.02)


@given(st.floats(1, 100), st.floats(1, 100))
def test_same_plug_is_never_worse(before: float, after: float) -> None:
    """Whatever the powers, one plug's difference is at least as sure as two plugs'."""
    same, two = (
        difference_uncertainty_w(Meter(), before, after, same_plug=same) for same in (True, False)
    )
    assert same <= two
