"""A locked rotor told early, and a turned knob told apart from it, in hand-made minutes.

Ratios of power and power factor of locked capacitor motors: from a model, no measurement.
"""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from analysis.base.time import DAY_MS, Span
from analysis.faults.pump_state.decide import missing_min
from analysis.faults.registry import FAULTS, examine
from analysis.plant.plant import Plant
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation
from made_minutes import (
    AFTER_H,
    DAYS,
    HOUR,
    LATE,
    TIME_MS,
    charged,
    found,
    house,
    part,
    record,
    sound,
)

LATE_MS = int(TIME_MS[LATE][0])
MINUTES = AFTER_H * 60.0
RNG = np.random.default_rng(11)


def plant_with(plate_w: tuple[float, float], *quantities: str) -> Plant:
    """A house with an induction pump and more sensors on its plug or pipes."""
    plant = house("induction")
    units = {"voltage": "V", "power_factor": "1"}
    more = [part("heating", q, units[q]) for q in quantities if q in units]
    if "return" in quantities:
        more.append(part("heating", "temperature", "Cel", "return"))
    heating = replace(plant.pumps[0], rated_power_w=plate_w)
    return replace(
        plant, pumps=(heating, plant.pumps[1]), channels=(*plant.channels, *more)
    )  # fmt: skip


def leapt(ratio: float, factor: float = 0.92) -> dict[str, np.ndarray]:
    """A sound house whose pump takes another power, at another power factor, from noon on."""
    values = sound(50.0)
    running = values["heating.power"] > 1.0
    values["heating.power"] = values["heating.power"] * np.where(LATE, ratio, 1.0)
    values["heating.voltage"] = 230.0 + 0.5 * RNG.standard_normal(len(HOUR))
    values["heating.power_factor"] = np.where(running, np.where(LATE, factor, 0.92), 0.0)
    values["heating.return"] = values["heating.flow"] - 10.0
    return values


def delay_min(values: dict[str, np.ndarray], plant: Plant, fault: str = "stall") -> float | None:
    """Minutes until it wakes somebody, None where it does not."""
    raised = [
        f.raised_ms
        for f in found(values, plant)
        if f.fault == fault and f.urgency == "now" and f.raised_ms is not None
    ]
    return (min(raised) - LATE_MS) / 60_000 if raised else None


WIDE = (35.0, 75.0)


@pytest.mark.parametrize(
    ("ratio", "plate_w", "delay"),
    [(1.15, WIDE, 3.0), (1.3, WIDE, None), (1.3, (35.0, 55.0), 3.0)],
    ids=["no speed is so near", "the next speed", "beyond the plate"],
)
def test_power_that_no_speed_takes_is_a_locked_rotor(
    ratio: float, plate_w: tuple[float, float], delay: float | None
) -> None:
    """The pipes tell nothing yet: power alone parts a locked rotor from a turned knob."""
    assert delay_min(leapt(ratio), plant_with(plate_w, "voltage")) == delay


def test_evidence_shows_the_power_since_the_leap() -> None:
    """57.5 W after 50: not a mean of both."""
    (finding,) = [f for f in found(leapt(1.15), plant_with(WIDE, "voltage")) if f.urgency == "now"]
    assert finding.evidence[0].value == pytest.approx(57.5, abs=0.8)


@pytest.mark.parametrize(("factor", "delay"), [(0.94, 3.0), (0.90, None)])
def test_power_factor_parts_a_locked_rotor_from_a_higher_tap(
    factor: float, delay: float | None
) -> None:
    """A higher tap saturates the iron; a locked rotor's circuit is resistive."""
    plant = plant_with(WIDE, "voltage", "power_factor")
    assert delay_min(leapt(1.3, factor), plant) == delay


def test_power_that_falls_as_a_winding_heats_is_a_locked_rotor() -> None:
    """Down by 2 % within eight minutes at a steady voltage; copper gains 0.39 % a kelvin."""
    values = leapt(1.3)
    heats = 1.0 - 0.02 * np.clip(MINUTES / 8.0, 0.0, 1.0)
    values["heating.power"] = values["heating.power"] * np.where(LATE, heats, 1.0)
    delay = delay_min(values, plant_with(WIDE, "voltage"))
    assert delay is not None
    assert delay <= 10.0


@pytest.mark.parametrize("stands", [True, False])
def test_pipes_that_part_since_the_leap_tell_standing_water(stands: bool) -> None:
    """Flow and return fall by a fifth of a kelvin a minute below a steady boiler."""
    values = leapt(1.3)
    values["boiler.flow"] = np.where(LATE, 55.0, values["boiler.flow"])
    fall = 0.2 * np.maximum(MINUTES, 0.0) if stands else 0.0
    for pipe, warm_c in (("heating.flow", 54.0), ("heating.return", 44.0)):
        values[pipe] = np.where(LATE, warm_c - fall, values[pipe])
    delay = delay_min(values, plant_with(WIDE, "voltage", "return"))
    assert (delay is not None and delay <= 10.0) is stands


