"""Whether a boiler has mains, by its own standby."""

import numpy as np

from analysis.readings.mains_voltage import without_mains
from analysis.readings.plant_minutes import MachineMinutes
from analysis.readings.power_levels import learn_levels


def drawn(power_w: np.ndarray) -> MachineMinutes:
    return MachineMinutes(power_w, power_w, power_w)


def firing(standby_w: float, work_w: float) -> np.ndarray:
    """Two days of ten minutes of fire in half an hour; now and then the fan runs twice as fast."""
    minute = np.arange(2880)
    power = np.where(minute % 30 < 10, work_w, standby_w)
    return np.where(minute % 300 < 8, 2.0 * work_w, power)


def test_lowest_of_several_levels_taken_for_rest_is_the_standby() -> None:
    """2.7 W of electronics below a burner of 9.2 W, which a rare 18 W makes look like rest."""
    power = firing(2.7, 9.2)
    levels = learn_levels(drawn(power), idle_most_w=60.0, least_rest=0.03)
    night = np.full(120, 2.7)
    assert not without_mains(drawn(night), levels).any()
    assert without_mains(drawn(0.0 * night), levels).all()


def test_burner_that_hardly_pauses_still_shows_its_standby() -> None:
    """19 W of least flame for days, 2 W of standby in one hour of fifty: rest, not lost mains."""
    minute = np.arange(14 * 1440)
    power = np.where(minute % 3000 < 60, 2.0, np.where(minute % 97 < 20, 24.0, 19.0))
    levels = learn_levels(drawn(power), idle_most_w=60.0, least_rest=0.03)
    assert not without_mains(drawn(np.full(120, 2.0)), levels).any()
    assert without_mains(drawn(np.zeros(120)), levels).all()


def test_standby_of_one_watt_is_told_by_a_fine_plug_only() -> None:
    """A plug that tells whole watts may tell one or none of the same standby."""
    dead = drawn(np.zeros(60))
    fine = learn_levels(drawn(firing(1.0, 9.2)), idle_most_w=60.0)
    whole = learn_levels(drawn(firing(1.0, 9.0)), idle_most_w=60.0)
    assert without_mains(dead, fine).all()
    assert not without_mains(dead, whole).any()
