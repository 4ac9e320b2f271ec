"""What days of a new pump say of its year."""

import numpy as np
import pytest

from analysis.climate import belief_of_zone
from analysis.saving_ratio import load_lift
from analysis.timebase import parse_rfc3339


def test_mild_weeks_ask_a_lift_and_cold_ones_hardly() -> None:
    """Valves shut as it grows warmer (common practice, no source); beyond a season no further."""
    cold, middle, mild, hot = (load_lift(np.full(28, t)) for t in (2.0, 8.0, 13.0, 25.0))
    assert cold < middle < mild == hot
    assert abs(cold) < 0.03
    assert load_lift(np.array([np.nan, 8.0, np.nan])) == middle
    assert load_lift(np.full(5, np.nan)) == 0.0


@pytest.mark.parametrize(("zone", "colder"), [("Europe/Dublin", "01"), ("Pacific/Auckland", "07")])
def test_usual_temperature_follows_the_season_of_the_place(zone: str, colder: str) -> None:
    """January is the cold month in the north, July in the south."""
    other = {"01": "07", "07": "01"}[colder]
    days = np.array([parse_rfc3339(f"2026-{month}-20T00:00:00Z") for month in (colder, other)])
    cold, warm = belief_of_zone(zone).usual_on(days)
    assert warm - cold == pytest.approx(16.0, abs=0.5)
