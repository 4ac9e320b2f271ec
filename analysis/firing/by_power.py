"""Firings from the boiler's electric power: its levels, their dwell and their order.

The lowest level that is often seen is standby. A level that lies before and after firings, or
follows them for a constant time, is a pump that shares the plug; on an oil boiler one that only
precedes the motor is the preheater, one that only opens a firing is purge and spark. All that is
above is the burner, from its lowest to its highest flame.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from analysis.base.time import SECOND_MS, Span
from analysis.firing.firings import Firings, LevelName, PowerLevel
from analysis.firing.joined import bridged
from analysis.plant.plant import Boiler, Channel
from analysis.readings.power_bands import Band, Stays, bands_of, stays_of
from analysis.readings.readings import (
    FloatArray,
    Holds,
    IntArray,
    Readings,
    covered_hours,
    hold_limit_ms,
    holds,
    usual_step_ms,
)
from analysis.readings.two_levels import BoolArray, Runs, runs_above, two_levels

_LEAST_STEP_W = 4.0
"""A burner adds at least its valve's power, 5 to 10 W on old gas boilers (from memory)."""
_STANDBY_SHARE = 0.005


def firings_from_power(
    boiler: Boiler, readings: Readings, *, channel: Channel, span: Span
) -> Firings | None:
    """Firings as runs of electric power in the burner's levels; None where there is but one level.

    Parameters
    ----------
    boiler : Boiler
        Its fuel tells whether there can be a preheater.
    readings : Readings
        Electric power [W].
    channel : Channel
        Where it was measured.
    span : Span
        Time to look at.
    """
    hold_ms = hold_limit_ms(readings, channel)
    known = holds(readings, hold_ms, span)
    found = _threshold(known, boiler)
    if found is None:
        return None
    known = _without_glitches(known, found.on, rest=found.rest)
    runs = bridged(runs_above(known, found.on, found.off), hold_ms)
    step_ms = usual_step_ms(readings)
    if channel.reports == "change":
        runs = _told_late(runs, readings)
    else:
        runs = _between_samples(_without_post_purge(runs, known, step_ms), readings)
    note = "" if channel.reports == "change" else _note(runs, step_ms)
    return Firings(
        "power",
        channel.id,
        runs,
        covered_hours(known),
        step_ms / SECOND_MS,
        found.levels,
        note=note,
    )


_BRIEF_STEPS, _BRIEF_SHARE = 1.5, 0.1


def _note(runs: Runs, step_ms: int) -> str:
    """What readings as far apart as firings are long leave open."""
    on, off = runs.end_ms - runs.start_ms, runs.rest_until_ms - runs.end_ms
    limit = _BRIEF_STEPS * step_ms
    brief = float(np.mean(on < limit) + np.mean((off > 0) & (off < limit))) if len(on) else 0.0
    if brief < _BRIEF_SHARE:
        return ""
    return (
        f"{min(brief, 1.0):.0%} of firings and rests are hardly longer than the "
        f"{step_ms / SECOND_MS:.0f} s between readings: some go unseen, the count is a lower bound"
    )


def firing_threshold_w(
    boiler: Boiler, readings: Readings, *, channel: Channel, span: Span
) -> float | None:
    """Electric power above which the boiler fires [W]; None where only one level is seen.

    Parameters as in `firings_from_power`.
    """
    found = _threshold(holds(readings, hold_limit_ms(readings, channel), span), boiler)
    return found.on if found else None


class _Threshold(NamedTuple):
    on: float
    off: float
    rest: float
    levels: tuple[PowerLevel, ...]


def _threshold(known: Holds, boiler: Boiler) -> _Threshold | None:
    bands = bands_of(known)
    stays = stays_of(known, bands)
    rest = _rest_of(bands, stays)
    if len(bands) - rest < 2:
        return _two_levels(known)
    names = name_bands(stays, bands, rest=rest, has_preheater=boiler.fuel == "oil")
    burning = [k for k, name in enumerate(names) if name == "firing"]
    if not burning:
        return _two_levels(known)
    below, above = bands[burning[0] - 1].high, bands[burning[0]].low
    levels = tuple(
        PowerLevel(n, b.middle, b.low, b.high, b.share) for n, b in zip(names, bands, strict=True)
    )
    gap = above - below
    return _Threshold(below + 0.6 * gap, below + 0.4 * gap, bands[rest].middle, levels)


_RETURNS = 0.1


def _rest_of(bands: list[Band], stays: Stays) -> int:
    """Number of the level a boiler goes back to between its runs.

    A level below it that is held long but seldom returned to is no rest: the
    mains were off, for hours or weeks.
    """
    often = np.bincount(stays.band, minlength=len(bands))
    for k, band in enumerate(bands):
        if band.share >= _STANDBY_SHARE and often[k] >= _RETURNS * often[k:].max():
            return k
    return 0


