"""Signs, minute by minute, of what a pump does: electric, thermal, and whether it is wanted.

Each sign is one array of flags over the minutes of a `PlantMinutes`. A sign that cannot be had,
for want of a sensor, is nowhere set; `Signs.has_pipe` tells that it could not be had.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.grid import ago, lasting, trailing
from analysis.levels import BoolArray
from analysis.mains import without_mains
from analysis.pauses import rests_by_clock
from analysis.plant_minutes import PlantMinutes, PumpMinutes
from analysis.pump_learned import (
    Levels,
    PlantLearned,
    PumpLearned,
    charging,
    heat_made,
    stirred,
    tells_whole_watts,
    wants_heating,
)
from analysis.readings import FloatArray

_TOO_LITTLE = 0.8
"""Share of its least running power below which a pump does no work; common practice, no source."""
_LOWEST_SETTING = 0.35
_COARSE_STEP_W = 0.45
_MORE, _MORE_UNKNOWN_V = 1.05, 1.1
"""A locked induction motor takes 1.12 to 1.56 times its own power (model, no measurement);
unmeasured voltage moves a sound one by 8 %."""
_ELECTRONIC_MORE = 1.25
_LOW_PRESSURE_BAR = 0.5
"""Below this a circulator cavitates; 1.0 to 1.5 bar are wanted cold (handbook figure)."""
_LOST_BAR = 0.3
_SURE = 0.97
_FRESH_MIN = 10.0
_FOLLOWS_MIN = 60
_CARRIED_MIN, _FIRED_MIN = 20, 4
_LEAD_MIN = 15
"""A boiler warms up for the store so long before the store's pump starts (common practice)."""
_HOT_C = 30.0
_FIRE_MIN, _COLDER_K, _RISEN_K = 60, 3.0, 2.0
_HEARD = 0.8
_RETURNS_K = 3.0
_HEATS = ("heating", "other")
_AT_WORK_MIN = 180
_LEAST_FLOOR_W = 3.5
_TRY_WINDOW_MIN = 12
_TRY_MINUTES = 4
_TRY_W = 1.5
_BARE_SHARE = 0.6
_HEATING_LIMIT_C = 16.0
"""Above this outdoors houses are not heated; 15 to 17 Cel (handbook figure)."""


