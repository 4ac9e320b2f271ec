"""Which of stall, dry run or dead head a pump shows, minute by minute: one decision among causes.

Two independent signs wake somebody, an electric one and a thermal or a demand; or one that is
overwhelming: start attempts that never end in running, the square wave of a thermal cut-out.
The same signs with nothing beside them wait for the morning.
"""

import numpy as np

from analysis.faults.pump_state.decide_unlearned import mind_fresh
from analysis.faults.pump_state.demand_evidence import Signs
from analysis.faults.pump_state.episodes import DEAD, DRY, STALL, Minded
from analysis.readings.minute_grid import lasting, trailing
from analysis.readings.readings import IntArray
from analysis.readings.two_levels import BoolArray

_FED_MIN, _CARRIED_MIN = 15, 120
"""A pipe keeps beside its boiler while water moves; one that stands may do so for a while."""
_FILLED_BAR = 0.8
"""A plant that was topped up stands above this; common practice, no source."""
_SPIKED_MIN = 60
_AMID_MIN, _LIKE_WORK_MIN = 3, 30
_TOLD_REST_DAYS = 2
"""So many days with a rest are told, the next as a habit that the plant file does not know."""


def mind(signs: Signs, *, doubts_store: BoolArray) -> Minded:
    """Conclude from the signs of one pump.

    Parameters
    ----------
    signs : Signs
        Of the pump.
    doubts_store : ndarray of bool
        Minutes in which a store pump is itself suspect: then heat may be meant for the
        store, and the fire calls for no heating pump.
    """
    if not signs.usual.is_known:
        return mind_fresh(signs)
    wanted = signs.wanted if signs.one.pump.always_on else signs.wanted & ~doubts_store
    dry, dry_soon = _dry(signs, wanted)
    stall, stall_soon = _stall(signs, wanted)
    parts = signs.parts & signs.runs & signs.usual_heat & ~signs.held_warm
    # The pipe was read since the pump started: what is held from before tells of standing.
    parts &= signs.one.flow_age_min < lasting(signs.runs)
    dead = signs.runs & ~signs.high & (trailing(parts, 20) >= 15)
    cause = np.zeros(len(signs.plant), np.int64)
    for code, flag in ((DEAD, dead), (STALL, stall | stall_soon), (DRY, dry | dry_soon)):
        cause[flag] = code
    suspect = signs.odd | signs.tries | signs.high | (signs.idle & wanted) | signs.light
    suspect |= signs.runs & signs.stands
    return Minded(
        cause, np.where(cause == DRY, dry, stall & (cause == STALL)), suspect, _well(signs)
    )


def _stall(signs: Signs, wanted: BoolArray) -> tuple[BoolArray, BoolArray]:
    """Minutes of a stall that wakes, and of one that waits."""
    # Where no gap parts rest from work, the pipes can show it, or a fall below all that was seen.
    rests = signs.sensed | signs.fallen | (not signs.usual.levels.rests_alike)
    little = (signs.odd | (signs.idle & rests)) & ~signs.fed
    missing = lasting(little & wanted & signs.heat_waits & ~signs.rests_by_clock)
    # Of a pump whose rest and work look alike the pipe was fed at this power a while ago.
    fed = signs.fed & (not signs.usual.levels.rests_alike)
    sure = (signs.tries & ~fed & ~signs.pushed) | signs.seized
    now = (sure & ~signs.at_work) | signs.cut_out
    odd = signs.odd & (trailing(signs.odd, 10) >= 8)
    odd &= ~signs.fed & signs.heat_waits & ~signs.rests_by_clock & ~signs.may_yield
    # Little power with the pipe as near the boiler as ever may be a smaller setting: without
    # flow a fire soon parts them. That sign alone wants a fire since as well.
    fired = signs.fired_min < lasting(little)
    bare = (trailing(signs.bare, 10) >= 8) & signs.bare & ~signs.may_yield
    now |= bare & signs.never_rests & ~signs.fed & fired & signs.heat_waits & _missed(signs)
    now |= odd & (signs.stands | signs.sinks | (wanted & ~signs.close))
    now |= (missing_min(signs, little & wanted) >= _rested_min(signs)) & signs.stands
    habit = signs.rests_by_habit & ~signs.sensed & ~signs.fallen
    if signs.one.pump.always_on:
        # One sign alone where the pipe could show the other: below a cold boiler nothing parts.
        # It wakes nobody for a rest from which the pump came back by itself on days before.
        now |= (missing >= max(10, _rested_min(signs))) & ~signs.sensed & ~habit
    now |= (lasting(signs.locks) >= 4) & signs.is_induction & signs.stands
    now |= (lasting(signs.locks) >= 20) & signs.is_induction & signs.sinks
    soon = np.zeros(len(now), bool)
    known = habit & (signs.usual.rest_days > _TOLD_REST_DAYS)
    if signs.has_pipe:
        soon |= (missing >= 45) & ~known
    else:
        now |= signs.sags
        soon |= ((missing >= 20) & ~known) | ((lasting(signs.locks) >= 20) & signs.is_induction)
    return np.asarray(now), np.asarray(soon & ~now)