def _two_levels(known: Holds) -> _Threshold | None:
    """Fall back on two levels where the readings leave no empty ground."""
    levels = two_levels(known, _LEAST_STEP_W)
    if levels is None:
        return None
    return _Threshold(levels.on, levels.off, levels.low, ())


def name_bands(
    stays: Stays, bands: list[Band], *, rest: int, has_preheater: bool
) -> list[LevelName]:
    """Name the levels by their dwell and order.

    Parameters
    ----------
    stays : Stays
        Stretches within each band.
    bands : list of Band
        From the lowest to the highest.
    rest : int
        Number of the standby level.
    has_preheater : bool
        Whether the boiler may have one.
    """
    names: list[LevelName] = [
        "off" if k < rest else "standby" if k == rest else "firing" for k in range(len(bands))
    ]
    orders = [_order(stays, k, rest) for k in range(len(bands))]
    top = orders[-1]
    if len(bands) - rest > 2 and (top.is_seldom or (has_preheater and top.is_opening)):
        names[-1] = "purge"
    for k in range(rest + 1, len(bands) - 1):
        if names[k + 1] == "purge":
            break
        if not bands[k].is_narrow and bands[k].middle - bands[rest].middle > _LEAST_STEP_W:
            break
        if has_preheater and orders[k].precedes:
            names[k] = "preheat"
        elif orders[k].is_pump or bands[k].middle - bands[rest].middle <= _LEAST_STEP_W:
            names[k] = "pump"
        else:
            break
    return names


_ONE_READING_S = 90.0
"""A reading of a plug asked every minute stands for a minute and its jitter."""


class _Order(NamedTuple):
    """Where a level lies in the runs above standby that go higher.

    `before` and `after` are shares of those runs, `reached` of all; `inside_share` of its time.
    """

    reached: float
    before: float
    after: float
    inside_share: float
    after_s: float
    after_spread: float
    higher_ratio: float
    mean_s: float
    active_share: float

    @property
    def is_pump(self) -> bool:
        both = self.before >= 0.5 and self.after >= 0.5 and self.inside_share < 0.2
        overruns = (
            self.after >= 0.5
            and self.after_s >= 45.0
            and self.after_spread <= 0.15
            and self.higher_ratio >= 0.2
        )
        return both or overruns

    @property
    def precedes(self) -> bool:
        return self.before >= 0.5 and self.after < 0.2

    @property
    def is_seldom(self) -> bool:
        """A spark or a fan seen now and then by a slow plug; each firing would reach its level."""
        return self.mean_s <= _ONE_READING_S and self.reached < 0.2

    @property
    def is_opening(self) -> bool:
        return self.mean_s <= 60.0 and self.active_share < 0.25


def _order(stays: Stays, k: int, rest: int) -> _Order:
    active = stays.band > rest
    opens = active & (~np.append([False], active[:-1]) | stays.after_gap)
    run = np.cumsum(opens) - 1
    length = (stays.end_ms - stays.start_ms) / SECOND_MS * active
    count = int(run[-1]) + 1 if len(run) else 0
    higher, own = active & (stays.band > k), active & (stays.band == k)
    place = np.arange(len(run))
    first = np.full(max(count, 1), len(run))
    last = np.full(max(count, 1), -1)
    np.minimum.at(first, run[higher], place[higher])
    np.maximum.at(last, run[higher], place[higher])
    goes_up = last >= 0
    at = np.maximum(run, 0)
    before = _per_run(own & goes_up[at] & (place < first[at]), run, length, count)
    after = _per_run(own & goes_up[at] & (place > last[at]), run, length, count)
    own_s = float(length[own].sum())
    inside = own & goes_up[at] & (place > first[at]) & (place < last[at])
    runs = max(int(goes_up.sum()), 1)
    tail = after[after > 0]
    middle = float(np.median(tail)) if len(tail) else 0.0
    spread = float(np.subtract(*np.quantile(tail, (0.75, 0.25)))) if len(tail) else np.inf
    return _Order(
        reached=len(np.unique(run[own])) / max(count, 1),
        before=float((before > 0).sum()) / runs,
        after=float((after > 0).sum()) / runs,
        inside_share=float(length[inside].sum()) / max(own_s, 1e-9),
        after_s=middle,
        after_spread=spread / max(middle, 1e-9),
        higher_ratio=float(length[higher].sum()) / max(float(after.sum()), 1e-9),
        mean_s=float(length[own].mean()) if own.any() else 0.0,
        active_share=own_s / max(float(length.sum()), 1e-9),
    )


