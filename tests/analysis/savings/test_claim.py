"""Claims against savings: the four words, and the arithmetic no claim can pass."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.base.estimate import Estimate
from analysis.savings.claim import Ceiling, judge_claim


def _saving(value: float, low: float, high: float) -> Estimate:
    return Estimate(value, low, high, "kW.h")


def test_two_old_pumps_have_a_ceiling() -> None:
    """Two of 70 W always on use 1226.4 kWh a year: 1,300 is refused with the sum shown.

    Common practice, no source.
    """
    one = Ceiling.of_power(70.0, "old pump, always on")
    both = one.plus(one)
    assert both.kwh == pytest.approx(1226.4)
    found = judge_claim(_saving(870, 800, 940), 1300.0, both)
    assert found.word == "refuted"
    assert "70.0 W x 8,760 h = 613 kWh" in found.why


@pytest.mark.parametrize(
    ("claim", "word"),
    [(900.0, "confirmed"), (1000.0, "refuted"), (700.0, "exceeded"), (None, None)],
)
def test_words(claim: float | None, word: str | None) -> None:
    """Of 870 (800 to 940) kWh: 900 lies within, 1,000 above, 700 below."""
    ceiling = Ceiling.of_power(140.0, "old pumps")
    assert judge_claim(_saving(870, 800, 940), claim, ceiling).word == word


def test_wide_interval_proves_nothing() -> None:
    """300 (100 to 520) neither confirms nor refutes 400."""
    found = judge_claim(_saving(300, 100, 520), 400.0, None)
    assert found.word == "not_proven"
    assert "longer record" in found.why


def test_nothing_claimed_and_nothing_shown() -> None:
    """An interval over zero is no proof of any saving."""
    assert judge_claim(_saving(5, -20, 30), None, None).word == "not_proven"


def test_unknown_saving_still_meets_the_ceiling() -> None:
    """Even where nothing was measured, a claim above the old pump's use is refused."""
    unknown = Estimate.unknown("kW.h", "no readings")
    assert judge_claim(unknown, 700.0, Ceiling.of_power(60.0, "plate")).word == "refuted"
    assert judge_claim(unknown, 300.0, Ceiling.of_power(60.0, "plate")).word == "not_proven"


@given(st.floats(10, 1000), st.floats(0.01, 0.9))
def test_claim_half_too_high_is_never_confirmed_by_an_interval_that_holds_the_truth(
    truth: float, wide: float
) -> None:
    """Whatever its width: if the interval holds the truth, 1.5 times the truth is not confirmed."""
    saving = _saving(truth, truth * (1 - wide), truth * (1 + wide))
    assert judge_claim(saving, 1.5 * truth, None).word != "confirmed"
    assert judge_claim(saving, truth, None).word != "refuted"
