"""What is usual for each machine of a plant, learned from its own past minutes.

Levels of power when idle and when running, power factor, how far the loop's pipe stays below
the boiler's while water moves, when the pump runs by the clock or by the fire. Everything a
judge by the minute needs of the past, small enough for the journal.
"""

from collections.abc import Mapping

import numpy as np

from analysis.pump.recurring_rests import habitual_pause_min, rests_from
from analysis.readings.learned import PlantLearned, PumpLearned
from analysis.readings.minute_grid import ago, lasting, trailing
from analysis.readings.plant_minutes import PlantMinutes, PumpMinutes
from analysis.readings.power_levels import LEAST_CURVE_W, Levels, learn_levels
from analysis.readings.readings import FloatArray
from analysis.readings.two_levels import BoolArray

QUARTERS = 96
_LEAST_DAYS = 3
_STEADY_MIN = 10
"""After so many minutes of running the pipes tell of the flow."""
_MIXED_K = 8.0
_HOT_C = 45.0
_IDLE_MOST_BOILER_W = 60.0
"""Highest power of a boiler at rest: its electronics take 2 to 10 W and more (common practice, no
source)."""
_OF_PLATE = 0.9
"""An electronic pump that runs takes no less of its plate's least, its rounding counted in."""
_SURELY_REST_W = 0.5
_STIRS_LEAST_MIN = 30
_CHARGED_MIN, _CHARGED_K = (6, 9, 12), 0.9
"""Drawing never warms a store; strapped sensors show half a kelvin (common practice)."""
_SENSORS_APART_K = 2.0
_WARMS_K = 0.8
"""More than the noise and one step of a strapped sensor; common practice, no source."""
_BOILER_RESTS = 0.03
"""A boiler without mains for an hour shows no third level below its standby."""


def learn_plant(
    past: PlantMinutes, left_out: Mapping[str, BoolArray] | None = None
) -> PlantLearned:
    """Learn what is usual from past minutes.

    Parameters
    ----------
    past : PlantMinutes
        The minutes to learn from.
    left_out : mapping of str to ndarray of bool, optional
        By pump, minutes in which a fault was found: they are not usual.
    """
    boilers = {
        b: learn_levels(m, idle_most_w=_IDLE_MOST_BOILER_W, least_rest=_BOILER_RESTS)
        for b, m in past.boilers.items()
    }
    heat = heat_made(past, boilers)
    sound = {p: _without(m, left_out, p) for p, m in past.pumps.items()}
    levels = {p: _pump_levels(past, m, keep) for p, (m, keep) in sound.items()}
    wanted = wants_heating(heat, charging(past, levels))
    return PlantLearned(
        pumps={p: _learn_pump(past, m, keep, levels[p], wanted) for p, (m, keep) in sound.items()},
        boilers=boilers,
        store_low_c=_quantile(past.store_top_c, 0.005),
        days=len(past) / 1440.0,
    )


def _without(
    minutes: PumpMinutes, left_out: Mapping[str, BoolArray] | None, pump: str
) -> tuple[PumpMinutes, BoolArray]:
    """A pump's minutes, and which of them may be learned from."""
    keep = ~np.isnan(minutes.drawn.power_w)
    if left_out and pump in left_out:
        keep = keep & ~left_out[pump]
    return minutes, keep


def _pump_levels(past: PlantMinutes, one: PumpMinutes, keep: BoolArray) -> Levels:
    """Levels of a pump; a power at which its pipe was seen to grow warm is no rest."""
    rated, works_w = one.pump.rated_power_w, LEAST_CURVE_W
    if rated and one.pump.drive == "electronic":
        works_w = min(works_w, _OF_PLATE * rated[0])
    found = learn_levels(one.drawn, idle_most_w=LEAST_CURVE_W, unless=~keep, works_from_w=works_w)
    if found.idle_w is None or found.split_w is None or found.idle_w <= _SURELY_REST_W:
        return found
    rests = keep & (one.drawn.high_w <= found.split_w)
    stirs = stirred(one.flow_c, past.source_c(one.pump), rests)
    if stirs.sum() < _STIRS_LEAST_MIN:
        return found
    least = float(np.nanquantile(one.drawn.power_w[stirs], 0.05))
    return learn_levels(one.drawn, idle_most_w=0.8 * least, unless=~keep)


def stirred(pipe_c: FloatArray, source_c: FloatArray, state: BoolArray) -> BoolArray:
    """Minutes in which a pipe has grown warmer in a state that lasts, below a warmer source.

    The pipe of a standing loop cools, whatever the boiler does: one that warms is fed. The first
    minutes do not count, in which a sensor still follows what was.
    """
    age = lasting(state)
    with np.errstate(invalid="ignore"):
        fed = pipe_c < source_c + _SENSORS_APART_K
        warms = np.zeros(len(pipe_c), bool)
        for minutes in range(2, 11):
            warms |= (age > minutes + 3) & (pipe_c - ago(pipe_c, minutes) >= _WARMS_K)
    return np.asarray(warms & fed)


