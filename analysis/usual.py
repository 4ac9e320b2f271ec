"""What is usual for a pump in an epoch, learned from its first weeks, and how far it has gone."""

from dataclasses import dataclass

import numpy as np

from analysis.days import Days
from analysis.history import BASELINE_DAYS, LEARNING_DAYS, Epoch, PumpHistory
from analysis.readings import FloatArray, IntArray

_LEAST_SPREAD = {"induction": 0.003, "electronic": 0.012}
_FLOW_SPREAD = 0.04
_SETTLED = 0.08
"""Change of level within a baseline, as a share, that automatic adaptation alone makes."""
_SLIDE_DAYS = 3
_ROUGH = {"share": 0.03, "outdoor_c": 2.0}
"""Spread of a context below which nothing is learned of its influence."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Trend:
    """How far each row of an epoch lies above what is usual, as a logarithm.

    Attributes
    ----------
    rows : ndarray of int64
        Rows of the daily table, after the baseline.
    above : ndarray
        Logarithm of value over expectation, row by row.
    spread : float
        Robust standard deviation of the same within the baseline.
    learned : ndarray of int64
        Rows of the baseline.
    level : float
        Median of the value within the baseline.
    """

    rows: IntArray
    above: FloatArray
    spread: float
    learned: IntArray
    level: float


def baseline_rows(history: PumpHistory, epoch: Epoch) -> IntArray:
    """Rows that make an epoch's baseline; none while the pump is still being learned.

    A pump that adapts its own curve moves for weeks after it was fitted: its
    baseline begins once its level has settled.
    """
    rows = history.rows(epoch)
    rows = rows[history.days.run_h[rows] >= 1.0]
    if len(rows) < LEARNING_DAYS:
        return rows[:0]
    if epoch.drive == "induction":
        return rows[:BASELINE_DAYS]
    level = np.log(history.even.level_w)
    for begin in range(0, max(len(rows) - BASELINE_DAYS, 0) + 1, _SLIDE_DAYS):
        part = rows[begin : begin + BASELINE_DAYS]
        third = max(len(part) // 3, 2)
        if np.median(level[part[-third:]]) - np.median(level[part[:third]]) > -_SETTLED:
            return part
    return rows[:0]


def level_trend(history: PumpHistory, epoch: Epoch) -> Trend | None:
    """Power above what is usual at the same flow of water, None while learning."""
    least = _LEAST_SPREAD[epoch.drive]
    return _trend(history, epoch, history.even.level_w, ("share", "outdoor_c"), least)


def flow_trend(history: PumpHistory, epoch: Epoch) -> Trend | None:
    """How much longer the water lingers in the loop than usual, None where it cannot be told.

    The flow's excess over the room falls along the loop by ``exp(-N)``; `N` is
    inverse to the flow of water, whatever the heat.
    """
    return _trend(history, epoch, history.days.lingers, ("outdoor_c",), _FLOW_SPREAD)


def _trend(
    history: PumpHistory,
    epoch: Epoch,
    value: FloatArray,
    contexts: tuple[str, ...],
    least_spread: float,
) -> Trend | None:
    learned = baseline_rows(history, epoch)
    learned = learned[np.isfinite(value[learned])]
    if len(learned) < LEARNING_DAYS:
        return None
    with np.errstate(invalid="ignore"):
        logs = np.log(value)
    context = _context(history.days, learned, contexts)
    base = float(np.median(logs[learned]))
    slope, centre = 0.0, 0.0
    if context is not None:
        name, array = context
        slope, centre = _slope(array[learned], logs[learned] - base, _ROUGH[name])
        low, high = np.min(array[learned]), np.max(array[learned])
        reach = 0.25 * (high - low)
        held = np.clip(array, low - reach, high + reach)
        expected = base + slope * (np.where(np.isfinite(held), held, centre) - centre)
        if name == "share" and epoch.drive == "electronic":
            # Its power follows the flow: far outside what was learned nothing can be said.
            far = np.abs(array - held) > max(0.5 * (high - low), _ROUGH[name])
            expected = np.where(far | np.isnan(array), np.nan, expected)
    else:
        expected = np.full(len(logs), base)
    above = logs - expected
    rows = np.arange(learned[-1] + 1, epoch.last + 1)
    rows = rows[np.isfinite(above[rows]) & history.days.is_whole[rows]]
    shift = float(np.median(above[learned]))
    spread = 1.4826 * float(np.median(np.abs(above[learned] - shift)))
    return Trend(
        rows=rows,
        above=above[rows] - shift,
        spread=max(spread, least_spread),
        learned=learned,
        level=float(np.exp(base)),
    )


def _context(
    days: Days, learned: IntArray, names: tuple[str, ...]
) -> tuple[str, FloatArray] | None:
    """First context known throughout the baseline."""
    for name in names:
        array = getattr(days, name)
        if np.isfinite(array[learned]).all():
            return name, array
    return None


def _slope(context: FloatArray, value: FloatArray, rough: float) -> tuple[float, float]:
    """Slope and centre of a line that stays level where the context hardly varied."""
    centre = float(np.mean(context))
    apart = context - centre
    return float(apart @ (value - value.mean()) / (apart @ apart + len(apart) * rough**2)), centre


def running_median(value: FloatArray, width: int) -> FloatArray:
    """Median of each value and those before it, `width` in all; NaN for the first ones."""
    found = np.full(len(value), np.nan)
    if len(value) >= width:
        windows = np.lib.stride_tricks.sliding_window_view(value, width)
        found[width - 1 :] = np.median(windows, axis=1)
    return found


def spells(signal: FloatArray, on: float, off: float) -> list[tuple[int, int, bool]]:
    """Spells of a signal that begin at `on` and end below `off`: first, last, whether it ended."""
    found: list[tuple[int, int, bool]] = []
    begin = -1
    for k, one in enumerate(signal):
        if begin < 0 and one >= on:
            begin = k
        elif begin >= 0 and one < off:
            found.append((begin, k, True))
            begin = -1
    if begin >= 0:
        found.append((begin, len(signal) - 1, False))
    return found
