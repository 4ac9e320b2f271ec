"""Counts of shared-out houses: their sum is the count of all."""

import pytest

from analysis.score.tally import FaultTally, Mistake, Tally


def _tally(*, found: int, delay_h: float) -> Tally:
    tally = Tally(plants=1, plant_years=0.25)
    tally.faults["stall"] = FaultTally(present=1, found=found, noticed=1, first=1)
    tally.faults["stall"].delays_h.append(delay_h)
    tally.false_alarms["air"]["soon"] += 1
    tally.energy.append((-0.2, bool(found)))
    tally.claims.append(("confirmed", "refuted" if found else "confirmed"))
    tally.mistakes.append(Mistake("stall", 1, "missed", "heating", "stall", None, ""))
    return tally


def test_two_tallies_added_count_as_one():
    """Shares, rates and quantiles are of all houses, not means of the parts."""
    tally = _tally(found=1, delay_h=1.0)
    tally.add(_tally(found=0, delay_h=3.0))
    told = tally.document()
    assert told["plants"] == 2
    assert told["faults"]["stall"]["recall"] == 0.5
    assert told["faults"]["stall"]["delay_h"]["median"] == 2.0
    assert told["false_alarms_per_plant_year"]["by_fault"]["air"]["soon"] == 4.0
    assert told["energy"]["interval_contains_truth"] == 0.5
    assert told["claims"]["false_confirmed"] == 0.5
    assert len(told["mistakes"]) == 2


def test_a_share_of_few_cases_is_told_with_its_doubt() -> None:
    """Wilson's interval of 9 of 10: Brown, Cai and DasGupta 2001, formula 4, worked by hand."""
    tally = Tally()
    tally.energy += [(0.1, True)] * 9 + [(0.5, False)]
    low, high = tally.document()["energy"]["contains_between"]
    z2 = 1.959964**2
    middle, half = (9 + z2 / 2) / (10 + z2), (z2 * 10) ** 0.5 / (10 + z2)
    half *= (0.9 * 0.1 + z2 / 40) ** 0.5
    assert (low, high) == pytest.approx((middle - half, middle + half), abs=1e-4)


def test_groups_pool_what_their_faults_counted() -> None:
    """A stall found and an overheating missed are one of two urgent ones, and no slow one."""
    tally = _tally(found=1, delay_h=1.0)
    tally.faults["overheating"].present += 1
    together = tally.document()["together"]
    assert together["urgent"]["recall"] == 0.5
    assert together["all"]["present"] == 2
    assert "slow" not in together


def test_what_was_never_counted_is_unknown_and_not_zero():
    """Without a case there is no share, no rate and no quantile."""
    told = Tally().document()
    assert told["cycles"]["precision"] is None
    assert told["cycles"]["f1"] is None
    assert told["saving"]["interval_contains_truth"] is None
    assert told["false_alarms_per_plant_year"]["all"]["now"] is None
