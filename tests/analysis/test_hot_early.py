"""A pump that overheats told within minutes, whatever its body showed before."""

from dataclasses import replace

import numpy as np
import pytest

from made_minutes import AFTER_H, LATE, TIME_MS, found, house, part, sound

LATE_MS = int(TIME_MS[LATE][0])
MINUTES = np.maximum(AFTER_H, 0.0) * 60.0


def told_after_min(values: dict[str, np.ndarray]) -> float | None:
    plant = house()
    plant = replace(
        plant, channels=(*plant.channels, part("heating", "temperature", "Cel", "body"))
    )
    raised = [f.raised_ms for f in found(values, plant) if f.fault == "overheating"]
    return (min(r for r in raised if r is not None) - LATE_MS) / 60_000 if raised else None


@pytest.mark.parametrize(("power_w", "delay"), [(60.0, 3.0), (44.0, None)])
def test_power_beyond_the_plate_tells_of_a_pump_whose_body_is_far_below_its_water(
    power_w: float, delay: float | None
) -> None:
    """A plate of 4 to 40 W: electronics hold no sound pump at 60 W; mains may feign 44 W."""
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
