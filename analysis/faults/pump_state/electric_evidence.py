"""Electric signs of a pump, minute by minute: what its plug and the pressure gauge show."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.readings.learned import PlantLearned, PumpLearned
from analysis.readings.mains_voltage import without_mains
from analysis.readings.minute_grid import ago, lasting, trailing
from analysis.readings.plant_minutes import PlantMinutes, PumpMinutes
from analysis.readings.power_levels import LEAST_CURVE_W, Levels, tells_whole_watts
from analysis.readings.readings import FloatArray
from analysis.readings.two_levels import BoolArray

_TOO_LITTLE = 0.8
"""Share of its least running power below which a pump does no work; common practice, no source."""
_LOWEST_SETTING = 0.35
_COARSE_STEP_W = 0.45
_MORE, _MORE_UNKNOWN_V = 1.05, 1.1
"""A locked induction motor takes 1.12 to 1.56 times its own power (model, no measurement);
unmeasured voltage moves a sound one by 8 %."""
MOST_LOCKED = 1.65
"""A locked induction motor takes at most so many times its own power; the model's most is 1.56."""
_ELECTRONIC_MORE = 1.25
_LOW_PRESSURE_BAR = 0.5
"""Below this a circulator cavitates; 1.0 to 1.5 bar are wanted cold (handbook figure)."""
_LOST_BAR, _LOST_MIN = 0.3, 4
_FALLEN = 0.5
_SLACK, _STILL_SLACK = 0.95, 0.97
"""Share of its power that a pump keeps at most when its water goes (model)."""
_AT_WORK_MIN = 180
_TRY_WINDOW_MIN = 12
_TRY_MINUTES = 4
_RARE_WINDOW_MIN = 60
"""A plug read twice a minute sees one of several tries that are over in seconds; a pump at rest is
kicked once a day (common practice, no source)."""
_NEAR_LEAST = 1.1
_TRY_W = 1.5
_BRIEF = 0.6
_OFTEN, _OFTEN_MIN = 4, 3
"""So many readings a minute for so many minutes are worth six minutes of a plug's one or two."""
_BARE_SHARE = 0.6


