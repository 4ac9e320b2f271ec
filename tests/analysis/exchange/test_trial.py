"""The guided trial: leads, waits for readings, sees a knob that moved, resumes, gives the table."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.base.time import MINUTE_MS, SECOND_MS, Span
from analysis.exchange.trial import Trial, begin, end, look, plan, skip, trial_from, valve_objection
from analysis.exchange.trial_results import first_baseline, trial_result
from analysis.plant.plant import Boiler, Channel, Plant, Pump
from analysis.readings.readings import Readings

PLANT = Plant(
    name="Quay",
    timezone="UTC",
    boilers=(Boiler(id="boiler", fuel="gas"),),
    pumps=(Pump(id="heating", drive="induction", rated_power_w=(36.0, 70.0)),),
    channels=(
        Channel(id="heating.power", of="heating", quantity="power", unit="W", interval_s=10.0),
        Channel(id="boiler.power", of="boiler", quantity="power", unit="W", interval_s=10.0),
        Channel(
            id="boiler.flow", of="boiler", quantity="temperature", unit="Cel", place="flow",
            interval_s=30.0,
        ),
    ),
)  # fmt: skip
START = 1_700_000_000_000
WATTS = {"I": 38.0, "II": 52.0, "III": 66.0, "unplugged": 0.6}


def fresh(**also: object) -> Trial:
    steps = plan("induction")
    return Trial(plant="quay", pump="heating", started_ms=START, steps=steps, usual="II", **also)


def readings(*stretches: tuple[float, float, float], noise: float = 0.2) -> dict[str, Readings]:
    """Stretches of (from minute, to minute, watts), every ten seconds, with the plug's unrest."""
    rng = np.random.default_rng(1)
    times = [np.arange(a * 60, b * 60, 10.0) for a, b, _ in stretches]
    values = [
        np.full(len(t), w) + noise * rng.standard_normal(len(t))
        for t, (_, _, w) in zip(times, stretches, strict=True)
    ]
    stamps = START + (np.concatenate(times) * SECOND_MS).astype(np.int64)
    return {"heating.power": Readings.of(stamps, np.concatenate(values))}


def minute(at: float) -> int:
    return START + round(at * MINUTE_MS)


def test_a_step_ends_when_ten_minutes_of_readings_are_there() -> None:
    """The settling time does not count; the program says how long it still takes."""
    trial = begin(fresh(), minute(0))
    record = readings((-5, 30, 38.0))
    early = look(trial, PLANT, record, minute(5))
    assert not early.is_enough
    assert early.left_s == pytest.approx(600 - (5 * 60 - 90), abs=11)
    assert early.power_w == pytest.approx(38.0, abs=1.0)
    assert look(trial, PLANT, record, minute(12)).is_enough


def test_silence_is_waited_for_and_never_counted() -> None:
    """Four silent minutes make the step four minutes longer."""
    record = readings((-5, 6, 38.0), (10, 30, 38.0))
    trial = begin(fresh(), minute(0))
    silent = look(trial, PLANT, record, minute(8))
    assert silent.power_w is None
    assert "no reading of 'heating.power'" in silent.words
    assert not look(trial, PLANT, record, minute(13)).is_enough
    assert look(trial, PLANT, record, minute(15.6)).is_enough


def test_a_knob_that_moves_within_a_step_begins_it_again() -> None:
    """A jump to another level is told; the step's new beginning replaces the old one."""
    record = readings((-5, 6, 38.0), (6, 40, 52.0))
    trial = begin(fresh(), minute(0))
    assert look(trial, PLANT, record, minute(9)).begin_again
    again = begin(trial, minute(9))
    assert [(m.label, m.start_ms) for m in again.marks] == [("I", minute(9))]
    assert look(again, PLANT, record, minute(21)).is_enough


def test_a_wavering_electronic_pump_is_no_knob() -> None:
    """A pump that follows the valves drifts over the step without a jump."""
    drift = [(m, m + 1.0, 12.0 - 0.15 * m) for m in range(-5, 20)]
    trial = begin(fresh(), minute(0))
    assert look(trial, PLANT, readings(*drift, noise=0.1), minute(12)).is_enough


def walked() -> tuple[Trial, dict[str, Readings]]:
    """All steps done, fifteen minutes each, with the display read at II."""
    trial, stretches = fresh(), []
    for i, step in enumerate(trial.steps):
        stretches.append((15.0 * i, 15.0 * (i + 1), WATTS[step.label]))
        trial = begin(trial, minute(15.0 * i + 0.5))
        shown = 55.0 if step.label == "II" else None
        trial = end(trial, minute(15.0 * i + 13.0), display_w=shown)
    return trial, readings(*stretches)


def test_the_table_holds_the_true_watts_within_plug_and_scatter() -> None:
    """Each setting's interval contains the truth, and a plug that reads 2 % too much."""
    trial, record = walked()
    for gain in (1.0, 1.02):
        power = record["heating.power"]
        wrong = {"heating.power": Readings(power.time_ms, power.value * gain)}
        result = trial_result(trial, PLANT, wrong)
        assert [row.setting for row in result.table] == ["I", "II", "III"]
        for row in result.table:
            assert row.power.low < WATTS[row.setting] < row.power.high
            assert row.power.high - row.power.low < 0.08 * WATTS[row.setting] + 1.5
        assert result.normal_w == pytest.approx(52.0 * gain, abs=0.2)
    assert first_baseline(result, {"heating": 1.0, "other": 2.0})["other"] == 2.0
    assert first_baseline(result, {})["heating"] == result.normal_w


