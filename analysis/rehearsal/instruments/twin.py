"""When a fault first shows: the emitted readings beside those of a twin without it."""

from collections.abc import Mapping
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analysis.base.time import DAY_MS, HOUR_MS
from analysis.plant.plant import Channel
from analysis.readings.readings import Readings, hold_limit_ms, value_at
from analysis.rehearsal.faults.fault import Shows

_TOLERANCE = {
    "power": (0.6, 0.03),
    "energy": (0.05, 0.0),
    "current": (0.01, 0.05),
    "power_factor": (0.03, 0.0),
    "voltage": (2.0, 0.0),
    "temperature": (1.0, 0.0),
    "pressure": (0.08, 0.0),
    "fuel_volume": (0.03, 0.0),
}
"""Departure, absolute and as a share, that is beyond a reading's resolution and noise."""
_OF_MEDIANS = {
    "power": (0.15, 0.012),
    "current": (0.004, 0.02),
    "power_factor": (0.015, 0.0),
    "temperature": (0.6, 0.0),
    "pressure": (0.05, 0.0),
}


def first_shown_ms(
    shows: Shows,
    channels: tuple[Channel, ...],
    with_fault: Mapping[str, Readings],
    without: Mapping[str, Readings],
    onset_ms: int,
) -> int | None:
    """Moment of the first reading in which the fault shows, None where it never does.

    Both records have the same noise, losses and habits, so they agree reading
    by reading up to the onset. A departure counts once it exceeds resolution and noise
    in two readings running, or in medians of three hours or two days running for
    faults that creep.

    Parameters
    ----------
    shows : str
        Whether it shows in single readings, in medians, or in readings that do not come.
    channels : tuple of Channel
        Where to look.
    with_fault, without : mapping of str to Readings
        The record and its twin's.
    onset_ms : int
        When the fault began [ms].
    """
    shown = []
    for channel in channels:
        ours, twin = with_fault.get(channel.id), without.get(channel.id)
        if ours is None or twin is None or not len(twin):
            continue
        if shows == "silence":
            moment = _silent(ours, twin)
        elif shows == "day":
            moment = _by_medians(channel, ours, twin, onset_ms, DAY_MS, 2)
        elif shows == "hour":
            moment = _by_medians(channel, ours, twin, onset_ms, HOUR_MS, 3)
        else:
            moment = _by_readings(channel, ours, twin, onset_ms)
        if moment is not None:
            shown.append(moment)
    return min(shown, default=None)


def _silent(ours: Readings, twin: Readings) -> int | None:
    missing = np.setdiff1d(twin.time_ms, ours.time_ms)
    return int(missing[0]) if len(missing) else None


def _by_readings(channel: Channel, ours: Readings, twin: Readings, onset_ms: int) -> int | None:
    least, share = _TOLERANCE.get(channel.quantity, (np.inf, 0.0))
    a = int(np.searchsorted(ours.time_ms, onset_ms))
    times, values = ours.time_ms[a:], ours.value[a:]
    other = value_at(twin, times, hold_limit_ms(twin, channel) * 4)
    with np.errstate(invalid="ignore"):
        apart = np.abs(values - other) > np.maximum(least, share * np.abs(other))
    if channel.reports != "change":
        apart &= np.append(apart[1:], [False])
    at = np.flatnonzero(apart)
    return int(times[at[0]]) if len(at) else None


def _by_medians(
    channel: Channel, ours: Readings, twin: Readings, onset_ms: int, width_ms: int, running: int
) -> int | None:
    if channel.quantity not in _OF_MEDIANS:
        return None
    least, share = _OF_MEDIANS[channel.quantity]
    edges = np.arange(onset_ms, max(int(ours.time_ms[-1]), onset_ms) + width_ms, width_ms)
    idle = _idle(channel, twin)
    one, two = _medians(ours, edges, idle), _medians(twin, edges, idle)
    with np.errstate(invalid="ignore"):
        apart = np.abs(one - two) > np.maximum(least, share * np.abs(two))
    for k in range(running, len(apart) + 1):
        if apart[k - running : k].all():
            return int(edges[k - running])
    return None


def _idle(channel: Channel, readings: Readings) -> float:
    """Level below which a machine is not running: a third of its usual high."""
    if channel.quantity in ("power", "current", "power_factor"):
        return 0.33 * float(np.quantile(readings.value, 0.99))
    return -np.inf


def _medians(readings: Readings, edges: NDArray[np.int64], idle: float) -> NDArray[np.float64]:
    """Median of each interval over the readings above idling."""
    places = np.searchsorted(readings.time_ms, edges)
    out = np.full(len(edges) - 1, np.nan)
    for k, (a, b) in enumerate(pairwise(places)):
        part = readings.value[a:b]
        part = part[part > idle]
        if len(part):
            out[k] = np.median(part)
    return out
