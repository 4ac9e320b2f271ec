"""Firings from a gas or oil counter: runs of steps that follow each other closely."""

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from analysis.base.time import HOUR_MS, SECOND_MS, Span
from analysis.firing.firings import Firings
from analysis.plant.plant import Channel
from analysis.readings.readings import (
    FloatArray,
    IntArray,
    Readings,
    covered_hours,
    hold_limit_ms,
    holds,
    usual_step_ms,
)
from analysis.readings.two_levels import Runs

_LEAST_GAP_MS, _MOST_GAP_MS = 120 * SECOND_MS, 600 * SECOND_MS
_STEADY_STEPS, _SLACK = 4, 1.1


def firings_from_fuel(readings: Readings, channel: Channel, span: Span) -> Firings | None:
    """Firings as runs of counter steps; None where there are fewer than three steps.

    A step tells that fuel flowed since the step before; the firing is taken to
    begin and end half a usual step distance outside its first and last step.

    Parameters
    ----------
    readings : Readings
        Counter [m3].
    channel : Channel
        Where it was measured.
    span : Span
        Time to look at.
    """
    inside = readings.known().within(span)
    moved = np.flatnonzero(np.diff(inside.value) > 0) + 1
    if len(moved) and moved[0] == 1 and _reports_steps_only(inside):
        moved = np.append([0], moved)
    step_ms = inside.time_ms[moved]
    if len(step_ms) < 3:
        return None
    apart = np.diff(step_ms)
    if _reports_steps_only(inside):
        usual = float(np.median(apart[apart <= np.quantile(apart, 0.75)]))
        gap_ms = float(np.clip(2.5 * usual, _LEAST_GAP_MS, _MOST_GAP_MS))
    else:
        every_ms = usual_step_ms(inside)
        apart = np.diff(moved) * every_ms
        gap_ms = _longest_ms(apart, np.diff(inside.value)[moved[1:] - 1], every_ms)
        usual = float(np.median(np.append(apart[apart <= gap_ms], every_ms)))
    split = np.flatnonzero(apart > gap_ms)
    half = int(usual / 2)
    start = step_ms[np.append([0], split + 1)] - half
    end = step_ms[np.append(split, [len(step_ms) - 1])] + half
    seen = np.ones(len(start), bool)
    rest = np.append(start[1:], end[-1:])
    runs = Runs(start, end, seen, seen, rest)
    return _covered(runs, inside, channel, span)


def _longest_ms(apart_ms: IntArray, step: FloatArray, every_ms: int) -> float:
    """Longest time between two steps of one firing, where a counter is read every so often [ms].

    At the least flame the counter moves by its own step every so many seconds, which the slowest
    steady firing tells; as it is read in steps of time, up to a reading more may pass. Beyond that,
    or where the counts of such times rise again, firings were parted by rests. Time is counted in
    readings, so that a lost one is no rest.

    Parameters
    ----------
    apart_ms : ndarray of int64
        Times from step to step, whole numbers of readings [ms].
    step : ndarray of float64
        By how much the counter moved at the end of each.
    every_ms : int
        Usual time from reading to reading [ms].
    """
    count = np.bincount(apart_ms // every_ms, minlength=3)
    most = int(_SLACK * _least_flame_ms(apart_ms, step, every_ms) / every_ms) + 1
    longest = 2
    while longest < min(most, len(count) - 1) and count[longest + 1] <= 0.5 * count[longest]:
        longest += 1
    return (longest + 0.5) * every_ms


def _least_flame_ms(apart_ms: IntArray, step: FloatArray, every_ms: int) -> float:
    """Time for one step of the counter at the least flame that was held for some steps [ms]."""
    if len(step) < _STEADY_STEPS:
        return float(every_ms)
    own = float(np.quantile(step, 0.02))
    time_ms, moved = (np.cumsum(np.append(0, one)) for one in (apart_ms, step))
    at = slice(_STEADY_STEPS, None), slice(None, -_STEADY_STEPS)
    slow = own * (time_ms[at[0]] - time_ms[at[1]]) / (moved[at[0]] - moved[at[1]])
    longest = sliding_window_view(apart_ms, _STEADY_STEPS).max(axis=1)
    steady = longest <= _STEADY_STEPS * every_ms
    return float(np.quantile(slow[steady], 0.9)) if steady.any() else float(every_ms)


def _reports_steps_only(readings: Readings) -> bool:
    """Whether every reading is a step, as from a pulse output."""
    return bool(np.mean(np.diff(readings.value) > 0) > 0.95)


def _covered(runs: Runs, inside: Readings, channel: Channel, span: Span) -> Firings:
    step_s = usual_step_ms(inside) / SECOND_MS
    if _reports_steps_only(inside) or channel.reports == "change":
        hours = (int(inside.time_ms[-1]) - int(inside.time_ms[0])) / HOUR_MS
        return Firings("fuel", channel.id, runs, hours, step_s)
    known = holds(inside, hold_limit_ms(inside, channel), span)
    broken = known.end_ms[:-1][known.start_ms[1:] > known.end_ms[:-1]]
    hidden = np.searchsorted(broken, runs.start_ms) != np.searchsorted(broken, runs.end_ms)
    runs = runs._replace(opens=~hidden, closes=~hidden)
    return Firings("fuel", channel.id, runs, covered_hours(known), step_s)
