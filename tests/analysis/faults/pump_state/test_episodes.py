"""What recurs and ends by itself, told from what goes on: a judge's mind made by hand."""

import numpy as np
import pytest

from analysis.faults.pump_state.episodes import CAUSES, STALL, Minded, spells
from analysis.faults.pump_state.pump_watch import recurs_min

DAY = 1440


def mind_with(stretches: list[tuple[int, int]], days: int = 8) -> Minded:
    """A pump that looks stalled from one minute to another, wrong at once and told after ten."""
    size = days * DAY
    cause, wrong = np.zeros(size, np.int64), np.zeros(size, bool)
    for start, end in stretches:
        wrong[start:end] = True
        cause[start + 10 : end] = STALL
    return Minded(cause, cause == STALL, wrong, dict.fromkeys(CAUSES, ~wrong))


def at_noon(day: int, minutes: int) -> tuple[int, int]:
    return day * DAY + 720, day * DAY + 720 + minutes


def test_three_days_make_a_habit() -> None:
    """Two stretches of half an hour are none, a third makes it one, as long as the longest."""
    two = [at_noon(0, 30), at_noon(1, 35)]
    assert recurs_min(spells(mind_with(two)), slice(0, 8 * DAY)) == 0
    assert recurs_min(spells(mind_with([*two, at_noon(3, 30)])), slice(0, 8 * DAY)) == 35
    assert recurs_min(spells(mind_with([*two, at_noon(3, 30)])), slice(DAY, 8 * DAY)) == 0


def test_what_lasts_or_takes_hours_is_no_habit() -> None:
    """A stall that still lasts and stretches of half a day teach nothing."""
    size = 8 * DAY
    going_on = [at_noon(0, 30), at_noon(1, 30), (5 * DAY, size)]
    assert recurs_min(spells(mind_with(going_on)), slice(0, size)) == 0
    long = [at_noon(day, 600) for day in range(4)]
    assert recurs_min(spells(mind_with(long)), slice(0, size)) == 0


@pytest.mark.parametrize(("minutes", "told"), [(35, 0), (120, 1)])
def test_patience_ends(minutes: int, told: int) -> None:
    """Within half as long again as its habit nothing is told, beyond it everything is."""
    patient = mind_with([at_noon(6, minutes)]).patient(1.5 * 35 + 5)
    found = list(spells(patient))
    assert len(found) == told
    assert all(spell.wakes is not None for spell in found)