def _per_run(chosen: BoolArray, run: IntArray, length_s: FloatArray, count: int) -> FloatArray:
    """Seconds of the chosen stays in each run."""
    spent = np.bincount(run[chosen], length_s[chosen], max(count, 1))
    return spent.astype(np.float64)


def _without_glitches(known: Holds, on: float, *, rest: float) -> Holds:
    """Leave out single zeros amid firing, which plugs report now and then.

    Common practice, no source: a plug's lone 0 W between two firing values is
    its own fault where the boiler at rest draws more than 0 W.
    """
    value = known.value
    if len(value) < 3 or rest < 0.5:
        return known
    zero = np.flatnonzero(value[1:-1] == 0) + 1
    lone = zero[(value[zero - 1] >= on) & (value[zero + 1] >= on)]
    lone = lone[known.end_ms[lone] - known.start_ms[lone] <= 120 * SECOND_MS]
    if not len(lone):
        return known
    filled = value.copy()
    filled[lone] = value[lone - 1]
    return known._replace(value=filled)


_LONGEST_POST_MS = 90 * SECOND_MS
_FINE_STEP_MS = 15 * SECOND_MS


def _without_post_purge(runs: Runs, known: Holds, step_ms: int) -> Runs:
    """End firings where the fan's last, constant level begins, where that can be seen.

    After the flame a fan runs on at one speed for some seconds; the power then
    is the same after every firing, which that of the flame before it is not.
    """
    if step_ms > _FINE_STEP_MS or len(runs.end_ms) < 10:
        return runs
    last = np.searchsorted(known.end_ms, runs.end_ms)
    closing = known.value[last]
    level = float(np.median(closing))
    width = 0.03 * level + 0.5
    if np.mean(np.abs(closing - level) <= width) < 0.7:
        return runs
    end = runs.end_ms.copy()
    count = max(int(_LONGEST_POST_MS // max(step_ms, 1)), 1)
    tail = np.ones(len(last), bool)
    for back in range(count):
        at = np.maximum(last - back, 0)
        tail &= (np.abs(known.value[at] - level) <= width) & (known.start_ms[at] > runs.start_ms)
        end[tail] = known.start_ms[at[tail]]
    cut = runs.end_ms - end
    is_post = (cut < _LONGEST_POST_MS - step_ms) & (cut > 0)
    if is_post.mean() < 0.6:
        return runs
    usual = float(np.median(cut[is_post]))
    is_post &= np.abs(cut - usual) <= 2 * step_ms
    return runs._replace(end_ms=np.where(is_post, end, runs.end_ms))


def _between_samples(runs: Runs, readings: Readings) -> Runs:
    """Move edges to the middle between the readings that enclose them."""
    return _earlier(runs, lambda time_ms: _half_step(readings, time_ms))


_OFTEN_MS, _RARELY_MS = 8 * SECOND_MS, 60 * SECOND_MS


def _told_late(runs: Runs, readings: Readings) -> Runs:
    """Move the edges of a plug that tells changes only every so often by half of that.

    Such a plug looks at its power every ten or thirty seconds and tells a change then: a firing
    hardly longer would be told when it is over.
    """
    apart = np.diff(readings.time_ms)
    closest = float(np.quantile(apart, 0.01)) if len(apart) else 0.0
    if not _OFTEN_MS <= closest <= _RARELY_MS:
        return runs
    late = int(closest // 2)
    moved = _earlier(runs, lambda time_ms: np.full(len(time_ms), late))
    return moved._replace(start_ms=np.minimum(moved.start_ms, moved.end_ms))


def _earlier(runs: Runs, by: Callable[[IntArray], IntArray]) -> Runs:
    """Move the edges that were seen to earlier moments, each by what its own moment asks for."""
    end = runs.end_ms - by(runs.end_ms) * runs.closes
    rest = runs.rest_until_ms
    return runs._replace(
        start_ms=runs.start_ms - by(runs.start_ms) * runs.opens,
        end_ms=end,
        rest_until_ms=np.where(rest > runs.end_ms, rest - by(rest), end),
    )


def _half_step(readings: Readings, time_ms: IntArray) -> IntArray:
    """Half the distance to the reading before, where one was taken at that moment."""
    at = np.clip(np.searchsorted(readings.time_ms, time_ms), 1, len(readings) - 1)
    apart = readings.time_ms[at] - readings.time_ms[at - 1]
    step = np.minimum(apart, usual_step_ms(readings)) // 2
    return np.where(readings.time_ms[at] == time_ms, step, 0)
