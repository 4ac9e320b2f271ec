"""What is usual for a pump in an epoch, learned from its first weeks, and how far it has gone."""

from dataclasses import dataclass

import numpy as np

from analysis.pump.daily_rows import Days
from analysis.pump.epochs import BASELINE_DAYS, LEARNING_DAYS, Epoch, PumpHistory
from analysis.readings.readings import FloatArray, IntArray
from analysis.readings.two_levels import BoolArray

_LEAST_SPREAD = {"induction": 0.003, "electronic": 0.012}
_FLOW_SPREAD = 0.04
_SETTLED = 0.08
"""Change of level within a baseline, as a share, that automatic adaptation alone makes."""
_SLIDE_DAYS = 3
_VENTING_DAYS = 3
"""A pump may flutter for so long after a refill (common practice, no source)."""
_LIKE, _LEAST_LIKE = 0.15, 3
"""Days whose flow differs by less than this share are alike; so many make a comparison."""
_REACH = 0.25
"""How far beyond what was met while learning a line is held to go, as a share of its range."""
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
    baseline begins once its level has settled. Days in which air may be on its
    way out are nobody's habit.
    """
    rows = history.rows(epoch)
    rows = rows[(history.days.run_h[rows] >= 1.0) & ~_vents(history, rows)]
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


def _vents(history: PumpHistory, rows: IntArray) -> BoolArray:
    """Rows of the first days after a refill."""
    vents = np.zeros(len(rows), np.bool_)
    for refill in (e for e in history.epochs if e.why == "refilled"):
        vents |= (rows >= refill.first) & (rows < refill.first + _VENTING_DAYS)
    return vents


def level_trend(history: PumpHistory, epoch: Epoch) -> Trend | None:
    """Power above what is usual at the same flow of water, None while learning."""
    least = _LEAST_SPREAD[epoch.drive]
    return _trend(history, epoch, history.even.level_w, ("share", "outdoor_c"), least)


def flow_trend(history: PumpHistory, epoch: Epoch) -> Trend | None:
    """How much longer the water lingers in the loop than usual, None where it cannot be told.

    The flow's excess over the room falls along the loop by ``exp(-N)``; `N` is
    inverse to the flow of water, whatever the heat. In warmer weather the valves throttle by no
    line: of days beyond what was met while learning nothing is said.
    """
    met = met_weather(history, baseline_rows(history, epoch))
    lingers = np.where(met, history.days.lingers, np.nan)
    return _trend(history, epoch, lingers, ("outdoor_c",), _FLOW_SPREAD)


def met_weather(history: PumpHistory, learned: IntArray) -> BoolArray:
    """Days about as warm as some that were learned; all where outdoors is not known then."""
    outdoor = history.days.outdoor_c
    known = outdoor[learned]
    if not len(known) or not np.isfinite(known).all():
        return np.ones(len(outdoor), bool)
    reach = max(_REACH * float(np.ptp(known)), _ROUGH["outdoor_c"])
    with np.errstate(invalid="ignore"):
        return np.asarray((outdoor > known.min() - reach) & (outdoor < known.max() + reach))


def _trend(
    history: PumpHistory,
    epoch: Epoch,
    value: FloatArray,
    contexts: tuple[str, ...],
    least_spread: float,
) -> Trend | None:
    learned = _known_rows(history, epoch, value)
    if len(learned) < LEARNING_DAYS:
        return None
    with np.errstate(invalid="ignore"):
        logs = np.log(value)
    context = _context(history.days, learned, contexts)
    base = float(np.median(logs[learned]))
    if context is None:
        expected = own = np.full(len(logs), base)
    elif context[0] == "share" and epoch.drive == "electronic":
        expected, own = _of_like_days(context[1], logs, learned)
    else:
        name, array = context
        expected = own = base + line_over(array, logs - base, learned, rough=_ROUGH[name])
    above, within = logs - expected, (logs - own)[learned]
    rows = np.arange(learned[-1] + 1, epoch.last + 1)
    rows = rows[np.isfinite(above[rows]) & history.days.is_whole[rows]]
    within = within[np.isfinite(within)]
    shift = float(np.median(within)) if len(within) else 0.0
    spread = 1.4826 * float(np.median(np.abs(within - shift))) if len(within) else 0.0
    return Trend(
        rows=rows,
        above=above[rows] - shift,
        spread=max(spread, least_spread),
        learned=learned,
        level=float(np.exp(base)),
    )


def _known_rows(history: PumpHistory, epoch: Epoch, value: FloatArray) -> IntArray:
    """Rows of the baseline with a value; its first days after that where those are too few."""
    learned = baseline_rows(history, epoch)
    known = learned[np.isfinite(value[learned])]
    if not len(learned) or len(known) >= LEARNING_DAYS:
        return known
    rows = history.rows(epoch)
    rows = rows[np.isfinite(value[rows]) & (rows >= learned[0]) & ~_vents(history, rows)]
    return np.asarray(rows[:LEARNING_DAYS])


def _context(
    days: Days, learned: IntArray, names: tuple[str, ...]
) -> tuple[str, FloatArray] | None:
    """First context known throughout the baseline."""
    for name in names:
        array = getattr(days, name)
        if np.isfinite(array[learned]).all():
            return name, array
    return None


def line_over(
    context: FloatArray,
    apart: FloatArray,
    learned: IntArray,
    *,
    rough: float,
    reach: float = _REACH,
) -> FloatArray:
    """What a straight line over the context makes of each row, held near what was learned."""
    slope, centre = _slope(context[learned], apart[learned], rough)
    low, high = np.min(context[learned]), np.max(context[learned])
    beyond = reach * (high - low)
    held = np.clip(context, low - beyond, high + beyond)
    return np.asarray(slope * (np.where(np.isfinite(held), held, centre) - centre))


def _slope(context: FloatArray, value: FloatArray, rough: float) -> tuple[float, float]:
    """Slope and centre of a line that stays level where the context hardly varied."""
    centre = float(np.mean(context))
    apart = context - centre
    return float(apart @ (value - value.mean()) / (apart @ apart + len(apart) * rough**2)), centre


def _of_like_days(
    share: FloatArray, logs: FloatArray, learned: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Median of the learned days with about the same flow of water, for every row.

    An electronic pump's power bends over its flow: no line holds. Of more water than was met
    while learning nothing can be said (NaN); with less it takes no more than on the days with
    the least, which says nothing of a day below that. The second array leaves each day itself out.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        units = np.log(-np.log1p(-np.clip(share, 0.02, 0.98)))
    of_day = np.arange(len(share))
    like = np.abs(units[:, None] - units[learned]) <= _LIKE
    others = like & (of_day[:, None] != learned)
    expected, own = (_median_where(logs[learned], chosen) for chosen in (like, others))
    # Less water makes the units grow.
    least = np.argsort(units[learned])[-_LEAST_LIKE:]
    with np.errstate(invalid="ignore"):
        most = float(np.median(logs[learned[least]]))
        beyond = np.isnan(expected) & (units > units[learned[least]].min()) & (logs >= most)
    return np.where(beyond, most, expected), own


def _median_where(value: FloatArray, chosen: BoolArray) -> FloatArray:
    """Median of the values chosen in each row; NaN where they are fewer than `_LEAST_LIKE`."""
    table = np.sort(np.where(chosen, value, np.nan), axis=1)
    count = chosen.sum(axis=1)
    rows = np.arange(len(table))
    low, high = table[rows, np.maximum(count - 1, 0) // 2], table[rows, count // 2 % table.shape[1]]
    return np.where(count >= _LEAST_LIKE, 0.5 * (low + high), np.nan)


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
