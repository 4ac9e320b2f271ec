"""Control charts against the published run lengths, by simulation, and robust scales."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.statistics import control_charts as charts
from analysis.statistics.control_charts import RunRule

RUNS = 1000


def noise(shift: float, mean_run: float, *, seed: int = 11) -> NDArray[np.float64]:
    """Independent normal values, long enough that next to no run is cut short."""
    length = math.ceil(14 * mean_run) + 60
    return np.random.default_rng(seed).normal(shift, 1.0, (RUNS, length))


def agrees(alarm: NDArray[np.bool_], published: float) -> bool:
    """Mean run length within 3.5 standard errors of the published one."""
    runs = charts.first_alarm(alarm)
    assert runs.all()
    error = runs.std() / math.sqrt(len(runs))
    # Tables give three digits: half a unit of the last one is their own error.
    own = 0.5 * 10 ** (math.floor(math.log10(published)) - 2)
    return bool(abs(runs.mean() - published) < 3.5 * error + own)


@pytest.mark.parametrize(
    ("shift", "plain", "head_start"),
    [
        (0.0, 168, 149),
        (0.25, 74.2, 62.7),
        (0.5, 26.6, 20.1),
        (1.0, 8.38, 5.29),
        (2.0, 3.34, 2.01),
        (5.0, 1.31, 1.01),
    ],
)
def test_cusum_run_lengths(shift: float, plain: float, head_start: float) -> None:
    """Source: Lucas and Crosier 1982, table 1: k 0.5, h 4, without and with head start h/2."""
    values = noise(shift, plain)
    assert agrees(charts.cusum(values, limit=4).alarm, plain)
    assert agrees(charts.cusum(values, limit=4, head_start=2).alarm, head_start)


@pytest.mark.parametrize(("shift", "published"), [(0.0, 465), (0.5, 38.0), (1.0, 10.4)])
def test_cusum_with_limit_five(shift: float, published: float) -> None:
    """Source: Montgomery, Introduction to Statistical Quality Control (from memory)."""
    assert agrees(charts.cusum(noise(shift, published), limit=5).alarm, published)


@pytest.mark.parametrize(("shift", "published"), [(0.0, 117.59), (1.5, 3.75)])
def test_one_sided_cusum(shift: float, published: float) -> None:
    """Source: Brook and Evans 1972: k 0.5, h 3, upward only."""
    assert agrees(charts.cusum(noise(shift, published), limit=3).up > 3, published)


@pytest.mark.parametrize(
    ("weight", "limit", "published"),
    [
        (0.5, 3.071, (500, 88.8, 17.5, 3.63)),
        (0.03, 2.437, (500, 29.3, 12.6, 5.99)),
    ],
)
def test_ewma_run_lengths(weight: float, limit: float, published: tuple[float, ...]) -> None:
    """Source: Lucas and Saccucci 1990, shifts 0, 0.5, 1 and 2, steady limits."""
    bound = charts.steady_limit(weight, limit)
    for shift, length in zip((0.0, 0.5, 1.0, 2.0), published, strict=True):
        smooth = charts.ewma(noise(shift, length), weight=weight, limit=limit)
        assert agrees(np.abs(smooth.value) > bound, length)


def test_ewma_limits_reach_the_steady_ones() -> None:
    """Source: L sqrt(w / (2 - w) [1 - (1 - w)^2i]) (Lucas and Saccucci 1990)."""
    limit = charts.ewma(np.zeros(200), weight=0.2, limit=3.0).limit
    assert limit[0] == pytest.approx(3 * 0.2)
    assert limit[1] == pytest.approx(3 * math.sqrt(0.2 / 1.8 * (1 - 0.8**4)))
    assert limit[-1] == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("rules", "published"),
    [
        ((0,), (370.40, 43.89, 6.30)),
        ((0, 1), (225.44, 20.01, 3.65)),
        ((0, 2), (166.05, 12.66, 3.68)),
        ((0, 3), (152.73, 14.58, 4.89)),
        ((0, 1, 2, 3), (91.75, 9.22, 3.13)),
    ],
)
def test_run_rules(rules: tuple[int, ...], published: tuple[float, ...]) -> None:
    """Source: Champ and Woodall 1987, shifts 0, 1 and 2."""
    chosen = tuple(charts.WESTERN_ELECTRIC[i] for i in rules)
    for shift, length in zip((0.0, 1.0, 2.0), published, strict=True):
        assert agrees(charts.broken_rules(noise(shift, length), chosen).any(axis=0), length)


def test_worked_drift() -> None:
    """Sums of a slow drift step by step; h 4 alarms at the twelfth value, h 5 and EWMA do not.

    Source: worked example recomputed by hand: mean 70, sigma 1.5, k 0.5.
    """
    drift = [70.3, 69.1, 70.8, 69.6, 70.2, 71.9, 71.2, 72.4, 71.0, 71.8, 72.1, 71.6]
    deviation = (np.array(drift) - 70) / 1.5
    sums = charts.cusum(deviation, limit=4)
    expected = [0, 0, 0.0333, 0, 0, 0.7667, 1.0667, 2.1667, 2.3333, 3.0333, 3.9333, 4.5]
    assert sums.up == pytest.approx(expected, abs=1e-4)
    assert charts.first_alarm(sums.alarm) == 12
    assert charts.onset(sums.up, 11) == 5
    assert not charts.cusum(deviation, limit=5).alarm.any()
    smooth = charts.ewma(deviation, weight=0.2, limit=2.962)
    assert smooth.value[-1] == pytest.approx(0.9106, abs=1e-4)
    assert not (np.abs(smooth.value) > charts.steady_limit(0.2, 2.962)).any()


@given(
    st.lists(st.floats(-5, 5), min_size=1, max_size=40),
    st.lists(st.integers(0, 40), max_size=10),
)
def test_unknown_values_change_nothing(values: list[float], holes: list[int]) -> None:
    """With gaps put in, each chart ends where it ended without them."""
    gappy = np.insert(values, [min(h, len(values)) for h in holes], np.nan)
    assert charts.cusum(gappy).up[-1] == pytest.approx(charts.cusum(values).up[-1], abs=1e-9)
    assert charts.ewma(gappy).value[-1] == pytest.approx(charts.ewma(values).value[-1], abs=1e-9)
    assert charts.ewma(gappy).limit[-1] == pytest.approx(charts.ewma(values).limit[-1])


@given(st.lists(st.floats(-4, 4), min_size=1, max_size=60), st.floats(0, 3))
def test_cusum_is_the_recursion(values: list[float], head_start: float) -> None:
    """The closed form equals S = max(0, S + x - k) of Page 1954, taken step by step."""
    total, steps = head_start, []
    for value in values:
        total = max(0.0, total + value - 0.5)
        steps.append(total)
    assert charts.cusum(values, head_start=head_start).up == pytest.approx(steps, abs=1e-9)


def test_a_rule_wants_one_side() -> None:
    """Two values beyond two sigma on opposite sides break no rule of two in three."""
    assert not charts.broken_rules([2.5, -2.5, 0.0], (RunRule(2, 3, 2.0),)).any()
    assert charts.broken_rules([2.5, 0.0, 2.5], (RunRule(2, 3, 2.0),))[0].tolist() == [
        False,
        False,
        True,
    ]


def test_robust_scale_ignores_the_wild_value() -> None:
    """Median 70, MAD 0.5: sigma 0.7413, where the standard deviation says 24.66.

    Source: 1 / quantile(3/4) of the normal law, worked by hand.
    """
    values = [70, 71, 70, 69, 70, 72, 70, 140]
    assert charts.mad_sigma(values) == pytest.approx(0.7413, abs=1e-4)
    assert np.std(values, ddof=1) == pytest.approx(24.66, abs=0.01)
    assert charts.standardised([70.7413], values)[0] == pytest.approx(1.0, abs=1e-3)
    assert charts.qn_sigma(values) < 2


@pytest.mark.parametrize("size", [5, 8, 9, 20, 101])
def test_pairwise_scale_is_unbiased(size: int) -> None:
    """Of normal values its mean is sigma at every sample size, within simulation error.

    Source: Rousseeuw and Croux 1993 and Croux and Rousseeuw 1992 for the small samples.
    """
    samples = np.random.default_rng(3).normal(20, 2.0, (3000, size))
    found = np.array([charts.qn_sigma(s) for s in samples])
    assert found.mean() == pytest.approx(2.0, abs=3 * found.std() / math.sqrt(3000) + 0.02)


def test_pairwise_scale_needs_fewer_values() -> None:
    """Variance at a hundred values: efficiency 0.82 against 0.37 of the median deviation.

    Source: Rousseeuw and Croux 1993, asymptotic efficiencies.
    """
    samples = np.random.default_rng(4).normal(0, 1, (2000, 100))
    pairwise = np.var([charts.qn_sigma(s) for s in samples])
    median = np.var([charts.mad_sigma(s) for s in samples])
    assert median / pairwise == pytest.approx(0.82 / 0.37, rel=0.2)
