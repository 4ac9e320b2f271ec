"""A weak supply in the model: its voltmeters show it, and its judge finds it there."""

from analysis.base.time import DAY_MS, Span
from analysis.faults.registry import FAULTS, examine
from analysis.readings.situation import Situation
from analysis.rehearsal.faults.voltage_out_of_range import FAULT
from analysis.rehearsal.rehearse import rehearse


def test_a_weak_supply_shows_at_once_and_is_found() -> None:
    """Truth tells it from the minute it begins on; the judge names it within a week."""
    played = rehearse(FAULT.name, 10.0, 5, year=False)
    (true,) = played.truth.faults
    assert true.detectable_ms is not None
    assert true.detectable_ms - true.onset_ms < DAY_MS / 24
    span = Span(played.truth.start_ms, played.truth.end_ms)
    situation = Situation(plant=played.plant, record=played.record, span=span)
    (found,) = examine(situation, [FAULTS[FAULT.name]]).findings
    assert abs(found.start_ms - true.onset_ms) < DAY_MS / 24
    assert found.raised_ms - true.onset_ms < 7 * DAY_MS