def heat_made(minutes: PlantMinutes, boilers: Mapping[str, Levels]) -> FloatArray:
    """1 where some boiler fires, 0 where none does, NaN where it cannot be told.

    Told by the boiler's power where its levels are known, else by its flow pipe, which rises or
    is kept hot.
    """
    found = np.full(len(minutes), np.nan)
    for name, drawn in minutes.boilers.items():
        levels = boilers.get(name, Levels())
        if levels.split_w is not None and levels.idle_w is not None:
            fires = np.where(np.isnan(drawn.power_w), np.nan, drawn.high_w > levels.split_w)
            found = np.fmax(found, fires)
    if np.isnan(found).all():
        flow = minutes.boiler_flow_c
        with np.errstate(invalid="ignore"):
            rises = flow - ago(flow, 3) > 1.5
            kept = (flow > _HOT_C) & (flow - ago(flow, 10) > -1.0)
        found = np.where(np.isnan(flow), np.nan, rises | kept)
    return found


def charging(minutes: PlantMinutes, levels: Mapping[str, Levels]) -> BoolArray:
    """Minutes in which some store-charging pump works.

    After a holiday without a charge none is learned: then its plate, or what no pump takes at
    rest, tells. Where its plug is not heard, a store's top that warms below a hotter boiler does.
    """
    on = np.zeros(len(minutes), bool)
    top = minutes.store_top_c
    with np.errstate(invalid="ignore"):
        rises = [top - ago(top, k) > _CHARGED_K for k in _CHARGED_MIN]
        warms = np.logical_or.reduce(rises) & (minutes.boiler_flow_c > top)
    for name, one in minutes.pumps.items():
        if one.pump.duty == "store":
            rated = one.pump.rated_power_w
            least = 0.5 * rated[0] if rated else LEAST_CURVE_W
            split = levels[name].split_w if name in levels else None
            on |= np.nan_to_num(one.drawn.high_w) > (least if split is None else split)
            on |= warms & np.isnan(one.drawn.power_w)
    return on


def wants_heating(heat: FloatArray, store_on: BoolArray) -> BoolArray:
    """Minutes in which heat is made, and not for the store: the heating's pumps should run."""
    recent = trailing(np.nan_to_num(heat) > 0, 6) > 0
    return np.asarray(recent & (trailing(store_on, 12) == 0))


def _learn_pump(
    past: PlantMinutes, one: PumpMinutes, keep: BoolArray, levels: Levels, wanted: BoolArray
) -> PumpLearned:
    split = levels.split_w
    is_heard = ~np.isnan(one.drawn.power_w)
    heard = float(np.mean(is_heard)) if len(past) else 0.0
    by_fire = float(np.mean(is_heard[wanted])) if wanted.sum() >= 60 else None
    if split is None:
        return PumpLearned(levels=levels, heard=heard)
    running = keep & (np.nan_to_num(one.drawn.power_w) > split)
    steady = lasting(running) > _STEADY_MIN
    told = wanted & keep
    rests = told & ~running
    return PumpLearned(
        levels=levels,
        run_minutes=int(running.sum()),
        step_w=_step_w(one.drawn.low_w[running]),
        heard=heard,
        heard_by_fire=by_fire,
        factor=_quantile(one.factor[steady], 0.5),
        gap_k=_usual_gap((past.source_c(one.pump) - one.flow_c)[steady]),
        flow_low_c=_quantile(one.flow_c[steady], 0.01),
        source_low_c=_quantile(past.source_c(one.pump)[steady], 0.01),
        source_high_c=_quantile(past.source_c(one.pump)[steady], 0.95),
        body_over_k=_quantile((one.body_c - one.water_c)[keep], 0.998),
        follows=1.0 - float(rests.sum() / told.sum()) if told.sum() >= 60 else None,
        longest_rest_min=int(lasting(rests).max(initial=0)),
        pause_min=habitual_pause_min(one.drawn.power_w, split, len(past) / 1440.0),
        rests_from=rests_from(one.drawn.power_w, split, past.quarter),
        longest_run_min=int(lasting(running).max(initial=0)),
        slots=_slots(past, running, keep),
    )


def _step_w(power_w: FloatArray) -> float:
    """Step in which power is told [W]: the usual distance of neighbouring values."""
    told = np.unique(np.round(power_w[~np.isnan(power_w)], 2))
    return float(np.quantile(np.diff(told), 0.25)) if len(told) > 1 else 0.0


def _quantile(value: FloatArray, level: float) -> float | None:
    known = value[~np.isnan(value)]
    return float(np.quantile(known, level)) if len(known) >= 60 else None


def _usual_gap(gap: FloatArray) -> float | None:
    """Most of the usual gap; a mixing valve makes it wander, and then it tells nothing."""
    most, middle = _quantile(gap, 0.99), _quantile(gap, 0.5)
    if most is None or middle is None or most - middle > _MIXED_K:
        return None
    return most


def _slots(past: PlantMinutes, running: BoolArray, keep: BoolArray) -> tuple[float, ...]:
    """Share of the time it ran, by quarter hour; empty of less than three days."""
    if len(past) < _LEAST_DAYS * 1440:
        return ()
    on = np.bincount(past.quarter[running], minlength=QUARTERS)
    whole = np.bincount(past.quarter[keep], minlength=QUARTERS)
    share = np.where(whole > 0, on / np.maximum(whole, 1), 0.0)
    return tuple(float(one) for one in np.round(share, 4))
