"""How long the water lingers in a pump's loop, minute by minute, told by its two pipes."""

import numpy as np

from analysis.pump.minutes import Minutes
from analysis.readings.readings import FloatArray
from analysis.readings.two_levels import BoolArray

SETTLED_MIN = 10
"""Minutes after which a run counts as settled: pipes are flushed, the pump has found its point."""
WARM_K = 8.0
"""Least excess of flow over room that tells anything of the water's flow [K]."""
_HEAT_MIN = 15
_LUKEWARM_K = 4.0
_EVEN_K, _SELDOM = 0.3, 0.1
_FLUSHED_MIN = 25
"""After this long a run has moved a loop's water round once (transit 3 to 15 minutes, a model)."""


def lingers_of(minutes: Minutes) -> FloatArray:
    """Transfer units of the loop while heat comes, as at 30 K above the room.

    While the flow falls the return lags behind and tells nothing. A radiator gives heat with
    the power 1.3 of its excess over the room (exponent of EN 442, from memory), so that its
    units grow with the power 0.3 whatever the water does. A heated floor is fed with 25 to 30 Cel.
    """
    share = flow_share(minutes, _LUKEWARM_K)
    excess = minutes.flow_c - room_or_usual(minutes)
    with np.errstate(invalid="ignore", divide="ignore"):
        runs = (minutes.run_min >= _FLUSHED_MIN) & (share > 0.02) & (share < 0.98)
        units = -np.log1p(-np.where(runs & _heat_comes(minutes, runs), share, np.nan))
        return units * (30.0 / np.maximum(excess, _LUKEWARM_K)) ** 0.3


def _heat_comes(minutes: Minutes, runs: BoolArray) -> BoolArray:
    """Minutes in which the loop is fed: by a fire within the last minutes, or evenly.

    A burner that modulates, or a mixing valve, keeps a loop warm with hardly a fire to be seen:
    where those are a small part of the running, pipes that both stay as they were tell as well.
    """
    kept, even = np.zeros(len(runs), bool), np.zeros(len(runs), bool)
    with np.errstate(invalid="ignore"):
        flow, back = (
            pipe[_HEAT_MIN:] - pipe[:-_HEAT_MIN] for pipe in (minutes.flow_c, minutes.return_c)
        )
        kept[_HEAT_MIN:] = flow > -0.5
        even[_HEAT_MIN:] = (np.abs(flow) < _EVEN_K) & (np.abs(back) < _EVEN_K)
    if "fires" not in minutes.has:
        return kept
    fired = np.convolve(np.nan_to_num(minutes.fires), np.ones(_HEAT_MIN))[: len(runs)] > 0
    seldom = (runs & kept & fired).sum() < _SELDOM * runs.sum()
    return kept & (fired | even) if seldom else kept & fired


def flow_share(minutes: Minutes, warm_k: float = WARM_K) -> FloatArray:
    """Difference of flow and return over the flow's excess above the room, minute by minute.

    It rises as less water flows. NaN at rest, within `SETTLED_MIN` of a start, and where neither
    pipe is warmer than the room by `warm_k`; a room that is not measured is taken at 20 degrees.
    """
    room_c = room_or_usual(minutes)
    hottest = np.fmax(minutes.flow_c, minutes.return_c)
    with np.errstate(invalid="ignore", divide="ignore"):
        told = minutes.on & (minutes.run_min >= SETTLED_MIN) & (hottest - room_c > warm_k)
        return np.where(
            told, (minutes.flow_c - minutes.return_c) / (minutes.flow_c - room_c), np.nan
        )


def room_or_usual(minutes: Minutes) -> FloatArray:
    """Temperature of the room, 20 degrees where it is not known [Cel]."""
    return np.where(np.isfinite(minutes.room_c), minutes.room_c, 20.0)