@dataclass(frozen=True, eq=False)
class Signs:
    """Signs of one pump over the minutes of a plant."""

    plant: PlantMinutes
    one: PumpMinutes
    usual: PumpLearned
    learned: PlantLearned

    @property
    def is_induction(self) -> bool:
        """Whether the motor runs straight on the mains."""
        return self.one.pump.drive == "induction"

    @property
    def has_pipe(self) -> bool:
        """Whether loop and boiler are sensed, so that standing water can be seen."""
        return bool(self.sensed.any())

    @cached_property
    def sensed(self) -> BoolArray:
        """Minutes in which the loop's pipe and what feeds it are known."""
        known = ~np.isnan(self.one.water_c) & ~np.isnan(self.plant.source_c(self.one.pump))
        return np.asarray(known)

    # electric

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
        return min((self.usual.levels.low_w or _LEAST_FLOOR_W) - step, self.seen_floor_w)

    @property
    def seen_floor_w(self) -> float:
        """Least power as its plug or its plate tells it [W]."""
        low = self.usual.levels.low_w or _LEAST_FLOOR_W
        if self.is_induction:
            return low
        rated = self.one.pump.rated_power_w
        return min(low, 0.9 * rated[0] if rated else _LEAST_FLOOR_W)

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
        else:
            rated = self.one.pump.rated_power_w
            limit = _ELECTRONIC_MORE * max(levels.high_w, rated[1] if rated else 0.0)
        return self.runs & (self.power_w > limit)

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
        running = lasting(self.known & (low > floor)) >= 2
        still = lasting(~running)
        fine = (trailing(pulse, 6) >= 5) & (still >= 6)
        coarse = trailing(pulse & (still > 0), _TRY_WINDOW_MIN) >= _TRY_MINUTES
        return np.asarray(fine | (coarse & (still >= 6)))

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
            & (trailing(self.high, 40) >= 3)
            & (trailing(self.idle, 40) >= 8)
        )

    @cached_property
    def sags(self) -> BoolArray:
        """Too high a power that falls by itself while the winding heats."""
        if not self.is_induction:
            return np.zeros(len(self.plant), bool)
        long = lasting(self.high)
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
    def low_pressure(self) -> BoolArray:
        """System pressure too low for two minutes; tap water has a pressure of its own."""
        if self.one.pump.duty == "recirculation":
            return np.zeros(len(self.plant), bool)
        low = np.nan_to_num(self.plant.pressure_bar, nan=9.0) < _LOW_PRESSURE_BAR
        return np.asarray(lasting(low) >= 2)

    @cached_property
    def lost_water(self) -> BoolArray:
        """Stopped in the very minutes in which the pressure fell away."""
        pressure = self.plant.pressure_bar
        with np.errstate(invalid="ignore"):
            fell = trailing(np.asarray(ago(pressure, 4) - pressure > _LOST_BAR), 4) > 0
        ran = trailing(self.runs, 8) > 0
        drop = fell & ran & (self.idle | self.odd)
        return self.low_pressure & (self.idle | self.odd) & (trailing(drop, 15) > 0)

    @cached_property
    def at_work(self) -> BoolArray:
        """Somebody switched the boiler off within the last hours: work on the plant."""
        off = np.zeros(len(self.plant), bool)
        for name, drawn in self.plant.boilers.items():
            off |= without_mains(drawn, self.learned.boilers.get(name, Levels()))
        return np.asarray(trailing(lasting(off) >= 3, _AT_WORK_MIN) > 0)

    # thermal

    @cached_property
    def stands(self) -> BoolArray:
        """The loop's pipes part from a hot boiler: water does not move."""
        boiler, pipe = self.plant.source_c(self.one.pump), self.one.flow_c
        if np.isnan(pipe).all():
            pipe = self.one.return_c
        with np.errstate(invalid="ignore"):
            steady_heat = boiler - ago(boiler, 8) > -1.0
            falls = (pipe - ago(pipe, 8) < -1.2) & (boiler > pipe + 3.0) & steady_heat
        return np.asarray(trailing(np.asarray(falls & ~self.returns), 5) >= 3) | self.parts

    @cached_property
    def sinks(self) -> BoolArray:
        """The flow pipe falls beside a boiler that hardly cools; one that is fed keeps with it."""
        source, pipe = self.plant.source_c(self.one.pump), self.one.flow_c
        with np.errstate(invalid="ignore"):
            alone = (pipe - ago(pipe, 12) < -2.5) & (source - ago(source, 12) > -1.5)
            # A floor's thick pipes cool slowly, and its valve has them far below the boiler.
            slow = (pipe - ago(pipe, 30) < -1.8) & (source - ago(source, 30) > -0.5)
            slow &= (pipe - ago(pipe, 10) < -0.3) & (pipe - ago(pipe, 20) < -0.9)
            return np.asarray((alone | slow) & (source > _HOT_C) & ~self.returns)

    @cached_property
    def returns(self) -> BoolArray:
        """The return is warmer than the flow pipe: water comes back, so the flow's sensor errs."""
        with np.errstate(invalid="ignore"):
            above = self.one.return_c > self.one.flow_c + _RETURNS_K
            return np.asarray(above & (self.one.return_c > _HOT_C))

    @cached_property
    def parts(self) -> BoolArray:
        """The loop's flow pipe is further below the boiler's, or colder, than ever in running."""
        boiler, pipe = self.plant.source_c(self.one.pump), self.one.flow_c
        gap, low = self.usual.gap_k, self.usual.flow_low_c
        if gap is None:
            return np.zeros(len(self.plant), bool)
        with np.errstate(invalid="ignore"):
            apart = boiler - pipe > gap + 5.0
            cold = (pipe < (-np.inf if low is None else low - 2.0)) & (boiler > pipe + 8.0)
            waits = pipe - ago(pipe, 5) < 0.3
        shown = np.asarray((apart | cold) & waits & ~self.returns)
        # A value only held since before tells nothing: its sensor may have fallen silent.
        shown &= self.one.flow_age_min < np.maximum(lasting(np.asarray(apart | cold)), _FRESH_MIN)
        return np.asarray(trailing(shown, 5) >= 3)

    @cached_property
    def fed(self) -> BoolArray:
        """The pipe has grown warm at this low power: water moves, however little the pump takes."""
        little = self.known & (np.nan_to_num(self.power_w) < max(self.least_w, self.idle_top_w))
        source, pipe = self.plant.source_c(self.one.pump), self.one.flow_c
        shown = stirred(pipe, source, little)
        # Heat was made and the pipe keeps beside the boiler: some water carries it away.
        fired = trailing(np.nan_to_num(self.heat) > 0, _CARRIED_MIN) >= _FIRED_MIN
        with np.errstate(invalid="ignore"):
            kept = pipe - ago(pipe, _CARRIED_MIN) > -1.0
        shown |= (lasting(little & self.close) >= _CARRIED_MIN) & fired & kept
        return np.asarray((trailing(shown, _FOLLOWS_MIN) > 0) & little)

    @cached_property
    def close(self) -> BoolArray:
        """The loop's flow pipe is as near below a hot source as it is in running."""
        gap, source = self.usual.gap_k, self.plant.source_c(self.one.pump)
        if gap is None:
            return np.zeros(len(self.plant), bool)
        with np.errstate(invalid="ignore"):
            near = np.abs(source - self.one.flow_c) < max(gap, 0.0) + 1.5
            return np.asarray(near & (source > _HOT_C) & (self.one.flow_age_min < _FRESH_MIN))

    @cached_property
    def usual_heat(self) -> BoolArray:
        """The loop is fed no hotter than usual; after the store's charge it may be."""
        most = self.usual.source_high_c
        source = np.nan_to_num(self.plant.source_c(self.one.pump), nan=0.0)
        return np.asarray(source <= (np.inf if most is None else most + 6.0))

    # demand

    @cached_property
    def heat(self) -> FloatArray:
        """1 where some boiler fires."""
        return heat_made(self.plant, self.learned.boilers)

    @cached_property
    def storing(self) -> BoolArray:
        """Minutes in which a store is charged, or ought to be."""
        on = self._charging
        low = self.learned.store_low_c
        if low is not None:
            on = on | (np.nan_to_num(self.plant.store_top_c, nan=99.0) < low - 0.5)
        return on | self.store_unheard

    @cached_property
    def _charging(self) -> BoolArray:
        """Minutes in which a store is seen being charged."""
        levels: dict[str, Levels] = {p: u.levels for p, u in self.learned.pumps.items()}
        return charging(self.plant, levels)

    @cached_property
    def may_yield(self) -> BoolArray:
        """A store is being charged, and nothing tells yet that the pump runs on meanwhile.

        One that never rested so far may yield to the first charge after a holiday.
        """
        if self.one.pump.duty not in _HEATS or self.usual.levels.idle_w is not None:
            return np.zeros(len(self.plant), bool)
        return np.asarray(trailing(self._charging, 12) > 0)

    @cached_property
    def store_unheard(self) -> BoolArray:
        """A store pump whose plug is heard as a rule is silent: it may be charging.

        One whose plug loses power with it is silent whenever it rests: that is no doubt.
        """
        doubt = np.zeros(len(self.plant), bool)
        for name, one in self.plant.pumps.items():
            usual = self.learned.pumps.get(name, PumpLearned())
            if one.pump.duty == "store" and name != self.one.pump.id and usual.heard >= _HEARD:
                channel = self.plant.plant.first(name, "power")
                every_min = ((channel.interval_s if channel else None) or np.inf) / 60.0
                doubt |= np.isnan(one.drawn.power_w)
                doubt |= one.power_age_min > max(2.0, 1.5 * every_min)
        return doubt

    def _heat_not_for_store(self, free: BoolArray) -> BoolArray:
        """Heat after which no store was charged; known when that time has gone by."""
        heat = free & (np.nan_to_num(self.heat) > 0)
        before = np.concatenate((np.zeros(_LEAD_MIN, bool), heat))[: len(heat)]
        return np.asarray(before & (trailing(~free, _LEAD_MIN + 1) == 0))

    @cached_property
    def rests_by_clock(self) -> BoolArray:
        """It rests since an hour at which it did on days before, and came back by itself."""
        if self.one.pump.duty not in _HEATS:
            return np.zeros(len(self.plant), bool)
        return rests_by_clock(self.idle | self.odd, self.plant.quarter, self.usual.rests_from)

    @cached_property
    def fired_min(self) -> FloatArray:
        """Minutes since some boiler fired, 0 while it does; 0 too where that is not known."""
        at = np.arange(len(self.plant), dtype=np.float64)
        last = np.maximum.accumulate(np.where(np.nan_to_num(self.heat, nan=1.0) > 0, at, -np.inf))
        return np.asarray(at - last)

    @cached_property
    def heat_waits(self) -> BoolArray:
        """There is heat for a pump to fetch: a fire within the hour that warmed or kept the water.

        A boiler that is switched off, or fails to light, cools with its pipes: its controller lets
        the pumps rest, and pipes then part from it without any stall. Nor does it run them while
        the water is colder than ever.
        """
        if self.one.pump.duty == "recirculation":
            return np.ones(len(self.plant), bool)
        low = self.usual.source_low_c
        source = self.plant.source_c(self.one.pump)
        warm = np.nan_to_num(source, nan=np.inf) > (-np.inf if low is None else low - _COLDER_K)
        with np.errstate(invalid="ignore"):
            rose = trailing(np.asarray(source - ago(source, 10) > _RISEN_K), _FIRE_MIN) > 0
            kept = ~(source - ago(source, _FIRE_MIN) < -_RISEN_K) & ~(source < _HOT_C)
        made = (rose | kept) & (self.fired_min < _FIRE_MIN)
        return np.asarray(warm & made & ~self._stays_out)

    @cached_property
    def _stays_out(self) -> BoolArray:
        """The boiler is colder than when it lit last, and does not light: it is not called."""
        source = self.plant.source_c(self.one.pump)
        lights = np.diff(np.nan_to_num(self.heat), prepend=1.0) > 0
        last = np.maximum.accumulate(np.where(lights, np.arange(len(source)), -1))
        lit_c = np.where(last >= 0, source[last], np.nan)
        with np.errstate(invalid="ignore"):
            return np.asarray((source < lit_c - _COLDER_K) & (self.fired_min > 0))

    @cached_property
    def wanted(self) -> BoolArray:
        """The pump should run: by its plant entry, by the clock, or by the fire."""
        yields = self.usual.levels.idle_w is not None
        rests = yields and (self.usual.follows or 1.0) < _SURE
        if self.one.pump.always_on and not rests:
            # One that yields to the store was seen resting while the store was charged.
            free = trailing(self.storing, 12) == 0 if yields else self.known & ~self.may_yield
            if yields and not np.isnan(self.heat).all():
                free = free & (trailing(self._heat_not_for_store(free), 60) > 0)
            if self.usual.pause_min:
                free = free & (lasting(self.idle | self.odd) > 1.2 * self.usual.pause_min + 3)
            return np.asarray(lasting(self.known & free) >= 3)
        found = np.zeros(len(self.plant), bool)
        by_clock = self.one.pump.duty == "recirculation"
        if by_clock and self.usual.slots and self.learned.days >= 5:
            share = np.asarray(self.usual.slots)
            sure = (share >= _SURE) & (np.roll(share, 1) >= 0.5)
            found |= sure[self.plant.quarter]
        if self.one.pump.duty not in _HEATS or (self.usual.follows or 0.0) < _SURE:
            return found
        # A boiler that keeps itself warm in summer calls for no heating.
        mild = np.nan_to_num(self.plant.outdoor_c, nan=-99.0) > _HEATING_LIMIT_C
        by_fire = wants_heating(self.heat, self.storing) & ~mild
        return found | (lasting(by_fire) > 1.2 * self.usual.longest_rest_min + 3)
