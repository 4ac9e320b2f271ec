"""Mains voltage outside the range that a supply must keep, by the plugs' own voltmeters."""

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from analysis.alarms.states import Timing
from analysis.base.time import DAY_MS, MINUTE_MS
from analysis.faults.fault import Fault
from analysis.plant.finding import Evidence, Finding
from analysis.plant.plant import Channel
from analysis.readings.readings import FloatArray, IntArray, hold_limit_ms, summarise
from analysis.readings.situation import Situation, Verdict

NOMINAL_V, RANGE = 230.0, 0.1
"""EN 50160, supply voltage variations in low voltage (from memory): means of ten minutes within
10 % of nominal."""
MOST_OUTSIDE = 0.05
"""EN 50160 (from memory): in each week 95 % of the means lie inside."""
_STEP_MS, _WEEK = 10 * MINUTE_MS, 7 * 144
_LEAST_KNOWN = _WEEK // 2
"""A week of which less than half was heard says nothing (common practice, no source)."""
_OTHER_MAINS_V = 180.0
"""Below this the supply is not a nominal 230 V at all (common practice, no source)."""


def judge_voltage(situation: Situation) -> Verdict:
    """Weeks in which more than one mean of ten minutes in twenty lies outside the range.

    Parameters
    ----------
    situation : Situation
        Its plant's voltage channels [V]; the middle one counts where there are several.

    Returns
    -------
    Verdict
        One finding for all such weeks in a row.
    """
    channels = [
        c for c in situation.plant.select(quantity="voltage") if len(situation.record.get(c.id, ()))
    ]
    if not channels:
        return Verdict(needs="voltage of a plug")
    start_ms, mean_v = _means(situation, channels)
    known = np.isfinite(mean_v)
    if known.sum() < _LEAST_KNOWN:
        return Verdict(needs="voltage of a plug for half a week")
    if float(np.median(mean_v[known])) < _OTHER_MAINS_V:
        return Verdict(needs=f"a supply of nominal {NOMINAL_V:.0f} V")
    outside = known & (np.abs(mean_v - NOMINAL_V) > RANGE * NOMINAL_V)
    raised = _bad_weeks(outside, known)
    return Verdict(
        tuple(
            _finding(situation, channels[0], start_ms, mean_v, part)
            for part in _stretches(raised, outside)
        )
    )


def _means(situation: Situation, channels: list[Channel]) -> tuple[IntArray, FloatArray]:
    """Start [ms] and voltage [V] of every ten minutes; NaN where no plug was heard."""
    span = situation.span
    edges = np.arange(span.start_ms, span.end_ms + 1, _STEP_MS, dtype=np.int64)
    every = np.stack(
        [
            summarise(readings, edges, hold_limit_ms(readings, channel)).mean
            for channel in channels
            for readings in [situation.record[channel.id]]
        ]
    )
    heard = np.asarray(np.isfinite(every).any(axis=0))
    middle = np.full(len(edges) - 1, np.nan)
    middle[heard] = np.nanmedian(every[:, heard], axis=0)
    return edges[:-1], middle


def _bad_weeks(outside: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Whether the week up to each ten minutes has too many outside; shorter at the beginning."""
    padded = [np.concatenate((np.zeros(_WEEK - 1), flag)) for flag in (outside, known)]
    bad, heard = (sliding_window_view(flag, _WEEK).sum(axis=1) for flag in padded)
    return np.asarray((heard >= _LEAST_KNOWN) & (bad > MOST_OUTSIDE * heard))


def _stretches(raised: np.ndarray, outside: np.ndarray) -> list[tuple[int, int, int]]:
    """First ten minutes outside, the moment it was enough, and the last outside, of each time."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], raised, [False]))))
    found = []
    for begin, end in edges.reshape(-1, 2):
        at = np.flatnonzero(outside[max(begin - _WEEK + 1, 0) : end]) + max(begin - _WEEK + 1, 0)
        found.append((int(at[0]), int(begin), int(at[-1])))
    return found


def _finding(
    situation: Situation,
    channel: Channel,
    start_ms: IntArray,
    mean_v: FloatArray,
    part: tuple[int, int, int],
) -> Finding:
    first, raised, last = part
    values = mean_v[first : last + 1]
    away = values[np.nanargmax(np.abs(values - NOMINAL_V))]
    share = float(np.nanmean(np.abs(values - NOMINAL_V) > RANGE * NOMINAL_V))
    end_ms = int(start_ms[last]) + _STEP_MS
    usual = f"{NOMINAL_V * (1 - RANGE):.0f} to {NOMINAL_V * (1 + RANGE):.0f}"
    return Finding(
        subject=situation.subject,
        fault="voltage_out_of_range",
        start_ms=int(start_ms[first]),
        end_ms=end_ms if situation.span.end_ms - end_ms > DAY_MS else None,
        raised_ms=int(start_ms[raised]) + _STEP_MS,
        urgency="soon",
        confidence=0.8,
        evidence=(
            Evidence(channel.id, "mean of ten minutes farthest from nominal", away, usual, "V"),
            Evidence(channel.id, "share of ten minutes outside", share, "at most 0.05", "1"),
        ),
        ruled_out=("a short dip: it adds up to more than a twentieth of the time",),
    )


FAULT = Fault(
    name="voltage_out_of_range",
    title="Mains voltage is out of its range",
    of="plant",
    group="plant",
    place=7,
    needs="voltage of a plug for half a week, on a nominal 230 V supply",
    judge=judge_voltage,
    urgency="soon",
    timing=Timing(),
    possible=(
        "supply too weak or too long, or much solar power fed in nearby",
        "loose neutral or terminal",
        "the plug's voltmeter reads wrong",
    ),
    first_check="Do lamps flicker or change when large loads start? Does another plug read the "
    "same? Touch no terminal.",
    who="Electrician: terminals, neutral. The supply company: the voltage at the house.",
    caution="Mains voltage kills. A loose neutral can raise the voltage far enough to start a "
    "fire: if lamps turn very bright or dim, switch off at the main switch and call.",
    pace="day",
)
