"""Signs, minute by minute, of what a pump does: electric, thermal, and whether it is wanted.

Each sign is one array of flags over the minutes of a `PlantMinutes`. A sign that cannot be had,
for want of a sensor, is nowhere set; `Signs.has_pipe` tells that it could not be had.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.base.time import MINUTE_MS
from analysis.faults.pump_state.learned import charging, wants_heating
from analysis.faults.pump_state.locked_rotor_evidence import SeizedSigns
from analysis.faults.pump_state.pipe_evidence import WARM_C
from analysis.pump.recurring_rests import rests_by_clock
from analysis.readings.learned import PumpLearned
from analysis.readings.minute_grid import ago, lasting, trailing
from analysis.readings.readings import FloatArray
from analysis.readings.two_levels import BoolArray

_SURE = 0.97
_LEAD_MIN = 15
"""A boiler warms up for the store so long before the store's pump starts (common practice)."""
_FIRE_MIN, _COLDER_K, _RISEN_K = 60, 3.0, 2.0
_HEARD = 0.8
_HABIT_DAYS = 2
MUCH_LONGER, LONGER_MIN = 1.5, 10
"""A rest is news when it lasts so much longer than those known: factor, and minutes on top."""
_HEATS = ("heating", "other")
_HEATING_LIMIT_C = 16.0
"""Above this outdoors houses are not heated; 15 to 17 Cel (handbook figure)."""


@dataclass(frozen=True, eq=False)
class Signs(SeizedSigns):
    """All signs of one pump over the minutes of a plant."""

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
        levels = {p: u.levels for p, u in self.learned.pumps.items()}
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
        return rests_by_clock(self.known & ~self.runs, self.plant.quarter, self.usual.rests_from)

    @cached_property
    def rests_by_habit(self) -> BoolArray:
        """Entered as always on, it rests of its own as it did before, and not much longer."""
        resting = self.idle | self.odd
        age = lasting(resting)
        if not self.one.pump.always_on or self.usual.rest_days < _HABIT_DAYS:
            return np.zeros(len(age), bool)
        since_ms, first_ms = self.usual.rests_since_ms, int(self.plant.start_ms[0])
        if since_ms is not None and first_ms <= self.learned.until_ms:
            # It rested before the first minute as well.
            whole = age == np.arange(1, len(age) + 1)
            age = age + whole * max(first_ms - since_ms, 0) // MINUTE_MS
        return np.asarray(resting & (age <= MUCH_LONGER * self.usual.rest_most_min + LONGER_MIN))

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
            kept = ~(source - ago(source, _FIRE_MIN) < -_RISEN_K)
            made = (rose | kept) & (self.fired_min < _FIRE_MIN) & ~(source < WARM_C)
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
    def mild(self) -> BoolArray:
        """So warm outdoors that no house is heated; where that is not known, it is not mild."""
        return np.asarray(np.nan_to_num(self.plant.outdoor_c, nan=-99.0) > _HEATING_LIMIT_C)

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
        by_fire = wants_heating(self.heat, self.storing) & ~self.mild
        return found | (lasting(by_fire) > 1.2 * self.usual.longest_rest_min + 3)
