"""Thermal signs of a pump's loop, minute by minute: whether its water moves."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.faults.pump_state.electric_evidence import ElectricSigns
from analysis.faults.pump_state.learned import heat_made, stirred
from analysis.readings.minute_grid import ago, lasting, trailing
from analysis.readings.readings import FloatArray
from analysis.readings.two_levels import BoolArray

_FRESH_MIN = 10
_FOLLOWS_MIN = 60
_CARRIED_MIN, _FIRED_MIN = 20, 4
_ROUND_MIN = 20
"""A loop's water is round within 3 to 15 minutes (a model); the sign looks back over some more."""
WARM_C = 30.0
"""Water below this heats no loop; common practice, no source."""
_RETURNS_K = 3.0
_FELL_MIN = 60
_PUSHED_K = 3.0
_WARMS_K, _MIXED_K = 0.5, 8.0
_HELD_MIN, _HELD_K, _HELD_C = 15, 0.4, 24.0
"""In a quarter of an hour a standing pipe of 24 Cel loses a kelvin to a cellar of 18 (Newton's law,
half of it in an hour)."""


@dataclass(frozen=True, eq=False)
class PipeSigns(ElectricSigns):
    """What the pipes of one pump's loop show beside what feeds them."""

    @cached_property
    def emptied(self) -> BoolArray:
        """The pressure fell away from a warm loop of a pump whose power tells nothing.

        Nobody drains a plant whose boiler is on and whose water is hot.
        """
        if not self.usual.levels.rests_alike:
            return np.zeros(len(self.plant), bool)
        fell = trailing(self.pressure_fell, _FELL_MIN) > 0
        warm = np.nan_to_num(self.one.flow_c) > WARM_C
        return np.asarray(self.low_pressure & fell & warm & ~self.at_work)

    @property
    def has_pipe(self) -> bool:
        """Whether loop and boiler are sensed, so that standing water can be seen."""
        return bool(self.sensed.any())

    @cached_property
    def sensed(self) -> BoolArray:
        """Minutes in which the loop's pipe and what feeds it are known."""
        known = ~np.isnan(self.one.water_c) & ~np.isnan(self.plant.source_c(self.one.pump))
        return np.asarray(known)

    @cached_property
    def heat(self) -> FloatArray:
        """1 where some boiler fires."""
        return heat_made(self.plant, self.learned.boilers)

    @cached_property
    def stands(self) -> BoolArray:
        """The loop's pipes part from a hot boiler: water does not move."""
        boiler, pipe = self.plant.source_c(self.one.pump), self.one.flow_c
        settled = np.ones(len(pipe), bool)
        if np.isnan(pipe).all():
            # The water that a start pushes along comes back cold before it comes back warm.
            pipe, settled = self.one.return_c, ~self.runs | (lasting(self.runs) >= _ROUND_MIN)
        with np.errstate(invalid="ignore"):
            steady_heat = boiler - ago(boiler, 8) > -1.0
            falls = (pipe - ago(pipe, 8) < -1.2) & (boiler > pipe + 3.0) & steady_heat
            falls &= settled
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
            warms = pipe - ago(pipe, 3) > _WARMS_K
            return np.asarray((alone | slow) & (source > WARM_C) & ~self.returns & ~warms)

    @cached_property
    def returns(self) -> BoolArray:
        """The return is warmer than the flow pipe: water comes back, so the flow's sensor errs."""
        with np.errstate(invalid="ignore"):
            above = self.one.return_c > self.one.flow_c + _RETURNS_K
            return np.asarray(above & (self.one.return_c > WARM_C))

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
    def held_warm(self) -> BoolArray:
        """The flow pipe of a mixed loop keeps its warmth: its valve feeds it so.

        Standing water cools. In a loop without a mixing valve the boiler's heat creeps along.
        """
        pipe = self.one.flow_c
        if (self.usual.gap_k or 0.0) < _MIXED_K:
            return np.zeros(len(pipe), bool)
        with np.errstate(invalid="ignore"):
            kept = (pipe > _HELD_C) & (pipe - ago(pipe, _HELD_MIN) > -_HELD_K)
        return np.asarray(kept & (self.one.flow_age_min < _FRESH_MIN))

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
    def pushed(self) -> BoolArray:
        """Hot water reaches the loop's pipe within minutes: what tries to start does turn."""
        pipe, still = self.one.flow_c, lasting(lasting(self.runs) < 2)
        with np.errstate(invalid="ignore"):
            came = (pipe - ago(pipe, 5) > _PUSHED_K) & self.close & (still > 5)
        return np.asarray(trailing(np.asarray(came), _FRESH_MIN) > 0)

    @cached_property
    def close(self) -> BoolArray:
        """The loop's flow pipe is as near below a hot source as it is in running."""
        gap, source = self.usual.gap_k, self.plant.source_c(self.one.pump)
        if gap is None:
            return np.zeros(len(self.plant), bool)
        with np.errstate(invalid="ignore"):
            near = np.abs(source - self.one.flow_c) < max(gap, 0.0) + 1.5
            return np.asarray(near & (source > WARM_C) & (self.one.flow_age_min < _FRESH_MIN))

    @cached_property
    def usual_heat(self) -> BoolArray:
        """The loop is fed no hotter than usual; after the store's charge it may be."""
        most = self.usual.source_high_c
        source = np.nan_to_num(self.plant.source_c(self.one.pump), nan=0.0)
        return np.asarray(source <= (np.inf if most is None else most + 6.0))
