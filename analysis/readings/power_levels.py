"""Power levels of a machine at rest and at work, learned from its own minutes."""

from dataclasses import dataclass

import numpy as np

from analysis.base.time import Span
from analysis.plant.plant import Plant, Pump
from analysis.readings.minute_grid import lasting
from analysis.readings.plant_minutes import MachineMinutes
from analysis.readings.readings import FloatArray, Record, hold_limit_ms, holds
from analysis.readings.two_levels import BoolArray, weighted_quantile
from analysis.readings.worked_once import once

_NO_MAINS_W, _WHOLE_LEAST_W = 0.5, 1.5
_STANDBY_MIN = 10
_OFFSET_W = 0.4
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


# running or at rest


MOST_REST_W = 3.0
"""A pump stopped by signal takes 0.5 to 3 W, an electronic one on its least curve 3 to 5 W (common
practice, no source)."""
LEAST_CURVE_W = 3.5
"""Between the two, where nothing else tells: a level below may be rest, one above is running."""
_LEAST_OF_PLATE = 0.9
"""A pump that runs takes no less of its plate's least, its rounding counted in."""
_RUNS_RATIO, _WHOLE_GAP_W = 1.3, 1.5
_EDGE = 1.03
"""A plug's gain, and the width of a bin."""
_REST_BAND_W, _ABOVE_BAND_W = 0.15, 0.45
_REST_SHARE, _GAP_SHARE = 0.005, 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class RunState:
    """What of a pump's power is running, and what rest, learned from the power itself.

    Attributes
    ----------
    above_w : float
        It runs while it takes more than this [W].
    doubt_w : tuple of float
        Least and greatest power that may part the two [W].
    rest_w, usual_w : float or None
        Usual power at rest and while running [W]; None where it was not seen so.
    is_told : bool
        Whether its power tells the two apart. Not so where all it was seen to take may be
        either, the standby of a pump that stood or the least curve of one that ran.
    """

    above_w: float
    doubt_w: tuple[float, float]
    rest_w: float | None = None
    usual_w: float | None = None
    is_told: bool = True


def run_state(power_w: FloatArray, length: FloatArray, pump: Pump | None = None) -> RunState:
    """Part running from rest by the levels a pump keeps to.

    Two levels are told apart by empty ground between them, of which the lower may be rest by its
    size. A pump that slows down passes through all powers; its rest is then a narrow level that
    stands out among them. Of a pump on one level alone the plate tells, or the level's size.

    Parameters
    ----------
    power_w, length : ndarray, shape (n,)
        Power [W], NaN unknown, and for how long it was so, in any unit.
    pump : Pump, optional
        Its plate and drive.

    Notes
    -----
    To be asked of one pump at a time: of a swapped one each has its own levels.
    """
    known = np.isfinite(power_w) & (length > 0)
    power_w, length = power_w[known], length[known]
    most_w = _most_rest_w(pump)
    if not len(power_w):
        return RunState(above_w=most_w, doubt_w=(_NO_MAINS_W, most_w), is_told=False)
    parted = _empty_ground(power_w, length, most_w) or _above_a_narrow_rest(power_w, length, most_w)
    if parted is None:
        return _on_one_level(power_w, length, pump)
    above_w = float(np.sqrt((parted[0] + _OFFSET_W) * (parted[1] + _OFFSET_W)) - _OFFSET_W)
    return _stated(power_w, length, above_w, doubt_w=parted, is_told=True)


def _most_rest_w(pump: Pump | None) -> float:
    """Most that a pump may take at rest [W]."""
    if pump is None or pump.rated_power_w is None or pump.drive != "electronic":
        return MOST_REST_W
    return min(MOST_REST_W, _LEAST_OF_PLATE * pump.rated_power_w[0])


