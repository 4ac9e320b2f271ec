"""What a pump draws at rest and its plug may not show."""

import numpy as np

from analysis.plant.plant import Pump
from analysis.pump.setting_steps import plug_step_w
from analysis.readings.readings import FloatArray, Readings

_WHOLE_W = 0.9
_LEAST_SHARE = 0.02
_UNSEEN_W = (0.3, 2.5)
"""Standby of an electronic pump's supply that a cheap plug tells as nothing: such plugs show 0
below 0.5 to 3 W, and a pump stopped by signal draws 0.5 to 3 W (domain notes, from memory)."""


def unseen_standby_w(pump: Pump, readings: Readings, *, number: int) -> FloatArray:
    """Standby power that may be hidden below what the plug shows, one figure a possibility [W].

    Nothing is hidden of an induction pump, of a pump that was not seen at rest, and by a plug
    that tells tenths of a watt. Else half of the possibilities have a standby.

    Parameters
    ----------
    pump : Pump
        Whose standby.
    readings : Readings
        Its power [W].
    number : int
        Of possibilities.
    """
    value = readings.known().value
    rests = len(value) > 0 and float(np.mean(value == 0)) > _LEAST_SHARE
    if pump.drive != "electronic" or not rests or plug_step_w(readings) < _WHOLE_W:
        return np.zeros(number)
    rng = np.random.default_rng(29)
    return np.where(rng.random(number) < 0.5, rng.uniform(*_UNSEEN_W, number), 0.0)
