"""Signs that an induction pump's rotor stands under voltage: what tells it from a turned knob.

Power that leaps to more than the pump ever took is a locked rotor, a higher speed, or a failing
winding. A locked rotor takes 1.12 to 1.56 times the running power; the speeds of a knob lie 1.2
and more apart, the highest takes what the plate says, and water then moves faster, not slower.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.faults.pump_state.electric_evidence import MOST_LOCKED
from analysis.faults.pump_state.pipe_evidence import PipeSigns
from analysis.readings.minute_grid import ago, lasting, trailing
from analysis.readings.readings import FloatArray, IntArray
from analysis.readings.two_levels import BoolArray

_LEAST = 1.1
"""A locked capacitor motor takes 1.12 to 1.56 times its own power (model of 300 parameter sets, no
measurement)."""
_NO_SETTING = 1.19
"""Neighbouring speeds of a three-speed pump lie 1.2 to 1.6 apart (common practice, no source)."""
_BEYOND_PLATE = 1.12
"""No speed takes so much more than the plate's greatest; mains 10 % high without a voltmeter do,
but not at one stroke."""
_MORE_THAN_PLATE = 1.08
_FACTOR = 0.008
"""A motor on a higher tap has a lower power factor, a locked one a higher (model): a locked rotor's
circuit is resistive, and gets more so as it heats."""
_SAG, _SAG_MIN, _COARSE = 0.012, (5, 12), 0.01
"""Copper gains 0.39 % of resistance a kelvin, and a locked winding tens of kelvins in minutes."""
_STOPPED_K = 0.4
"""More than noise and step of two strapped sensors (common practice, no source)."""
_CUT_MIN, _CUT_MOST_MIN = 4, 25
"""Thermal cut-outs of small motors open within minutes of a locked rotor (common practice)."""
_BEFORE_MIN, _OFTEN_MIN, _SELDOM_MIN = 4, 2, 3


@dataclass(frozen=True, eq=False)
class SeizedSigns(PipeSigns):
    """What tells a locked rotor of an induction pump early."""

    @cached_property
    def _leap(self) -> IntArray:
        """Row in which the stretch of too high power began that goes on, 0 where none does."""
        return np.asarray(
            np.where(self.high, np.arange(len(self.high)) - lasting(self.high) + 1, 0)
        )

    def _before(self, value: FloatArray, usual: float | None) -> FloatArray:
        """A value of the last sound minute before the leap; after a rest the usual one."""
        sound = self.runs & ~self.high & self.one.drawn.is_steady
        at = np.arange(len(sound))
        last = np.maximum.accumulate(np.where(sound, at, -1))
        kept = np.where(last >= 0, value[last], np.nan)
        # The minute before may hold the leap itself.
        clear = np.maximum(self._leap - 2, 0)
        near = clear - last[clear] <= _BEFORE_MIN
        return np.where(near, kept[clear], np.nan if usual is None else usual)

    @cached_property
    def locked(self) -> BoolArray:
        """Minutes since the power leapt to what a locked rotor takes."""
        if not self.is_induction:
            return np.zeros(len(self.plant), bool)
        before = self._before(self.power_w, self.usual.levels.usual_w)
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = self.power_w / before
            return np.asarray(self.high & (ratio >= _LEAST) & (ratio <= MOST_LOCKED))

    @cached_property
    def seized(self) -> BoolArray:
        """A locked rotor's power, and something that no turned knob shows beside it."""
        if not self.locked.any():
            return self.locked
        shown = lasting(self.locked) >= np.where(self.often, _OFTEN_MIN, _SELDOM_MIN)
        witness = self._no_setting | self._resistive | self._stopped
        seized = (shown & (trailing(witness, 3) >= 2)) | self._sagged | self._cut
        return np.asarray(seized & ~self.grows)

    @cached_property
    def _no_setting(self) -> BoolArray:
        """More than the plate's greatest, or less above the power before than any speed is."""
        beyond = self.power_w > _BEYOND_PLATE * self._plate_w
        if not self.one.has_voltage:
            return np.asarray(self.locked & beyond)
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = self.power_w / self._before(self.power_w, None)
            return np.asarray(self.locked & (beyond | (ratio < _NO_SETTING)))

    @property
    def _plate_w(self) -> float:
        """Greatest power by the plate [W]; a pump that took more before has another plate."""
        rated, most = self.one.pump.rated_power_w, self.usual.levels.high_w or 0.0
        return rated[1] if rated and most < _MORE_THAN_PLATE * rated[1] else np.inf

    @cached_property
    def _resistive(self) -> BoolArray:
        """The power factor is above that before the leap."""
        factor = self.one.factor
        with np.errstate(invalid="ignore"):
            return self.locked & (factor > self._before(factor, self.usual.factor) + _FACTOR)

    @cached_property
    def _stopped(self) -> BoolArray:
        """Since the leap flow pipe and return cool, and the flow pipe parts from what feeds it."""
        begin = np.maximum(self._leap - 1, 0)
        flow, back = self.one.flow_c, self.one.return_c
        apart = self.plant.source_c(self.one.pump) - flow
        with np.errstate(invalid="ignore"):
            parts = (apart - apart[begin] > _STOPPED_K) & (flow - ago(flow, 4) < -_STOPPED_K)
            return np.asarray(self.locked & parts & (back - back[begin] < -_STOPPED_K))

    @cached_property
    def _since_leap(self) -> FloatArray:
        """Power, smoothed, as a share of that right after the leap."""
        smooth = (self.power_w + ago(self.power_w, 1) + ago(self.power_w, 2)) / 3.0
        first = np.minimum(self._leap + 3, len(smooth) - 1)
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(smooth / smooth[first])

    @cached_property
    def grows(self) -> BoolArray:
        """The power has grown since the leap: a locked winding's falls, a failing one's may not."""
        age = lasting(self.locked)
        return np.asarray((self._since_leap > 1.0 + _SAG) & (age > _SAG_MIN[0]))

    @cached_property
    def _sagged(self) -> BoolArray:
        """The power has fallen since the leap as that of a heating winding does."""
        age = lasting(self.locked)
        coarse = self.usual.step_w > _COARSE * (self.usual.levels.low_w or 0.0)
        if not self.one.has_voltage or coarse:
            return np.zeros(len(age), bool)
        fell = self._since_leap < 1.0 - _SAG
        return np.asarray(fell & (age > _SAG_MIN[0]) & (age <= _SAG_MIN[1]))

    @cached_property
    def _cut(self) -> BoolArray:
        """Too high a power, then none: a thermal cut-out opened, of a pump that nothing stops."""
        rests = lasting(self.idle)
        last = np.arange(len(rests)) - rests - 1
        age = lasting(self.locked)
        ended = np.maximum(age[np.maximum(last, 0)], age[np.maximum(last - 1, 0)])
        on = (ended >= _CUT_MIN) & (ended <= _CUT_MOST_MIN) & (last > 0)
        return np.asarray(on & (rests > 0) & (self.one.pump.duty in ("heating", "other")))
