"""A pump of which nothing is learned yet: only what is overwhelming is told.

On the first day of a plant, or of a new pump, there is no usual to compare with. The plate, the
boiler and the pipe still tell a locked rotor, start attempts without end, a fire whose heat
nobody fetches, and water that is gone.
"""

import numpy as np

from analysis.faults.pump_state.demand_evidence import Signs
from analysis.faults.pump_state.episodes import CAUSES, DRY, NONE, STALL, Minded
from analysis.readings.minute_grid import ago, lasting, trailing
from analysis.readings.power_levels import MOST_REST_W
from analysis.readings.two_levels import BoolArray

_LOCKED = 1.15
"""A locked rotor takes 1.12 to 1.56 times its own power (model, no measurement); plates are
rounded, so that much above the plate's greatest is beyond doubt."""
_LOCKED_MIN = 10
_RESTS_SHARE = 0.35
_HOT_C, _COLD_BELOW_K, _UNFETCHED_MIN = 50.0, 15.0, 45
_EMPTY_BAR = 0.3
"""A filled plant stands under the weight of its own water, some 0.3 bar for three metres."""
_EMPTY_MIN = 5


def mind_fresh(signs: Signs) -> Minded:
    """Conclude from signs that need no habit; all of them wake."""
    dry, stall = _empty(signs), signs.tries & ~signs.at_work | _locked(signs) | _unfetched(signs)
    cause = np.where(dry, DRY, np.where(stall, STALL, NONE))
    suspect = np.asarray(dry | stall | signs.tries)
    turning = np.asarray(lasting(_turns(signs) & ~stall) >= 10)
    return Minded(cause, cause != NONE, suspect, dict.fromkeys(CAUSES, turning))


def _turns(signs: Signs) -> BoolArray:
    """Takes what a running pump takes, and no more than its plate allows."""
    rated = signs.one.pump.rated_power_w
    least = rated[0] if rated else signs.floor_w
    most = np.inf if rated is None else _LOCKED * rated[1]
    low = np.nan_to_num(signs.one.drawn.low_w)
    return np.asarray((low > _RESTS_SHARE * least) & (np.nan_to_num(signs.power_w) < most))


def _locked(signs: Signs) -> BoolArray:
    """An induction pump takes clearly more than its plate's greatest, minutes on end."""
    rated = signs.one.pump.rated_power_w
    if rated is None or not signs.is_induction:
        return np.zeros(len(signs.plant), bool)
    above = np.nan_to_num(signs.one.drawn.low_w) > _LOCKED * rated[1]
    return np.asarray(lasting(above) >= _LOCKED_MIN)


def _unfetched(signs: Signs) -> BoolArray:
    """The boiler is kept hot by its fire, every pump rests, and this one on a cold pipe.

    Only where every other pump is heard: else it may fetch the heat; and only of a pump that is
    entered as always on, for a boiler may keep itself hot through a summer.
    """
    pump, nothing = signs.one.pump, np.zeros(len(signs.plant), bool)
    if pump.duty != "heating" or not pump.always_on:
        return nothing
    rated = pump.rated_power_w
    rests = signs.known & (signs.one.drawn.high_w < _RESTS_SHARE * (rated[0] if rated else 5.0))
    source, pipe = signs.plant.source_c(pump), signs.one.flow_c
    with np.errstate(invalid="ignore"):
        cold = (source > _HOT_C) & (source - pipe > _COLD_BELOW_K) & (pipe - ago(pipe, 10) < 0.5)
    fired = trailing(np.nan_to_num(signs.heat) > 0, _UNFETCHED_MIN) >= 10
    alone = np.asarray(rests & cold & _all_rest(signs))
    return np.asarray((lasting(alone) >= _UNFETCHED_MIN) & fired)


def _all_rest(signs: Signs) -> BoolArray:
    """Minutes in which every pump of the plant is heard and rests."""
    pumps = list(signs.plant.pumps.values())
    if signs.plant.plant.stores and not any(m.pump.duty == "store" for m in pumps):
        return np.zeros(len(signs.plant), bool)
    rest = [np.nan_to_num(m.drawn.high_w, nan=MOST_REST_W + 1.0) <= MOST_REST_W for m in pumps]
    return np.asarray(np.logical_and.reduce(rest))


def _empty(signs: Signs) -> BoolArray:
    """The pump runs and there is no pressure to speak of: its bearings want water."""
    if signs.one.pump.duty == "recirculation":
        return np.zeros(len(signs.plant), bool)
    low = np.nan_to_num(signs.plant.pressure_bar, nan=9.0) < _EMPTY_BAR
    return np.asarray(lasting(low & _turns(signs)) >= _EMPTY_MIN)
