"""Power levels of a machine at rest and at work, learned from its own minutes."""

from dataclasses import dataclass

import numpy as np

from analysis.base.time import Span
from analysis.plant.plant import Channel
from analysis.readings.minute_grid import lasting
from analysis.readings.plant_minutes import MachineMinutes
from analysis.readings.readings import FloatArray, Readings, hold_limit_ms, holds
from analysis.readings.two_levels import BoolArray, two_levels, weighted_quantile

_NO_MAINS_W, _WHOLE_LEAST_W = 0.5, 1.5
_STANDBY_MIN = 10
_OFFSET_W = 0.4
_TOO_LITTLE = 0.4
"""A running pump draws at least this share of its own usual power; common practice, no source."""
_BINS = 120
_RARE = 0.0004
_LEVEL_SHARE = 0.002
_LEAST_RATIO = 1.3
_ALIKE = 1.15
"""A level of work no higher over that of rest is none: no gap parts them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Power at rest and at work [W]: 99 % of the rest; 1, 50 and 99 % of the work.

    `standby_w` is the least it keeps at rest; less is no mains. None where the past does not
    show it.
    """

    idle_w: float | None = None
    standby_w: float | None = None
    low_w: float | None = None
    usual_w: float | None = None
    high_w: float | None = None

    @property
    def split_w(self) -> float | None:
        """Power above which the machine works."""
        if self.low_w is None:
            return None
        return 0.5 * (self.low_w + (self.idle_w or 0.0))

    @property
    def rests_alike(self) -> bool:
        """Whether work takes hardly more than rest, so that power tells neither."""
        return bool(self.low_w and self.idle_w and self.low_w <= _ALIKE * self.idle_w)


def learn_levels(
    drawn: MachineMinutes,
    *,
    idle_most_w: float,
    least_rest: float = _LEVEL_SHARE,
    unless: BoolArray | None = None,
    works_from_w: float | None = None,
) -> Levels:
    """Power at rest and at work, parted where the machine hardly ever is.

    Parameters
    ----------
    drawn : MachineMinutes
        Power minute by minute.
    idle_most_w : float
        A machine at rest takes no more [W].
    least_rest : float
        Share of the time that makes a level of rest.
    unless : ndarray of bool, optional
        Minutes to leave out.
    works_from_w : float, optional
        Where nothing parts rest and work, a machine that mostly takes more works; `idle_most_w`
        by default [W].
    """
    usable = drawn.is_steady & ~np.isnan(drawn.power_w)
    steady = drawn.power_w[usable if unless is None else usable & ~unless]
    if len(steady) < 30:
        return Levels()
    split = _widest_gap(steady, idle_most_w, least_rest)
    if split is None:
        works_w = idle_most_w if works_from_w is None else works_from_w
        split = -1.0 if float(np.median(steady)) > works_w else works_w
    rest, work = steady[steady <= split], steady[steady > split]
    idle = float(np.quantile(rest, 0.99)) if len(rest) >= 10 else None
    standby = _standby_w(rest, drawn.low_w[usable])
    if len(work) < 10:
        return Levels(idle_w=idle, standby_w=standby)
    low, usual, high = (float(q) for q in np.quantile(work, (0.01, 0.5, 0.99)))
    return Levels(idle_w=idle, standby_w=standby, low_w=low, usual_w=usual, high_w=high)


def _standby_w(rest_w: FloatArray, told_w: FloatArray) -> float | None:
    """Least power kept at rest for some minutes, where the plug parts it from zero.

    Until more is known several levels may pass for rest, and a burner that hardly ever pauses
    shows its true standby for a small share of the time only.
    """
    kept = rest_w[rest_w > _NO_MAINS_W]
    if len(kept) < _STANDBY_MIN:
        return None
    least = max(_STANDBY_MIN, round(_LEVEL_SHARE * len(kept)))
    standby = float(np.partition(kept, least - 1)[least - 1])
    # A plug that tells whole watts may tell one or none of the same standby.
    return None if tells_whole_watts(told_w) and standby < _WHOLE_LEAST_W else standby


def tells_whole_watts(told_w: FloatArray) -> bool:
    """Whether a plug tells its readings [W] without decimals."""
    return bool((np.abs(told_w - np.round(told_w)) < 0.01).all())


def _widest_gap(steady: FloatArray, idle_most_w: float, least_rest: float) -> float | None:
    """Middle of the widest stretch of power, on a scale of ratios, that is hardly ever taken.

    None where no stretch parts two levels.
    """
    scaled = np.log(np.maximum(steady, 0.0) + _OFFSET_W)
    edges = np.linspace(np.log(_OFFSET_W) - 1e-9, np.log(idle_most_w * 2.0 + _OFFSET_W), _BINS + 1)
    width = edges[1] - edges[0]
    count, _ = np.histogram(scaled, edges)
    # The gap must lie between two levels, of which the lower may be rest.
    below = np.cumsum(count)
    empty = count <= _RARE * len(steady)
    run = lasting(empty)
    begins = edges[:-1] - (run - 1) * width
    usable = empty & (below > least_rest * len(steady))
    usable &= len(steady) - below > _LEVEL_SHARE * len(steady)
    usable &= begins <= np.log(idle_most_w + _OFFSET_W)
    if not usable.any() or run[usable].max() * width < np.log(_LEAST_RATIO):
        return None
    at = int(np.argmax(np.where(usable, run, 0)))
    return float(np.exp(0.5 * (begins[at] + edges[at + 1])) - _OFFSET_W)


def running_power_w(readings: Readings, channel: Channel, span: Span) -> float | None:
    """Usual power of a pump while it runs [W]: the upper of two levels, or the only one."""
    known = holds(readings, hold_limit_ms(readings, channel), span)
    if not len(known.value):
        return None
    levels = two_levels(known, 2.0)
    if levels and levels.low < _TOO_LITTLE * levels.high:
        return levels.high
    length = (known.end_ms - known.start_ms).astype(float)
    middle = weighted_quantile(known.value, length, 0.5)
    return middle if middle > 1.0 else None
