"""Payback and annuity against published factors and a worked example."""

from math import inf

import pytest

from analysis.base.estimate import Estimate
from analysis.energy.payback import (
    Terms,
    capital_recovery_factor,
    discounted_payback,
    present_value_factor,
)

EXAMPLE = Terms(investment=500.0, years=10, interest=0.05)


@pytest.mark.parametrize(
    ("interest", "years", "expected"),
    [(0.05, 10, 0.129505), (0.03, 15, 0.083767), (0.0, 8, 0.125)],
)
def test_capital_recovery(interest: float, years: float, expected: float) -> None:
    """Factors as in the tables of engineering economy."""
    assert capital_recovery_factor(interest, years) == pytest.approx(expected, abs=5e-7)


def test_present_value() -> None:
    """7.72173 at 5 % over ten years (tables)."""
    assert present_value_factor(0.05, 10) == pytest.approx(7.72173, abs=5e-6)


def test_worked_example() -> None:
    """500 for 1126.4 kWh a year at 0.30: 1.480 years, annuity 64.75, value 2109.33, 1.575 years.

    Two always-on pumps of 70 W replaced by 10 W over 5,000 h; computed with the factors above.
    """
    saved = 1126.4 * 0.30
    yearly = Estimate(saved, saved * 0.9, saved * 1.1, "EUR/a")
    found = EXAMPLE.document(yearly)
    assert found["payback_years"]["value"] == pytest.approx(1.480, abs=5e-4)
    assert found["annuity"] == pytest.approx(64.75, abs=0.005)
    assert found["present_value"] == pytest.approx(2109.33, abs=0.05)
    assert found["discounted_payback_years"] == pytest.approx(1.575, abs=5e-4)
    assert found["yearly_result"]["value"] == pytest.approx(saved - 64.75, abs=0.01)
    assert found["payback_years"]["low"] < 1.480 < found["payback_years"]["high"]


def test_gain_that_may_be_nil_has_no_upper_payback() -> None:
    """A saving of 20 +- 30 pays back perhaps never: no upper end, and it says so."""
    found = EXAMPLE.payback(Estimate(20.0, -10.0, 50.0, "EUR/a"))
    assert (found.low, found.high) == (10.0, None)
    assert "never" in (found.reason or "")


def test_loss_never_pays_back() -> None:
    """No gain, no payback; discounted, interest above the gain neither."""
    assert EXAMPLE.payback(Estimate(-5.0, -9.0, -1.0, "EUR/a")).value is None
    assert discounted_payback(500.0, 20.0, 0.05) == inf


def test_what_would_be_spent_anyway_shortens_payback() -> None:
    """An old pump near its end would cost 200 anyway: only the rest must pay back."""
    worn = Terms(investment=500.0, avoided=200.0)
    assert worn.payback(Estimate(100.0, 90.0, 110.0, "EUR/a")).value == pytest.approx(3.0)
