"""Two levels found from the data, and runs above them."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from analysis.readings.readings import Holds
from analysis.readings.two_levels import runs_above, two_levels


def held(values: list[float], *, step: int = 10, gap_before: tuple[int, ...] = ()) -> Holds:
    start = np.arange(len(values), dtype=np.int64) * step
    end = start + step
    for i in gap_before:
        end[i - 1] -= 1
    return Holds(start, end, np.array(values))


def test_two_levels_of_a_noisy_burner() -> None:
    """3 W at rest and a firing that modulates from 35 to 110 W: the thresholds lie between."""
    rng = np.random.default_rng(1)
    rest, firing = rng.normal(3, 0.3, 5000), rng.uniform(35, 110, 1500)
    found = two_levels(held([*rest, *firing]), 8.0)
    assert found is not None
    assert abs(found.low - 3) < 0.2
    assert 5 < found.off < found.on < 35


def test_one_level_is_not_split() -> None:
    """A pump that always runs shows one level, however it wavers."""
    rng = np.random.default_rng(1)
    assert two_levels(held(list(rng.normal(60, 2, 5000))), 2.0) is None
    assert two_levels(held([5.0] * 100), 2.0) is None
    assert two_levels(held([]), 2.0) is None


def test_hysteresis_keeps_a_wavering_value_in_one_run() -> None:
    """Worked example: on at 40, off at 20 gives one run where a single threshold at 30 gives two.

    Source: two-threshold example of the detection notes, recomputed by hand:
    2,1,3,28,61,62,25,60,63,2,1,2 becomes 000011111000.
    """
    known = held([2, 1, 3, 28, 61, 62, 25, 60, 63, 2, 1, 2], step=1)
    runs = runs_above(known, 40, 20)
    assert (runs.start_ms.tolist(), runs.end_ms.tolist()) == ([4], [9])
    assert len(runs_above(known, 30, 30).start_ms) == 2


def test_run_at_a_gap_is_open() -> None:
    """A run that begins after, or ends before, a gap did not show that edge."""
    known = held([50, 50, 1, 50, 50, 50, 1], gap_before=(5,))
    runs = runs_above(known, 40, 20)
    assert runs.start_ms.tolist() == [0, 30, 50]
    assert runs.opens.tolist() == [False, True, False]
    assert runs.closes.tolist() == [True, False, True]


def test_rest_ends_at_the_next_run_or_is_unseen() -> None:
    """The rest reaches to the next run; where a gap or the end comes first, that far."""
    known = held([50, 1, 1, 50, 1, 1, 1, 50, 1], gap_before=(6,))
    runs = runs_above(known, 40, 20)
    assert runs.end_ms.tolist() == [10, 40, 80]
    assert runs.rest_until_ms.tolist() == [30, 59, 90]


@given(st.lists(st.floats(0, 100), min_size=1, max_size=60))
def test_runs_agree_with_a_plain_walk(values: list[float]) -> None:
    """The array form gives what a step by step walk gives."""
    expected, state = [], values[0] >= 30 if 20 < values[0] < 40 else values[0] >= 40
    for v in values:
        state = True if v >= 40 else False if v <= 20 else state
        expected.append(state)
    runs = runs_above(held(values, step=1), 40, 20)
    found = np.zeros(len(values), bool)
    for a, b in zip(runs.start_ms, runs.end_ms, strict=True):
        found[a:b] = True
    assert found.tolist() == expected
