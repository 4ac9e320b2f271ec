"""A pump that overheats told within minutes, whatever its body showed before."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.plant.plant import Plant
from made_minutes import AFTER_H, HOUR, LATE, TIME_MS, found, house, part, sound, stalled, told

LATE_MS = int(TIME_MS[LATE][0])
MINUTES = np.maximum(AFTER_H, 0.0) * 60.0


def with_body(drive: str = "electronic", plate_w: tuple[float, float] = (4.0, 40.0)) -> Plant:
    plant = house(drive)
    heating = replace(plant.pumps[0], rated_power_w=plate_w)
    body = part("heating", "temperature", "Cel", "body")
    pumps = (heating, plant.pumps[1])
    return replace(plant, pumps=pumps, channels=(*plant.channels, body))


def told_after_min(values: dict[str, np.ndarray]) -> float | None:
    raised = [f.raised_ms for f in found(values, with_body()) if f.fault == "overheating"]
    return (min(r for r in raised if r is not None) - LATE_MS) / 60_000 if raised else None


@pytest.mark.parametrize(("power_w", "delay"), [(60.0, 3.0), (48.0, 5.0), (44.0, None)])
def test_power_beyond_the_plate_tells_of_a_pump_whose_body_is_far_below_its_water(
    power_w: float, delay: float | None
) -> None:
    """A plate of 4 to 40 W: electronics hold no sound pump at 48 W; a plug may feign 44 W."""
    values = sound()
    values["heating.power"] = np.where(LATE, power_w, values["heating.power"])
    values["heating.body"] = np.full(len(TIME_MS), 21.0)
    assert told_after_min(values) == delay


@pytest.mark.parametrize("pipes_warm", [False, True])
def test_pump_at_rest_that_warms_beside_cool_pipes_overheats(pipes_warm: bool) -> None:
    """Half a kelvin a minute with no power: its own water does not explain it."""
    values = sound()
    values["heating.power"] = np.where(LATE, 0.0, values["heating.power"])
    values["boiler.power"] = np.where(LATE, 5.0, values["boiler.power"])
    rise = np.minimum(0.5 * MINUTES, 8.0)
    values["heating.flow"] = np.where(LATE, 54.0 + pipes_warm * rise, values["heating.flow"])
    values["boiler.flow"] = np.where(LATE, 54.0 + pipes_warm * rise, values["boiler.flow"])
    values["heating.body"] = np.where(LATE, 50.0 + rise, sound()["heating.flow"] - 2.0)
    delay = told_after_min(values)
    assert (delay is not None and delay <= 20.0) is not pipes_warm


def test_overload_is_not_learned_as_usual_at_midnight() -> None:
    """A day and a half beyond the plate: the finding stands at the end."""
    values = sound()
    values["heating.power"] = np.where(HOUR >= 4 * 24 + 12.0, 60.0, values["heating.power"])
    values["heating.body"] = np.full(len(TIME_MS), 21.0)
    (finding,) = [f for f in found(values, with_body()) if f.fault == "overheating"]
    assert finding.end_ms is None


def test_failing_winding_that_is_cut_off_is_one_alarm() -> None:
    """Twice the power, cut off and on again as it heats: no locked rotor takes so much."""
    values = sound(50.0)
    on = MINUTES % 20.0 < 8.0
    values["heating.power"] = np.where(LATE, np.where(on, 100.0, 0.0), values["heating.power"])
    values["heating.body"] = np.where(LATE, 75.0, 50.0)
    assert told(values, with_body("induction", (35.0, 60.0))) == [("overheating", "now")]


def test_seized_motor_that_heats_is_one_alarm() -> None:
    """Its rotor stands, so its body heats: the stall is told, and not the heat beside it."""
    values = sound(50.0)
    stalled(values, 58.0)
    values["heating.body"] = np.where(LATE, 50.0 + np.minimum(1.0 * MINUTES, 50.0), 50.0)
    values["heating.voltage"] = np.full(len(TIME_MS), 230.0)
    plant = with_body("induction", (35.0, 75.0))
    plant = replace(plant, channels=(*plant.channels, part("heating", "voltage", "V")))
    assert told(values, plant) == [("stall", "now")]


def test_body_that_hot_water_warms_after_a_rest_does_not_overheat() -> None:
    """A stiff start of an induction pump takes a sixth more; its body comes up from 24 K below."""
    values = sound(50.0)
    rests = (AFTER_H >= -4.0) & (AFTER_H < 0.0)
    values["boiler.power"] = np.where(rests, 5.0, values["boiler.power"])
    values["heating.power"] = np.where(rests, 0.0, np.where(LATE, 58.0, values["heating.power"]))
    water = np.where(rests | LATE, 40.0, values["heating.flow"])
    values["heating.flow"] = water + np.where(LATE, np.minimum(MINUTES, 20.0), 0.0)
    values["boiler.flow"] = values["heating.flow"] + 1.0
    below = np.where(rests, 4.0 + 5.0 * np.clip(AFTER_H + 4.0, 0.0, 4.0), 4.0)
    below = np.where(LATE, np.maximum(24.0 - 1.0 * MINUTES, 4.0), below)
    values["heating.body"] = values["heating.flow"] - below
    plant = with_body("induction", (35.0, 75.0))
    assert "overheating" not in {f.fault for f in found(values, plant)}


@pytest.mark.parametrize("grows", [True, False])
def test_power_that_grows_is_a_failing_windings_and_no_locked_rotors(grows: bool) -> None:
    """Told as seized at first; copper that heats at a standstill takes less, not more."""
    values = sound(50.0)
    power = values["heating.power"]
    if not grows:
        stalled(values, 0.0)
    rise = 1.0 + (0.06 if grows else -0.06) * np.minimum(MINUTES / 40.0, 1.0)
    values["heating.power"] = power * np.where(LATE, 1.45 * rise, 1.0)
    warms = np.minimum(1.2 * MINUTES, 40.0)
    values["heating.body"] = sound()["heating.flow"] + 3.0 + np.where(LATE, warms, 0.0)
    findings = found(values, with_body("induction", (35.0, 60.0)))
    assert next(f.fault for f in findings) == "stall"
    assert any(f.fault == "overheating" for f in findings) is grows
