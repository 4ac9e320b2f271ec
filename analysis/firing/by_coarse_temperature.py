"""Hours in which a boiler runs, from a flow temperature too coarse to show single firings.

Readings ten minutes apart and more step over whole firings. What they still show is whether the
water is kept warm at all: a plant at rest cools towards its surroundings and stays there.
"""

import numpy as np

from analysis.base.time import MINUTE_MS, SECOND_MS, Span
from analysis.firing.firings import Firings
from analysis.plant.plant import Channel
from analysis.readings.readings import Readings, covered_hours, hold_limit_ms, holds, usual_step_ms
from analysis.readings.two_levels import Runs, runs_above

COARSE_MS = 10 * MINUTE_MS
"""Readings this far apart show no single firings: of firings five minutes apart readings every
five minutes still show a part, every ten none (sampling of a model plant, no field)."""
_LEAST_SPREAD_K = 15.0
"""Water kept warm for heating lies so far above a plant at rest (common practice, no source)."""
_COLD_CEL = 35.0
"""A plant whose coldest hour is warmer was not seen at rest."""
_PART = 0.25
"""A quarter of the way from rest to warm water parts the two: a plant may be kept just warm for
long, while one at rest stays near its coldest."""


def hours_from_temperature(readings: Readings, channel: Channel, span: Span) -> Firings | None:
    """Stretches over which the boiler keeps its water warm; None without a rest to compare with.

    Parameters
    ----------
    readings : Readings
        Flow temperature [Cel], ten minutes apart or more.
    channel : Channel
        Where it was measured.
    span : Span
        Time to look at.
    """
    known = holds(readings, hold_limit_ms(readings, channel), span)
    if len(known.value) < 48:
        return None
    rest_c, warm_c = (float(q) for q in np.quantile(known.value, (0.002, 0.9)))
    if warm_c - rest_c < _LEAST_SPREAD_K or rest_c > _COLD_CEL:
        return None
    limit_c = rest_c + _PART * (warm_c - rest_c)
    runs: Runs = runs_above(known, limit_c, limit_c)
    step_s = usual_step_ms(readings) / SECOND_MS
    note = (
        f"readings {step_s / 60:.0f} min apart cannot tell single firings; the boiler counts as "
        f"running while its water is above {limit_c:.0f} °C"
    )
    return Firings(
        "temperature",
        channel.id,
        runs,
        covered_hours(known),
        step_s,
        tells="running",
        note=note,
    )