@pytest.mark.parametrize(("short_min", "told"), [(8, True), (60, False)])
def test_too_high_a_power_that_is_cut_off_is_a_locked_rotor(short_min: int, told: bool) -> None:
    """A thermal cut-out opens within minutes; a pump that rests after an hour was set higher."""
    values = leapt(1.3)
    off = LATE & (np.floor_divide(MINUTES - short_min, 6.0) == 0.0)
    values["heating.power"] = np.where(off, 0.0, values["heating.power"])
    plant = plant_with(WIDE)
    delay = delay_min(values, plant)
    assert (delay is not None and delay <= short_min + 2) is told
    causes = [f.possible[0] for f in found(values, plant) if f.fault == "stall"]
    assert causes[:1] == (["stall: rotor seized"] if told else [])


@pytest.mark.parametrize(("fire_min", "told"), [(5.0, True), (1.0, False)])
def test_pump_is_missed_on_when_the_boiler_puts_its_fire_out(fire_min: float, told: bool) -> None:
    """It stops amid a fire; the boiler, rid of no heat, stops minutes later and stays hot.

    A controller that lets go of both is seen by two plugs, one a little later than the other.
    """
    values = sound()
    values["heating.power"] = np.where(LATE, 0.0, values["heating.power"])
    values["boiler.power"] = np.where(LATE & (fire_min <= MINUTES), 5.0, values["boiler.power"])
    hot = np.minimum(56.0 + np.maximum(MINUTES, 0.0), 60.0) - 0.02 * np.maximum(MINUTES, 0.0)
    values["boiler.flow"] = np.where(LATE, hot, values["boiler.flow"])
    cools = 20.0 + 34.0 * np.exp(-AFTER_H / 1.5)
    values["heating.flow"] = np.where(LATE, cools, values["heating.flow"])
    delay = delay_min(values, house())
    assert (delay is not None and delay <= 15.0) is told


@pytest.mark.parametrize(("power_w", "minutes"), [(40.0, 20), (np.nan, 0)])
def test_who_stopped_amid_a_fire_is_known_by_the_boilers_power_alone(
    power_w: float, minutes: int
) -> None:
    """Twenty minutes of rest, three missed, five with fire: hot water alone is no fire."""
    size = 60
    rests = np.arange(size) >= 40
    no = np.zeros(size, bool)
    signs = SimpleNamespace(
        known=~no, runs=~rests, heat_waits=~no, rests_by_clock=no, fed=no, storing=no,
        heat=(np.arange(size) < 45).astype(float),
        plant=SimpleNamespace(boilers={"boiler": SimpleNamespace(power_w=np.full(size, power_w))}),
    )  # fmt: skip
    missed = rests & (np.arange(size) < 43)
    assert missing_min(signs, missed)[-1] == minutes  # type: ignore[arg-type]  # the signs it asks for


@pytest.mark.parametrize("warms", [True, False])
def test_tries_that_push_hot_water_into_the_pipe_are_no_stall(warms: bool) -> None:
    """A controller's output chatters after a charge: the pipe comes up beside the boiler's."""
    values = sound()
    charged(values)
    since_min = MINUTES - 36.0
    starts = (since_min >= 0.0) & (since_min < 10.0)
    chatters = np.arange(len(HOUR)) % 2 == 0
    values["heating.power"] = np.where(starts & chatters, 0.0, values["heating.power"])
    values["boiler.flow"] = np.where(starts, 55.0, values["boiler.flow"])
    up = np.clip(since_min / 3.0, 0.0, 1.0) if warms else 0.0
    values["heating.flow"] = np.where(starts, 48.0 + 6.0 * up, values["heating.flow"])
    readings = record(values, {})
    # Within the minutes of a try the plug is read at rest and at work.
    tried = TIME_MS[starts & ~chatters] + 30_000
    usual = readings["heating.power"]
    order = np.argsort(np.append(usual.time_ms, tried), kind="stable")
    readings["heating.power"] = Readings(
        np.append(usual.time_ms, tried)[order],
        np.append(usual.value, np.zeros(len(tried)))[order],
    )
    situation = Situation(plant=house(), record=readings, span=Span(0, DAYS * DAY_MS))
    found_now = [f for f in examine(situation, [FAULTS["stall"]]).findings if f.urgency == "now"]
    assert (not found_now) is warms
