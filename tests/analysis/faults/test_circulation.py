"""Judges of the water's way: reversed and ghost flow, standstill."""

import numpy as np
import pytest

from analysis.faults.ghost_flow import judge_ghost
from analysis.faults.reversed_flow import judge_reversed
from analysis.faults.standstill_risk import judge_standstill
from pumping import Pumping, day_of


def test_the_way_round_is_told_with_the_power() -> None:
    """From day 30 on the return is the warmer pipe and power is lower: turned, told next day."""
    pumping = Pumping()
    late = pumping.day(30)
    flow, back = pumping.flow.copy(), pumping.back.copy()
    pumping.flow, pumping.back = np.where(late, back, flow), np.where(late, flow, back)
    pumping.power = np.where(late, 0.97, 1.0) * pumping.power
    (found,) = judge_reversed(pumping.situation()).findings
    assert day_of(found.raised_ms) <= 31.5
    assert found.confidence > 0.85


def test_sensors_mixed_up_from_the_beginning_are_no_finding() -> None:
    """A record that never was the right way round cannot be judged, and says why."""
    pumping = Pumping()
    pumping.flow, pumping.back = pumping.back, pumping.flow
    verdict = judge_reversed(pumping.situation())
    assert verdict.findings == ()
    assert "sensors" in verdict.needs


def test_a_fallen_flow_sensor_is_no_reversal() -> None:
    """A flow sensor that hangs in the cellar's air reads less than the return: not turned."""
    pumping = Pumping()
    pumping.flow = np.where(pumping.day(30), 15.0, pumping.flow)
    assert judge_reversed(pumping.situation()).findings == ()


def test_sensors_a_little_apart_are_no_reversal() -> None:
    """The return reads one to two kelvin more than the flow all along: it never was upright."""
    pumping = Pumping()
    apart = np.where(pumping.day(20), 2.0, 0.8)
    pumping.back = np.where(pumping.power > 0, pumping.flow + apart, pumping.back)
    assert judge_reversed(pumping.situation()).findings == ()


def firing_at_night(pumping: Pumping) -> np.ndarray:
    """The burner fires from 1:00 to 1:40 each night, while the pump rests."""
    hour = pumping.minute / 60 % 24
    return np.where((hour >= 1.0) & (hour < 1.67), 1.0, 0.0)


def test_ghost_flow_is_told_after_a_few_firings() -> None:
    """From day 30 on the resting pump's pipe warms at each firing."""
    pumping = Pumping()
    pumping.fires = firing_at_night(pumping)
    hour = pumping.minute / 60 % 24
    warm = pumping.day(30) & (hour >= 1.1) & (hour < 3)
    pumping.flow = np.where(warm, 38.0, pumping.flow)
    (found,) = judge_ghost(pumping.situation()).findings
    assert 32 <= day_of(found.raised_ms) <= 36
    assert found.end_ms is None


@pytest.mark.parametrize(("rises_k", "told"), [(15.0, 1), (3.0, 0), (-3.0, 0)])
def test_ghost_flow_is_told_in_rests_of_minutes(rises_k: float, told: int) -> None:
    """A pump that rests half an hour only, while the store is charged: its pipe should cool."""
    pumping = Pumping()
    minute = pumping.minute % 1440
    charges = (minute >= 600) & (minute < 630) | (minute >= 1000) & (minute < 1030)
    pumping.fires = charges * 1.0
    since = np.where(minute < 800, minute - 600, minute - 1000)
    pumping.power = np.where(charges, 0.0, pumping.power)
    moved = np.where(pumping.day(30), rises_k, -3.0) * since / 30
    pumping.flow = np.where(charges, pumping.flow + moved, pumping.flow)
    found = judge_ghost(pumping.situation()).findings
    assert len(found) == told
    assert all(30 < day_of(f.raised_ms) < 34 for f in found)


def test_a_tight_check_valve_is_left_alone() -> None:
    """Firings at rest that leave the pipe cold are none."""
    pumping = Pumping()
    pumping.fires = firing_at_night(pumping)
    assert judge_ghost(pumping.situation()).findings == ()


def test_standstill_is_noted_after_four_weeks_and_ends_with_a_run() -> None:
    """Thirty-five days at rest: a note on the twenty-eighth; a kick ends it."""
    pumping = Pumping()
    day = pumping.minute / 1440
    rest = (day >= 10) & (day < 45.5)
    pumping.power = np.where(rest, 0.0, pumping.power)
    (found,) = judge_standstill(pumping.situation()).findings
    assert found.urgency == "note"
    assert 37 <= day_of(found.start_ms) <= 39
    assert 45 <= day_of(found.end_ms) <= 47


def test_silence_is_no_standstill() -> None:
    """Thirty-five days without readings are unknown, not rest."""
    pumping = Pumping()
    day = pumping.minute / 1440
    pumping.power = np.where((day >= 10) & (day < 45), np.nan, pumping.power)
    assert judge_standstill(pumping.situation()).findings == ()
