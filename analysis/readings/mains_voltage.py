"""Whether a machine has mains at all: its own standby tells, where its plug shows one."""

import numpy as np

from analysis.readings.plant_minutes import MachineMinutes
from analysis.readings.power_levels import Levels
from analysis.readings.two_levels import BoolArray

SEEN_STANDBY_W = 0.8
"""Least standby that can be told from a plug's own zero; a boiler takes 2 to 10 W, some a watt
(common practice, no source)."""
_OFF_SHARE = 0.4


def without_mains(drawn: MachineMinutes, levels: Levels) -> BoolArray:
    """Minutes in which a machine's plug is heard and shows less than the machine's own standby.

    Parameters
    ----------
    drawn : MachineMinutes
        Power of the machine.
    levels : Levels
        Its usual levels; nothing can be told where its standby is below `SEEN_STANDBY_W`.
    """
    standby = levels.standby_w or 0.0
    if standby < SEEN_STANDBY_W:
        return np.zeros(len(drawn.high_w), bool)
    return np.asarray(np.nan_to_num(drawn.high_w, nan=standby) < _OFF_SHARE * standby)
