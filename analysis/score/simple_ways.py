"""Three simple ways to find faults, to stand beside ours in the score: threshold, z-score, CUSUM.

Each looks at the power of a pump's plug alone.
"""

from collections.abc import Callable
from itertools import pairwise

import numpy as np

from analysis.base.time import DAY_MS, HOUR_MS, Span
from analysis.faults.bearing_drag import FAULT as BEARING_DRAG
from analysis.faults.dead_head import FAULT as DEAD_HEAD
from analysis.faults.sludge import FAULT as SLUDGE
from analysis.faults.stall import FAULT as STALL
from analysis.plant.finding import Evidence, Finding, Health, Urgency
from analysis.plant.plant import Channel, Plant, Pump
from analysis.readings.readings import FloatArray, IntArray, Record, hold_limit_ms, summarise

Judge = Callable[[Plant, Record, Span], Health]

LEARN_DAYS = 10.0
Z_LIMIT = 4.0
ALLOWANCE, DECISION = 0.5, 5.0
"""CUSUM reference value and decision interval in standard deviations (Page 1954; ISO 7870-4)."""


def fixed_threshold(plant: Plant, record: Record, span: Span) -> Health:
    """Report a pump below half its least, or above 1.1 of its greatest, rated power for an hour."""
    found = []
    for pump, channel in _powers(plant, record):
        if pump.rated_power_w is None:
            continue
        start, mean = _means(record, channel, span, HOUR_MS)
        low, high = 0.5 * pump.rated_power_w[0], 1.1 * pump.rated_power_w[1]
        found += _spells(pump, channel, start, mean < low, (STALL.name, "now"), HOUR_MS)
        found += _spells(pump, channel, start, mean > high, (BEARING_DRAG.name, "soon"), HOUR_MS)
    return Health(tuple(found), (), ())


def z_score(plant: Plant, record: Record, span: Span) -> Health:
    """Report hours whose mean power lies four deviations from that of the first ten days."""
    found = []
    for pump, channel in _powers(plant, record):
        start, mean = _means(record, channel, span, HOUR_MS)
        level, spread = _learned(start, mean, span)
        with np.errstate(invalid="ignore"):
            z = (mean - level) / spread
        low, high = z < -Z_LIMIT, z > Z_LIMIT
        found += _spells(pump, channel, start, low, (DEAD_HEAD.name, "now"), HOUR_MS)
        found += _spells(pump, channel, start, high, (BEARING_DRAG.name, "soon"), HOUR_MS)
    return Health(tuple(found), (), ())


def cusum(plant: Plant, record: Record, span: Span) -> Health:
    """Report a sustained shift of the daily median power by two one-sided cumulative sums."""
    found = []
    for pump, channel in _powers(plant, record):
        start, median = _daily_medians(record, channel, span)
        level, spread = _learned(start, median, span)
        up, down = _sums((median - level) / spread), _sums((level - median) / spread)
        found += _spells(pump, channel, start, up > DECISION, (BEARING_DRAG.name, "soon"), DAY_MS)
        found += _spells(pump, channel, start, down > DECISION, (SLUDGE.name, "soon"), DAY_MS)
    return Health(tuple(found), (), ())


SIMPLE: dict[str, Judge] = {
    "threshold": fixed_threshold,
    "z-score": z_score,
    "cusum": cusum,
}
"""The simple ways by name."""


def _powers(plant: Plant, record: Record) -> list[tuple[Pump, Channel]]:
    pairs = [(pump, plant.first(of=pump.id, quantity="power")) for pump in plant.pumps]
    return [(pump, c) for pump, c in pairs if c is not None and len(record.get(c.id, ())) > 1]


def _means(
    record: Record, channel: Channel, span: Span, width_ms: int
) -> tuple[IntArray, FloatArray]:
    edges = np.arange(span.start_ms, span.end_ms + 1, width_ms, dtype=np.int64)
    readings = record[channel.id]
    summary = summarise(readings, edges, hold_limit_ms(readings, channel))
    return summary.start_ms, summary.mean


def _daily_medians(record: Record, channel: Channel, span: Span) -> tuple[IntArray, FloatArray]:
    readings = record[channel.id]
    edges = np.arange(span.start_ms, span.end_ms + 1, DAY_MS, dtype=np.int64)
    places = np.searchsorted(readings.time_ms, edges)
    parts = [readings.value[a:b] for a, b in pairwise(places)]
    medians = [float(np.nanmedian(p[p > 1.0])) if np.any(p > 1.0) else np.nan for p in parts]
    return edges[:-1], np.array(medians)


def _learned(start: IntArray, value: FloatArray, span: Span) -> tuple[float, float]:
    """Mean and deviation over the first days; a spread of nothing is held at 0.05 W."""
    early = value[(start < span.start_ms + LEARN_DAYS * DAY_MS) & np.isfinite(value)]
    if len(early) < 3:
        return np.nan, np.nan
    return float(early.mean()), max(float(early.std(ddof=1)), 0.05)


def _sums(z: FloatArray) -> FloatArray:
    out = np.zeros(len(z))
    total = 0.0
    for k, one in enumerate(z):
        total = max(0.0, total + one - ALLOWANCE) if np.isfinite(one) else total
        out[k] = total
    return out


def _spells(
    pump: Pump,
    channel: Channel,
    start: IntArray,
    wrong: np.ndarray,
    named: tuple[str, Urgency],
    width_ms: int,
) -> list[Finding]:
    """Turn runs of wrong intervals into findings; raised when the first of them has passed."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], wrong.astype(np.int8), [0]))))
    return [
        Finding(
            subject=pump.id,
            fault=named[0],
            urgency=named[1],
            confidence=0.5,
            start_ms=int(start[a]) + width_ms,
            end_ms=int(start[b - 1]) + 2 * width_ms,
            evidence=(Evidence(channel.id, "power out of its limits", None, "", "W"),),
        )
        for a, b in edges.reshape(-1, 2)
    ]