def missing_min(signs: Signs, missed: BoolArray) -> IntArray:
    """Minutes since heat began to wait for a pump that does not run.

    A boiler whose heat nobody takes stops its fire soon: a pump that stopped amid a fire is
    missed on nevertheless. One that stops after it, or as near as plugs can tell with it, may have
    been told to.
    """
    waits = signs.known & ~signs.runs & signs.heat_waits & ~signs.rests_by_clock & ~signs.fed
    waits &= (trailing(signs.storing, 12) == 0) | missed
    # By its water's temperature alone a fire's end is not told to the minute.
    drawn = [~np.isnan(boiler.power_w) for boiler in signs.plant.boilers.values()]
    seen = np.logical_or.reduce(drawn) if drawn else np.zeros(len(waits), bool)
    age = lasting(waits)
    amid = trailing(waits & seen & (signs.heat > 0), age) >= _AMID_MIN
    return lasting((missed & waits) | (waits & amid & (trailing(missed & waits, age) > 0)))


def _missed(signs: Signs) -> BoolArray:
    """Minutes in which something tells that a pump which rests is missed, be it its plant entry."""
    if signs.one.pump.always_on:
        return np.ones(len(signs.plant), bool)
    return np.asarray(~np.isnan(signs.heat) & ~signs.mild)


def _rested_min(signs: Signs) -> float:
    """Minutes of rest, while heat is made, that say something [min].

    A controller lets its heating pump rest while the boiler warms up for the store, some minutes
    before the store's own pump starts: a rest as long as those seen before is usual.
    """
    return min(max(4.0, 1.2 * signs.usual.longest_rest_min + 2.0), 15.0)


def _dry(signs: Signs, wanted: BoolArray) -> tuple[BoolArray, BoolArray]:
    """Minutes of dry running that wakes, and of one that waits."""
    usual_w = signs.usual.levels.usual_w or 0.0
    less = signs.known & ~signs.idle & (signs.power_w < 0.92 * usual_w)
    wrong = less | signs.odd | signs.tries | signs.slips
    # Each of the two signs by readings of its own; two minutes of a plug read often are many.
    shown = lasting(wrong) >= np.where(signs.often, 2, 3)
    now = (signs.low_pressure & shown) | (lasting(signs.lost_water) >= 2)
    now |= (lasting(signs.slackened) >= 3) | (lasting(signs.light & signs.slips) >= 8)
    # Water is gone, and a pump that should run takes little or nothing: some stop themselves.
    now |= lasting(signs.low_pressure & wanted & (signs.idle | signs.odd)) >= 4
    now |= lasting(signs.emptied) >= 4
    now |= (lasting(signs.light & signs.runs) >= 8) & signs.is_induction & signs.stands
    return np.asarray(now), np.zeros(len(now), bool)


def _well(signs: Signs) -> dict[int, BoolArray]:
    """Minutes that end each fault."""
    sound = signs.runs & ~signs.high & ~signs.light
    carried = signs.runs & ~signs.stands & signs.close
    moving = sound & ~signs.stands
    if signs.usual.gap_k is not None and not np.isnan(signs.one.flow_c).all():
        with np.errstate(invalid="ignore"):
            source = signs.plant.source_c(signs.one.pump)
            near = (source - signs.one.flow_c < signs.usual.gap_k + 2.0) & (source > 30.0)
        water = lasting(moving & near) >= 5
    else:
        water = lasting(moving) >= 30
    # Another setting: another power than ever, and the water goes on moving.
    turning = (lasting(sound & ~signs.stands) >= 5) | signs.fed
    turning |= (lasting(carried & ~signs.locked) >= _FED_MIN) | (
        lasting(carried & signs.locked) >= _CARRIED_MIN
    )
    turning |= lasting(carried & signs.grows) >= 5
    turning &= trailing(signs.spikes, _SPIKED_MIN) == 0
    wet = turning & ~signs.low_pressure & ~signs.slips
    if signs.usual.levels.rests_alike:
        wet |= lasting(signs.plant.pressure_bar > _FILLED_BAR) >= _FED_MIN
        # At rest with its rotor stuck it takes less than at any work.
        least = (signs.usual.levels.standby_w or 0.0) - signs.usual.step_w / 2
        turning = (lasting(signs.known & (signs.power_w > least)) >= _LIKE_WORK_MIN) & ~signs.tries
    return {STALL: turning, DRY: wet, DEAD: water}
