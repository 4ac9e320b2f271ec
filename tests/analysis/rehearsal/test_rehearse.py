"""Rehearsals: every case plays, readings are as instruments send them, the truth is honest."""

from dataclasses import replace
from importlib import import_module
from itertools import pairwise

import numpy as np
import pytest

from analysis.faults.registry import FAULTS as REGISTRY
from analysis.rehearsal.faults.negatives import NEGATIVES, NegativePlan
from analysis.rehearsal.faults.registry import FAULTS
from analysis.rehearsal.plan.cases import CASES, FAULT_CASES, cases
from analysis.rehearsal.rehearse import rehearse

SHORT = [
    "stall",
    "dry_run",
    "air",
    "dead_head",
    "overheating",
    "reversed_flow",
    "short_cycling",
    "supply_lost",
    "sensor_off_pipe",
    "sensor_stuck",
    "channel_silent",
    "setting_changed",
    "frost_risk",
    "store_too_cool",
    "return_too_warm",
    "ghost_flow",
    "ignition_trouble",
    "standing_loss_high",
]


@pytest.mark.parametrize("case", SHORT)
def test_fault_shows_after_its_onset_and_not_before(case):
    """The first departing reading lies at or after the onset, and there is one."""
    rehearsal = rehearse(case, 8, 11, year=False)
    fault = next(f for f in rehearsal.truth.faults if f.fault == case)
    assert fault.detectable_ms is not None
    assert fault.onset_ms <= fault.detectable_ms < rehearsal.truth.end_ms


@pytest.mark.parametrize("case", ["bearing_drag", "capacitor_ageing", "sludge"])
def test_slow_fault_shows_before_it_is_separable(case):
    """A fault that grows is seen in a daily median no later than a week after it stands out."""
    rehearsal = rehearse(case, 40, 3, year=False)
    fault = next(f for f in rehearsal.truth.faults if f.fault == case)
    assert fault.detectable_ms is not None
    if fault.separable_ms is not None:
        assert fault.detectable_ms < fault.separable_ms + 7 * 86_400_000


def test_same_seed_same_record():
    """A rehearsal is decided by case, days and seed."""
    one, two = (rehearse("mixed", 4, 9, year=False) for _ in range(2))
    assert one.plant == two.plant
    assert one.truth == two.truth
    assert all(np.array_equal(one.record[c].value, two.record[c].value) for c in one.record)


def test_record_is_in_order_and_of_the_plant():
    """Every channel of the plant has readings in strictly rising time."""
    rehearsal = rehearse("healthy", 5, 31, year=False)
    assert set(rehearsal.record) == {c.id for c in rehearsal.plant.channels}
    assert all(np.all(np.diff(r.time_ms) > 0) for r in rehearsal.record.values())


def test_counter_and_power_agree():
    """The energy counter advances by the integral of the power, within dead bands and losses."""
    rehearsal = rehearse("healthy", 6, 45, year=False)
    loops = [p.id for p in rehearsal.plant.pumps]
    for pump in loops:
        energy = rehearsal.record[f"{pump}.energy"]
        power = rehearsal.record[f"{pump}.power"]
        rise = np.diff(energy.value)
        used = float(rise[rise > 0].sum())
        hours = np.diff(power.time_ms) / 3.6e6
        area = float((power.value[:-1] * hours).sum() / 1000.0)
        assert used == pytest.approx(area, rel=0.2, abs=0.15)


def test_power_cut_is_silence_and_no_zero():
    """While mains is gone nothing is heard at all, rather than zeros."""
    rehearsal = rehearse("sound_power_cut", 8, 2, year=False)
    cut = next(n for n in rehearsal.truth.negatives if n.what == "power_cut")
    for readings in rehearsal.record.values():
        inside = (readings.time_ms >= cut.start_ms) & (readings.time_ms < cut.end_ms - 2000)
        assert not inside.any()


def test_firings_of_the_truth_are_in_order():
    """Each firing is called before its flame, ends after it, and before the next."""
    cycles = rehearse("healthy", 5, 8, year=False).truth.cycles
    whole = [c for c in cycles if c.end_ms is not None]
    assert len(whole) > 10
    assert all(c.called_ms <= c.start_ms < (c.end_ms or 0) for c in whole)
    assert all((a.end_ms or 0) <= b.called_ms for a, b in pairwise(whole))