def test_plate_display_and_plug_are_checked() -> None:
    """A display that disagrees, a plug that shows 0.6 W of nothing, a plate too small."""
    trial, record = walked()
    result = trial_result(trial, PLANT, record)
    checks = {check.what: check for check in result.checks}
    assert checks["nameplate"].agrees is True
    assert checks["display"].agrees is False
    assert "shows 55 W" in checks["display"].words
    assert checks["plug offset"].agrees is False
    assert result.offset.low < 0.6 < result.offset.high
    assert checks["settings apart"].agrees is True
    small = replace(PLANT, pumps=(replace(PLANT.pumps[0], rated_power_w=(4.0, 40.0)),))
    told = {c.what: c for c in trial_result(trial, small, record).checks}["nameplate"]
    assert told.agrees is False
    assert "III 66.0 W" in told.words


def test_a_knob_never_turned_is_seen() -> None:
    """Three steps with one power are no table of three settings."""
    trial, _ = walked()
    result = trial_result(trial, PLANT, readings((0.0, 61.0, 52.0)))
    (apart,) = [c for c in result.checks if c.what == "settings apart"]
    assert apart.agrees is False
    assert "I and II" in apart.words


def test_a_trial_resumes_from_its_document() -> None:
    """What was done stays done, what ran still runs, what was skipped stays skipped."""
    trial = end(begin(fresh(), minute(1)), minute(12), display_w=37.0)
    trial = begin(skip(trial, minute(12)), minute(14))
    again = trial_from(trial.document())
    assert again == trial
    assert again.next is not None
    assert again.next.label == "III"
    assert [m.outcome for m in again.marks] == ["kept", "skipped", "kept"]


def boiler(flow_c: float, rise: float, boiler_w: float) -> dict[str, Readings]:
    """Flow that rises by so many kelvins a minute, and the boiler's power."""
    times = START + np.arange(0, 20 * 60, 10) * SECOND_MS
    ramp = flow_c + rise * np.arange(len(times)) / 6.0
    return {
        "boiler.flow": Readings.of(times, ramp),
        "boiler.power": Readings.of(times, np.full(len(times), boiler_w)),
    }


def test_the_valve_is_shut_only_where_nothing_speaks_against_it() -> None:
    """Refused while the boiler is hot, fires, or is not measured; silence is no cold boiler."""
    now = minute(19)
    assert valve_objection(PLANT, boiler(40.0, 0.0, 3.0), now) is None
    assert "let it cool" in str(valve_objection(PLANT, boiler(70.0, 0.0, 3.0), now))
    assert "getting warmer" in str(valve_objection(PLANT, boiler(30.0, 1.0, 3.0), now))
    assert "as if it fired" in str(valve_objection(PLANT, boiler(40.0, 0.0, 90.0), now))
    assert "not known" in str(valve_objection(PLANT, {}, now))
    unheard = boiler(40.0, 0.0, 90.0)
    unheard["boiler.power"] = unheard["boiler.power"].within(Span(START, minute(14)))
    assert "it might fire" in str(valve_objection(PLANT, unheard, now))
    late = boiler(40.0, 0.0, 3.0)
    late["boiler.flow"] = late["boiler.flow"].within(Span(minute(18), minute(20)))
    assert "three minutes ago" in str(valve_objection(PLANT, late, now))


def test_the_valve_step_ends_after_two_minutes_whatever_is_heard() -> None:
    """By the clock, from the moment it was shut; without a reading it is opened at once."""
    steps = plan("induction", ["III"], valve=True, offset=False)
    trial = Trial(plant="quay", pump="heating", started_ms=START, steps=steps)
    trial = end(begin(trial, minute(0)), minute(12))
    trial = begin(trial, minute(13))
    assert trial.running.label == "valve shut"
    cool = boiler(40.0, 0.0, 3.0)
    shut = look(trial, PLANT, cool, minute(14.9))
    assert shut.words.startswith("keep it shut")
    assert shut.left_s == pytest.approx(6.0)
    view = look(trial, PLANT, cool, minute(15) + SECOND_MS)
    assert view.is_enough
    assert "open the valve" in view.words
    silent = look(trial, PLANT, {}, minute(14))
    assert silent.begin_again
    assert silent.words.startswith("open the valve fully now")
    assert "as if it fired" in look(trial, PLANT, boiler(40.0, 0.0, 90.0), minute(14)).words


def test_a_shut_valve_lowers_the_power_of_a_sound_pump() -> None:
    """A power that stays as it was asks whether the valve shuts at all."""
    steps = plan("induction", ["III"], valve=True, offset=False)
    trial = Trial(plant="quay", pump="heating", started_ms=START, steps=steps)
    trial = end(begin(trial, minute(0)), minute(12))
    trial = end(begin(trial, minute(13)), minute(17))
    for watts, fell in ((61.0, True), (66.0, False)):
        record = readings((0, 13, 66.0), (13, 17, watts))
        (check,) = [c for c in trial_result(trial, PLANT, record).checks if c.what == "valve shut"]
        assert check.agrees is fell
