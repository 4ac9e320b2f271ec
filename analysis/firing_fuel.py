"""Firings from a gas or oil counter: runs of steps that follow each other closely."""

import numpy as np

from analysis.firing import Firings
from analysis.levels import Runs
from analysis.plant import Channel
from analysis.readings import Readings, covered_hours, hold_limit_ms, holds, usual_step_ms
from analysis.timebase import HOUR_MS, SECOND_MS, Span

_LEAST_GAP_MS, _MOST_GAP_MS = 120 * SECOND_MS, 600 * SECOND_MS


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
    usual = float(np.median(apart[apart <= np.quantile(apart, 0.75)]))
    gap_ms = float(np.clip(2.5 * usual, _LEAST_GAP_MS, _MOST_GAP_MS))
    split = np.flatnonzero(apart > gap_ms)
    half = int(usual / 2)
    start = step_ms[np.append([0], split + 1)] - half
    end = step_ms[np.append(split, [len(step_ms) - 1])] + half
    seen = np.ones(len(start), bool)
    rest = np.append(start[1:], end[-1:])
    runs = Runs(start, end, seen, seen, rest)
    return _covered(runs, inside, channel, span)


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