def _on_one_level(power_w: FloatArray, length: FloatArray, pump: Pump | None) -> RunState:
    """State of a pump that was not seen both at rest and running."""
    most_w = _most_rest_w(pump)
    middle = weighted_quantile(power_w, length, 0.5)
    if middle > most_w:
        return _stated(power_w, length, _NO_MAINS_W, doubt_w=(0.0, most_w), is_told=True)
    surely_rests = middle <= _NO_MAINS_W or bool(pump and pump.rated_power_w)
    return _stated(power_w, length, most_w, doubt_w=(middle, most_w), is_told=surely_rests)


def _stated(
    power_w: FloatArray,
    length: FloatArray,
    above_w: float,
    *,
    doubt_w: tuple[float, float],
    is_told: bool,
) -> RunState:
    runs = power_w > above_w
    rest, usual = (
        weighted_quantile(power_w[part], length[part], 0.5) if part.any() else None
        for part in (~runs, runs)
    )
    return RunState(above_w=above_w, doubt_w=doubt_w, rest_w=rest, usual_w=usual, is_told=is_told)


def _empty_ground(
    power_w: FloatArray, length: FloatArray, most_w: float
) -> tuple[float, float] | None:
    """Ends of the highest stretch of power that is hardly ever taken, above what may be rest [W].

    Of several levels below it the lowest may be a plug without mains.
    """
    top_w = 2.0 * most_w + _OFFSET_W
    edges = np.linspace(np.log(_OFFSET_W) - 1e-9, np.log(top_w), _BINS + 1)
    scaled = np.minimum(np.log(np.maximum(power_w, 0.0) + _OFFSET_W), edges[-1] + 1.0)
    spent, _ = np.histogram(scaled, edges, weights=length)
    total = float(length.sum())
    empty = spent <= _RARE * total
    below = np.cumsum(spent)
    run = lasting(empty)
    ends = np.flatnonzero(empty & ~np.append(empty[1:], [False]))
    least_gap_w = _WHOLE_GAP_W if tells_whole_watts(power_w[:10_000]) else 0.0
    for end in ends[::-1]:
        low, high = (float(np.exp(edges[k]) - _OFFSET_W) for k in (end + 1 - run[end], end + 1))
        share = below[end] / total
        if end + 1 == _BINS:
            high = _least_above(power_w, low)
        is_wide = high + _OFFSET_W >= _RUNS_RATIO * (low + _OFFSET_W) and high - low >= least_gap_w
        if low <= _EDGE * most_w and is_wide and _LEVEL_SHARE < share < 1.0 - _LEVEL_SHARE:
            return max(low, 0.0), high
    return None


def _least_above(power_w: FloatArray, low_w: float) -> float:
    """Least power above a stretch that is hardly ever taken [W], single readings left out."""
    return float(np.quantile(power_w[power_w > low_w], 0.01)) if (power_w > low_w).any() else low_w


def _above_a_narrow_rest(
    power_w: FloatArray, length: FloatArray, most_w: float
) -> tuple[float, float] | None:
    """Ends of the ground just above a narrow level of rest, which stands out among all powers."""
    may_rest = power_w <= most_w
    if length[may_rest].sum() < _REST_SHARE * length.sum() or tells_whole_watts(power_w[:10_000]):
        return None
    if length[~may_rest].sum() < _LEVEL_SHARE * length.sum():
        return None
    rest = weighted_quantile(power_w[may_rest], length[may_rest], 0.5)
    low, high = rest + _REST_BAND_W, rest + _ABOVE_BAND_W
    at_rest = float(length[np.abs(power_w - rest) <= _REST_BAND_W].sum())
    just_above = float(length[(power_w > low) & (power_w < high)].sum())
    return (low, high) if just_above < _GAP_SHARE * at_rest else None


@once
def pump_state(plant: Plant, pump: Pump, record: Record, span: Span) -> RunState | None:
    """What parts running from rest of a pump over a span; None where its power is not known."""
    channel = plant.first(pump.id, "power")
    readings = record.get(channel.id) if channel else None
    if channel is None or readings is None:
        return None
    known = holds(readings, hold_limit_ms(readings, channel), span)
    if not len(known.value):
        return None
    return run_state(known.value, (known.end_ms - known.start_ms).astype(np.float64), pump)
