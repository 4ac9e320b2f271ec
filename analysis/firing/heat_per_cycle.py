"""What each cycle lays up in the water: the measure of a burner's rhythm that no weather moves."""

from typing import NamedTuple

import numpy as np

from analysis.base.time import SECOND_MS
from analysis.firing.cycle_statistics import DEMAND_PAUSE_MS
from analysis.firing.daily_firings import Fired
from analysis.readings.readings import FloatArray


def strokes_s(seen: Fired) -> FloatArray:
    """Seconds of full flame that each cycle lays up in water and metal; NaN where unknown.

    A boiler that heats with the flame's power Q against a load q lays up E = on (Q - q) = off q,
    so E / Q = on off / (on + off): the thermostat's band and the water moved, whatever the load
    and the weather (the arithmetic behind NEMA DC-3's N / Nmax = 4x(1 - x)).
    """
    cycles = seen.found.cycles
    off = np.array([c.off_s or np.nan for c in cycles], np.float64)
    on = (seen.end_ms - seen.start_ms) / SECOND_MS
    whole = np.array([c.is_complete for c in cycles], bool) & ~seen.is_charge
    brief = (off * SECOND_MS <= DEMAND_PAUSE_MS) & (on * SECOND_MS <= DEMAND_PAUSE_MS)
    return np.asarray(np.where(whole & brief, on * off / (on + off), np.nan), np.float64)


class Flame(NamedTuple):
    """What is known of a burner.

    `stroke_s` are the seconds of full flame laid up a cycle, and `spread` their relative doubt.
    `brief` is the share of firings and rests so short that as many again may have fallen between
    two readings.
    """

    stroke_s: float
    spread: float
    brief: float
    modulates: bool


UNSEEN = Flame(120.0, 0.7, 0.0, modulates=False)
"""A burner whose cycles were not seen: half a minute to eight (common practice, no source)."""
_SEEN_SPREAD = 0.15
_BRIEF_STEPS = 1.5


def flame_of(seen: Fired) -> Flame:
    """What a boiler's cycles tell of its burner; twenty cycles tell what each lays up."""
    modulates = seen.boiler.condensing
    stroke = strokes_s(seen)
    known = np.isfinite(stroke)
    if known.sum() < 20:
        return UNSEEN._replace(modulates=modulates)
    limit_s = _BRIEF_STEPS * seen.found.step_s
    off = np.array([c.off_s or np.nan for c in seen.found.cycles], np.float64)[known]
    on = ((seen.end_ms - seen.start_ms) / SECOND_MS)[known]
    is_fine = seen.found.step_s > 90.0  # such sources report changes as they happen
    brief = 0.0 if is_fine else float(np.mean(on < limit_s) + np.mean(off < limit_s))
    return Flame(float(np.median(stroke[known])), _SEEN_SPREAD, min(brief, 1.0), modulates)