def test_sound_houses_are_hard_at_least_half_of_the_time():
    """Marked disturbances cover half of the hours of sound records."""
    share = []
    for seed in range(5):
        truth = rehearse("healthy", 12, seed, year=False).truth
        hours = np.zeros(12 * 24, bool)
        for one in truth.negatives:
            a = (one.start_ms - truth.start_ms) // 3_600_000
            hours[a : (one.end_ms - truth.start_ms) // 3_600_000 + 1] = True
        share.append(hours.mean())
    assert np.mean(share) >= 0.5


def test_swap_tells_its_saving(monkeypatch):
    """The saving of a swap is the old pump's year less the new one's, and the plant names it."""
    # A shorter year is enough.
    monkeypatch.setattr(import_module("analysis.rehearsal.rehearse"), "YEAR_DAYS", 20)
    rehearsal = rehearse("swap", 6, 3)
    swap = rehearsal.truth.swap
    document = rehearsal.truth.document()
    assert swap is not None
    assert document["saving_kwh_per_year"] == pytest.approx(
        document["swap"]["before_kwh_per_year"] - document["swap"]["after_kwh_per_year"], abs=0.01
    )
    assert 0 < document["saving_kwh_per_year"] < document["swap"]["before_kwh_per_year"]
    assert rehearsal.plant.swaps[0].claim_kwh_per_year == swap.claim_kwh
    assert document["year"]["starts"] > 50


def test_every_fault_that_can_be_found_can_be_rehearsed():
    """The model knows each fault of the registry, and has a case for every fault it knows."""
    assert set(REGISTRY) <= set(FAULTS)
    assert set(FAULT_CASES) == set(FAULTS)


def test_every_hard_negative_has_a_case():
    """Each thing that looks like a fault can be rehearsed by itself."""
    assert {f"sound_{what}" for what in NEGATIVES} <= set(cases())


def test_unknown_case_is_refused():
    """A case that is not in the table is a KeyError."""
    with pytest.raises(KeyError):
        rehearse("nonsense", 2, 1)


def test_stopped_rotor_draws_more_than_before_or_only_pulses():
    """A seized induction pump takes 1.1 to 1.6 times its power; an electronic one sits idle."""
    seen = set()
    for seed in range(12):
        rehearsal = rehearse("stall", 6, seed, year=False)
        fault = rehearsal.truth.faults[0]
        if fault.detectable_ms is None or fault.end_ms is None:
            continue
        pump = next(p for p in rehearsal.plant.pumps if p.id == fault.subject)
        power = rehearsal.record[f"{pump.id}.power"]
        span = (power.time_ms >= fault.detectable_ms) & (power.time_ms < fault.end_ms)
        during, before = power.value[span], power.value[power.time_ms < fault.onset_ms]
        seen.add(pump.drive)
        if pump.drive == "induction" and len(during) and during.max() > 5:
            assert 1.0 < during.max() / np.median(before[before > 5]) < 1.75
    assert seen == {"electronic", "induction"}


def test_a_mistake_of_a_swap_lasts_from_the_swap_on():
    """Air left in by the fitter is there from the swap's day, for as long as it was to last."""
    for seed in range(500, 540):
        staging = import_module("analysis.rehearsal.rehearse").stage(CASES["swap_air"], 28.0, seed)
        (fault,) = staging.faults
        assert fault.onset_day == staging.swap.day
        assert fault.end_day is not None
        assert 5.0 <= fault.end_day - fault.onset_day <= 6.0


def test_a_hand_on_the_old_knob_does_not_bring_the_old_pump_back():
    """Turned before the swap or after it, the knob is that of the pump that is there."""
    module = import_module("analysis.rehearsal.rehearse")
    staging = module.stage(CASES["swap"], 12.0, 1)
    for day in (staging.swap.day - 3.0, staging.swap.day + 2.0):
        turned = replace(staging, negatives=(NegativePlan(what="knob_turned", day=day, days=0.1),))
        scene = module.set_scene(turned, ())
        loop = scene.spec.index("heating")
        first_of_new = scene.spec.loops[loop].first_setting(1)
        settings = scene.drivers.setting[loop]
        swapped = scene.minute(staging.swap.day)
        assert (settings[:swapped] < first_of_new).all()
        assert (settings[swapped:] >= first_of_new).all()
        assert settings[scene.minute(day) - 1] != settings[scene.minute(day)]


def test_a_sound_burner_hardly_locks_out():
    """Once a year at most in 20,000 starts, with one try (oil) or several (common practice)."""
    staged = import_module("analysis.rehearsal.rehearse")
    tries = set()
    for seed in range(12):
        scene = staged.set_scene(staged.stage(CASES["healthy"], 2, seed), ())
        tries.add(scene.spec.body.tries)
        assert 20_000 * float(scene.drivers.ignition_fail.max()) ** scene.spec.body.tries <= 1.01
    assert 1.0 in tries