@dataclass(frozen=True, eq=False)
class ElectricSigns:
    """What one pump draws over the minutes of a plant, beside what is usual for it."""

    plant: PlantMinutes
    one: PumpMinutes
    usual: PumpLearned
    learned: PlantLearned

    @property
    def is_induction(self) -> bool:
        """Whether the motor runs straight on the mains."""
        return self.one.pump.drive == "induction"

    @cached_property
    def power_w(self) -> FloatArray:
        """Power of each minute, voltage-normalised where that can be had [W]."""
        return self.one.drawn.power_w

    @cached_property
    def known(self) -> BoolArray:
        """Minutes in which power is known."""
        return np.asarray(~np.isnan(self.power_w))

    @property
    def floor_w(self) -> float:
        """Least power of a running pump [W]; an electronic one's may not have been seen yet.

        A plug that tells whole watts may tell a step less than was seen so far.
        """
        step = self.usual.step_w if self.usual.step_w >= _COARSE_STEP_W else 0.0
        if self.is_induction:
            return self.seen_floor_w
        return min((self.usual.levels.low_w or LEAST_CURVE_W) - step, self.seen_floor_w)

    @property
    def seen_floor_w(self) -> float:
        """Least power as its plug or its plate tells it [W]."""
        low = self.usual.levels.low_w or LEAST_CURVE_W
        if self.is_induction:
            return low
        rated = self.one.pump.rated_power_w
        return min(low, 0.9 * rated[0] if rated else LEAST_CURVE_W)

    @property
    def never_rests(self) -> bool:
        """It ran through all the days of which is known, and showed no rest."""
        usual, days = self.usual, self.learned.days
        minutes = days * 1440.0 * usual.heard
        return usual.levels.idle_w is None and days >= 1.5 and usual.run_minutes > 0.97 * minutes

    @cached_property
    def bare(self) -> BoolArray:
        """So little that it is an electronic pump's electronics alone, be the plug a step off."""
        if self.is_induction:
            return np.zeros(len(self.plant), bool)
        step = self.usual.step_w if self.usual.step_w >= _COARSE_STEP_W else 0.0
        return np.asarray(self.odd & (self.power_w + step < _BARE_SHARE * self.seen_floor_w))

    @property
    def least_w(self) -> float:
        """Power below which the pump cannot be running [W].

        The lowest of an induction pump's settings takes some two fifths of its highest.
        """
        return (_LOWEST_SETTING if self.is_induction else _TOO_LITTLE) * self.floor_w

    @property
    def idle_top_w(self) -> float:
        """Power up to which the pump rests [W]."""
        idle = self.usual.levels.idle_w or 0.0
        return idle + max(0.4, 0.1 * idle)

    @property
    def part_way_w(self) -> float:
        """Power that no running pump falls to, between rest and its floor [W]."""
        share = _LOWEST_SETTING if self.is_induction else 0.5
        return max(self.idle_top_w, share * self.floor_w)

    @cached_property
    def idle(self) -> BoolArray:
        """Rests, or is without power."""
        return self.known & (np.nan_to_num(self.one.drawn.high_w) <= self.idle_top_w)

    @cached_property
    def odd(self) -> BoolArray:
        """Takes more than at rest and less than ever when running."""
        return self.known & (self.power_w > self.idle_top_w) & (self.power_w < self.least_w)

    @cached_property
    def runs(self) -> BoolArray:
        """Runs through the minute, at least at its floor."""
        low = np.nan_to_num(self.one.drawn.low_w)
        return self.known & (low > self.part_way_w) & (self.power_w >= self.least_w)

    @cached_property
    def high(self) -> BoolArray:
        """Takes more than it ever does when running."""
        levels = self.usual.levels
        if levels.high_w is None or levels.usual_w is None:
            return np.zeros(len(self.plant), bool)
        if self.is_induction:
            more = _MORE if self.one.has_voltage else _MORE_UNKNOWN_V
            limit = max(more * levels.high_w, (more + 0.02) * levels.usual_w)
            # Learned below its plate's least it ran against shut valves, which takes 4 to 12 % off.
            plate = self.one.pump.rated_power_w
            limit = max(limit, _MORE_UNKNOWN_V * plate[0] if plate else 0.0)
        else:
            rated = self.one.pump.rated_power_w
            limit = _ELECTRONIC_MORE * max(levels.high_w, rated[1] if rated else 0.0)
        return self.runs & (self.power_w > limit)

    @cached_property
    def locks(self) -> BoolArray:
        """Takes more than ever, yet no more than a locked rotor: a failing winding does."""
        return self.high & (self.power_w <= MOST_LOCKED * (self.usual.levels.high_w or 0.0))

    @cached_property
    def tries(self) -> BoolArray:
        """Starts again and again and never gets to run."""
        if self.is_induction:
            return np.zeros(len(self.plant), bool)
        low, high = np.nan_to_num(self.one.drawn.low_w), np.nan_to_num(self.one.drawn.high_w)
        floor = _TOO_LITTLE * self.seen_floor_w
        # Beyond what a plug's step can feign: a try takes more than the floor on top, and of two
        # whole watts a plug may invent one.
        least = _TRY_W + (1.0 if tells_whole_watts(np.append(low, high)) else 0.0)
        pulse = (low <= self.part_way_w) & (high > low + least)
        pulse |= (low <= floor) & (high > low + max(least, 1.2 * self.seen_floor_w))
        pulse &= self.known
        levels = self.usual.levels
        if levels.rests_alike:
            # Its work is no higher than its rest: only what is above all work is a try.
            return self._never_runs(pulse & self._beyond_work, self.idle_top_w)
        found = self._never_runs(pulse, floor)
        if self.spikes.any():
            found |= self._never_runs(self.spikes, _NEAR_LEAST * (levels.low_w or 0.0))
        return found

    @cached_property
    def spikes(self) -> BoolArray:
        """Tries above all its work, of a pump whose rest was never seen, and may be like work."""
        levels = self.usual.levels
        if self.is_induction or levels.idle_w is not None or levels.low_w is None:
            return np.zeros(len(self.plant), bool)
        return np.asarray(
            self._beyond_work & (np.nan_to_num(self.one.drawn.low_w) <= _NEAR_LEAST * levels.low_w)
        )

    @property
    def _beyond_work(self) -> BoolArray:
        """Minutes with a reading far above all its work."""
        most = _ELECTRONIC_MORE * (self.usual.levels.high_w or np.inf)
        return np.asarray(self.known & (np.nan_to_num(self.one.drawn.high_w) > most))

    def _never_runs(self, pulse: BoolArray, floor_w: float) -> BoolArray:
        """Tries in many minutes, and never more than this power for two minutes on end."""
        low, high = np.nan_to_num(self.one.drawn.low_w), np.nan_to_num(self.one.drawn.high_w)
        still = lasting(lasting(self.known & (low > floor_w)) < 2)
        fine = (trailing(pulse, 6) >= 5) & (still >= 6)
        coarse = trailing(pulse & (still > 0), _TRY_WINDOW_MIN) >= _TRY_MINUTES
        # Some sound pumps try three times within a minute before they run; one that is kicked for
        # a minute against sticking runs through most of it, a try is over in seconds.
        brief = self.power_w <= low + _BRIEF * (high - low)
        dense = (lasting(pulse & brief & self.often) >= _OFTEN_MIN) & (still >= _OFTEN_MIN)
        # A start and a stop look like tries in their minutes: only those amid one long rest count.
        window = np.minimum(still, _RARE_WINDOW_MIN)
        rare = trailing(pulse & brief & (still > 2), window) >= _TRY_MINUTES
        return np.asarray(fine | (coarse & (still >= 6)) | dense | rare)

    @cached_property
    def often(self) -> BoolArray:
        """Minutes in which the plug was read many times, as one every 10 s is."""
        return np.asarray(self.one.power_count >= _OFTEN)

    @cached_property
    def cut_out(self) -> BoolArray:
        """Square wave of a thermal cut-out: short runs, each at too high a power."""
        if not self.is_induction:
            return np.zeros(len(self.plant), bool)
        starts = self.runs & ~np.concatenate(([True], self.runs[:-1]))
        begun = trailing(starts, 40)
        sound = trailing(self.runs & ~self.high & self.one.drawn.is_steady, 40)
        return np.asarray(
            (begun >= 2)
            & (sound <= 1)
            & (trailing(self.locks, 40) >= 3)
            & (trailing(self.idle, 40) >= 8)
        )

    @cached_property
    def sags(self) -> BoolArray:
        """Too high a power that falls by itself while the winding heats."""
        if not self.is_induction:
            return np.zeros(len(self.plant), bool)
        long = lasting(self.locks)
        fall = self.power_w / np.maximum(ago(self.power_w, 12), 1.0)
        return np.asarray((long >= 14) & (np.nan_to_num(fall, nan=1.0) < 0.98))

    @cached_property
    def light(self) -> BoolArray:
        """Runs with clearly less power than ever: no water to move."""
        levels = self.usual.levels
        if levels.low_w is None or levels.usual_w is None:
            return np.zeros(len(self.plant), bool)
        share = 0.95 if self.is_induction else 0.8
        return self.known & ~self.idle & (self.power_w < share * levels.low_w)

    @cached_property
    def slips(self) -> BoolArray:
        """Power factor of a running induction pump clearly below its own."""
        if not self.is_induction or self.usual.factor is None:
            return np.zeros(len(self.plant), bool)
        return self.runs & (np.nan_to_num(self.one.factor, nan=1.0) < self.usual.factor - 0.03)

    @cached_property
    def fallen(self) -> BoolArray:
        """Power far below the least of a pump whose rest and work look alike."""
        levels = self.usual.levels
        least = levels.standby_w if levels.rests_alike else None
        return np.asarray(self.known & (self.power_w < _FALLEN * (least or 0.0)))

    @cached_property
    def low_pressure(self) -> BoolArray:
        """System pressure too low for two minutes; tap water has a pressure of its own."""
        if self.one.pump.duty == "recirculation":
            return np.zeros(len(self.plant), bool)
        low = np.nan_to_num(self.plant.pressure_bar, nan=9.0) < _LOW_PRESSURE_BAR
        return np.asarray(lasting(low) >= 2)

    @cached_property
    def slackened(self) -> BoolArray:
        """Runs, its power stepped down in the very minutes in which the pressure fell away.

        Both at once are no chance: a smaller step than would be odd by itself is enough.
        """
        with np.errstate(invalid="ignore"):
            stepped = self.power_w < _SLACK * ago(self.power_w, _LOST_MIN + 1)
            less = self.power_w < _STILL_SLACK * (self.usual.levels.usual_w or 0.0)
        drop = self.pressure_fell & self.runs & stepped
        return self.low_pressure & self.runs & less & (trailing(drop, _AT_WORK_MIN) > 0)

    @cached_property
    def pressure_fell(self) -> BoolArray:
        """Minutes in which the system's pressure fell away, faster than water cools."""
        pressure = self.plant.pressure_bar
        with np.errstate(invalid="ignore"):
            return np.asarray(ago(pressure, _LOST_MIN) - pressure > _LOST_BAR)

    @cached_property
    def lost_water(self) -> BoolArray:
        """Stopped in the very minutes in which the pressure fell away."""
        fell = self.pressure_fell
        ran = trailing(self.runs, _LOST_MIN + 1) > 0
        drop = fell & ran & (self.idle | self.odd)
        return self.low_pressure & (self.idle | self.odd) & (trailing(drop, 15) > 0)

    @cached_property
    def at_work(self) -> BoolArray:
        """Somebody switched the boiler off within the last hours: work on the plant."""
        off = np.zeros(len(self.plant), bool)
        for name, drawn in self.plant.boilers.items():
            off |= without_mains(drawn, self.learned.boilers.get(name, Levels()))
        return np.asarray(trailing(lasting(off) >= 3, _AT_WORK_MIN) > 0)
