"""What a pump did each day: one row a local day, from which slow faults are judged."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from analysis.base.estimate import plain
from analysis.base.time import HOUR_MS
from analysis.pump.hours import Hours, normalised_w
from analysis.pump.loop_transit import SETTLED_MIN, flow_share, lingers_of
from analysis.pump.minutes import Minutes
from analysis.pump.warmed_at_rest import ghost_occasions
from analysis.readings.readings import FloatArray, IntArray
from analysis.readings.two_levels import BoolArray

_WHOLE_H = 16


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Days:
    """One row a local day, arrays of shape (days,); NaN where it cannot be told.

    Attributes
    ----------
    start_ms, end_ms : ndarray of int64
        The local day [ms].
    covered_h, run_h : ndarray
        Hours with known power, and of running.
    starts : ndarray
        Starts seen.
    level_w, low_w, high_w : ndarray
        Mean of settled running power, normalised to 230 V, between its tenth and ninetieth
        percentile, and those [W].
    floor_w, ceiling_w : ndarray
        Second and ninety-eighth percentile of it [W].
    start_w, peak_w : ndarray
        Median of the first ten minutes of runs, and the highest of the first three [W].
    coast_min : ndarray
        Longest fall from running to rest [minutes].
    factor : ndarray
        Mean power factor while running.
    voltage_v : ndarray
        Median mains voltage.
    restless : ndarray
        Median over the day's hours of `Hours.restless`.
    stir : ndarray
        Hours of the day with restlessness of at least 2 % of the level.
    pulses, steps : ndarray
        Runs of at most two minutes; sudden lasting changes of settled power.
    spread_k : ndarray
        Median difference of flow and return, settled and warm [K].
    share : ndarray
        Median of that difference over the flow's excess above the room: it rises as less
        water flows.
    lingers : ndarray
        Transfer units of the loop, ``-ln(1 - share)``, inverse to the flow of water, at the day's
        tenth of the time with the most flow, while heat comes: then valves are widest open.
    flow_k : ndarray
        Median excess of the flow over its surroundings, settled and warm [K].
    warm_h, inverted_h : ndarray
        Hours settled with warm pipes, and of those with the return warmer than the flow by 1.5 K.
    forward, backward : ndarray
        Starts at which the flow, or the return, warmed first.
    idle_k : ndarray
        Ninetieth percentile of the warmer pipe's excess over its surroundings, after an
        hour of rest [K].
    occasions, ghosts : ndarray
        Firings while the pump rested, and those at which its pipe warmed none the less.
    idle_days : ndarray
        Days since the pump was last seen running, over known time.
    outdoor_c, around_c : ndarray
        Daily means [Cel].
    pressure_bar : ndarray
        Median pressure of the system.
    """

    start_ms: IntArray
    end_ms: IntArray
    covered_h: FloatArray
    run_h: FloatArray
    starts: FloatArray
    level_w: FloatArray
    low_w: FloatArray
    high_w: FloatArray
    floor_w: FloatArray
    ceiling_w: FloatArray
    start_w: FloatArray
    peak_w: FloatArray
    coast_min: FloatArray
    factor: FloatArray
    voltage_v: FloatArray
    restless: FloatArray
    stir: FloatArray
    pulses: FloatArray
    steps: FloatArray
    spread_k: FloatArray
    share: FloatArray
    lingers: FloatArray
    flow_k: FloatArray
    warm_h: FloatArray
    inverted_h: FloatArray
    forward: FloatArray
    backward: FloatArray
    idle_k: FloatArray
    occasions: FloatArray
    ghosts: FloatArray
    idle_days: FloatArray
    outdoor_c: FloatArray
    around_c: FloatArray
    pressure_bar: FloatArray

    def __len__(self) -> int:
        return len(self.start_ms)

    @property
    def is_whole(self) -> BoolArray:
        """Whether a row holds most of its day, not the hours to a swap or to now."""
        return np.asarray(self.end_ms - self.start_ms >= _WHOLE_H * HOUR_MS)

    def document(self) -> dict[str, Any]:
        """Return the JSON form: one list a column, times in ms."""
        return {
            name: [plain(float(v), 5) for v in getattr(self, name)]
            for name in self.__slots__
            if name not in ("start_ms", "end_ms")
        } | {"start_ms": [int(v) for v in self.start_ms]}


def days_of(minutes: Minutes, hours: Hours, exponent: float) -> Days:
    """One row a local day."""
    normal = normalised_w(minutes, exponent)
    marks = _Marks.of(minutes, normal)
    rows = [
        _row(minutes, marks, normal, slice(a, b)) | _of_hours(hours, a, b)
        for a, b in pairwise(minutes.day_edge.tolist())
    ]
    edge_ms = np.append(minutes.time_ms, minutes.time_ms[-1:] + 60_000)[minutes.day_edge]
    columns = {name: np.array([row[name] for row in rows], np.float64) for name in rows[0]}
    columns["idle_days"] = _idle_days(columns["run_h"], columns["covered_h"])
    return Days(start_ms=edge_ms[:-1], end_ms=edge_ms[1:], **columns)


class _Marks(NamedTuple):
    """Places in the grid where something happened, and which minutes are settled and warm."""

    starts: IntArray
    stops: IntArray
    settled: FloatArray
    warm: FloatArray
    share: FloatArray
    lingers: FloatArray
    starts_first: FloatArray
    ghosts: IntArray
    occasions: IntArray

    @classmethod
    def of(cls, minutes: Minutes, normal: FloatArray) -> "_Marks":
        on = minutes.on
        known = np.isfinite(minutes.power_w)
        turned = on[1:] & ~on[:-1] & known[:-1]
        starts = np.flatnonzero(turned) + 1
        stops = np.flatnonzero(~on[1:] & on[:-1] & known[1:]) + 1
        settled = np.where(on & (minutes.run_min >= SETTLED_MIN), normal, np.nan)
        share = flow_share(minutes)
        spread = np.where(np.isfinite(share), minutes.flow_c - minutes.return_c, np.nan)
        occasions, ghosts = ghost_occasions(minutes)
        return cls(
            starts,
            stops,
            settled,
            spread,
            share,
            lingers_of(minutes),
            np.array([_warmed_first(minutes, int(k)) for k in starts]),
            ghosts,
            occasions,
        )


def _warmed_first(minutes: Minutes, start: int) -> float:
    """Which pipe warmed first after a start: 1 the flow, -1 the return, 0 not to be told."""
    if start < 40 or minutes.on[start - 40 : start].any():
        return 0.0
    part = slice(start, start + 40)
    on = minutes.on[part]
    if len(on) < 15 or on[:15].sum() < 12:
        return 0.0
    firsts = []
    for pipe in (minutes.flow_c, minutes.return_c):
        before = pipe[max(start - 6, 0) : start]
        if not np.isfinite(before).any():
            return 0.0
        rise = np.flatnonzero(pipe[part] - np.nanmedian(before) > 3.0)
        firsts.append(int(rise[0]) if len(rise) else 99)
    apart = firsts[1] - firsts[0]
    return float(np.sign(apart)) if abs(apart) >= 2 else 0.0


def _row(minutes: Minutes, marks: _Marks, normal: FloatArray, day: slice) -> dict[str, float]:
    """Figures of one day."""
    on = minutes.on[day]
    settled = marks.settled[day]
    low, tenth, ninetieth, high = quantiles(settled, (0.02, 0.1, 0.9, 0.98), 30)
    first = on & (minutes.run_min[day] < 10)
    peak = on & (minutes.run_min[day] < 3)
    (share,) = quantiles(marks.share[day], (0.5,), 60)
    (lingers,) = quantiles(marks.lingers[day], (0.1,), 40)
    warm = marks.warm[day]
    inside = _inside(marks.starts, day)
    order = marks.starts_first[inside]
    with np.errstate(invalid="ignore"):
        inverted = float((warm < -1.5).sum()) / 60.0
    return {
        "covered_h": float(np.isfinite(minutes.power_w[day]).sum()) / 60.0,
        "run_h": float(on.sum()) / 60.0,
        "starts": float(len(order)),
        "level_w": _middle_mean(settled, tenth, ninetieth),
        "low_w": tenth,
        "high_w": ninetieth,
        "floor_w": low,
        "ceiling_w": high,
        "start_w": quantiles(normal[day][first], (0.5,), 5)[0],
        "peak_w": quantiles(normal[day][peak], (1.0,), 1)[0],
        "coast_min": _coast(minutes, marks, day),
        "factor": _mean(minutes.factor[day][on & (minutes.factor[day] > 0.05)], 20),
        "voltage_v": quantiles(minutes.voltage_v[day], (0.5,), 20)[0],
        "pulses": float(_pulses(minutes, marks, day)),
        "spread_k": quantiles(warm, (0.5,), 60)[0],
        "share": share,
        "lingers": lingers,
        "flow_k": quantiles(_above(minutes, day)[np.isfinite(warm)], (0.5,), 30)[0],
        "warm_h": float(np.isfinite(warm).sum()) / 60.0,
        "inverted_h": inverted,
        "forward": float((order > 0).sum()),
        "backward": float((order < 0).sum()),
        "idle_k": _idle_excess(minutes, day),
        "occasions": float(_inside(marks.occasions, day).sum()),
        "ghosts": float(_inside(marks.ghosts, day).sum()),
        "outdoor_c": _mean(minutes.outdoor_c[day], 60),
        "around_c": _mean(minutes.around_c[day], 60),
        "pressure_bar": quantiles(minutes.pressure_bar[day], (0.5,), 60)[0],
    }


def quantiles(value: FloatArray, levels: tuple[float, ...], least: int) -> list[float]:
    """Quantiles of the known values, NaN where fewer than `least` are known."""
    known = value[np.isfinite(value)]
    if len(known) < least:
        return [float("nan")] * len(levels)
    return sorted_quantiles(np.sort(known), levels)


def sorted_quantiles(ordered: FloatArray, levels: tuple[float, ...]) -> list[float]:
    """Quantiles of sorted values, linear between them; many times faster than the general one."""
    found = []
    for level in levels:
        at = level * (len(ordered) - 1)
        low = int(at)
        high = min(low + 1, len(ordered) - 1)
        found.append(float(ordered[low] + (at - low) * (ordered[high] - ordered[low])))
    return found


def _middle_mean(value: FloatArray, low: float, high: float) -> float:
    """Mean between two quantiles: finer than a median where a plug shows whole watts."""
    inside = value[(value >= low) & (value <= high)]
    return float(inside.mean()) if len(inside) else float("nan")


def _mean(value: FloatArray, least: int) -> float:
    known = value[np.isfinite(value)]
    return float(known.mean()) if len(known) >= least else float("nan")


def _above(minutes: Minutes, day: slice) -> FloatArray:
    """Flow's excess over its surroundings, over a usual cellar where those are not known [K]."""
    around = minutes.around_c[day]
    return np.asarray(minutes.flow_c[day] - np.where(np.isfinite(around), around, 15.0))


def _inside(places: IntArray, day: slice) -> Any:
    return (places >= day.start) & (places < day.stop)


def _coast(minutes: Minutes, marks: _Marks, day: slice) -> float:
    """Longest time the power took to fall below a third after a stop began [min]."""
    stops = marks.stops[_inside(marks.stops, day)]
    if not len(stops):
        return float("nan")
    return float(max(_fall(minutes.power_w, int(k)) for k in stops))


def _fall(power_w: FloatArray, stop: int) -> int:
    before = power_w[max(stop - 10, 0) : stop]
    if not np.isfinite(before).any():
        return 0
    level = 0.8 * float(np.nanmax(before))
    below = np.flatnonzero(before[::-1] >= level)
    return int(below[0]) if len(below) else 0


def _pulses(minutes: Minutes, marks: _Marks, day: slice) -> int:
    """Runs of at most two minutes that ended within the day."""
    stops = marks.stops[_inside(marks.stops, day)]
    return int((minutes.run_min[stops - 1] < 2).sum()) if len(stops) else 0


def _idle_excess(minutes: Minutes, day: slice) -> float:
    """Ninetieth percentile of the warmer pipe's excess over its surroundings at rest [K]."""
    rests = ~minutes.on[day] & np.isfinite(minutes.power_w[day]) & (minutes.run_min[day] >= 60)
    hottest = np.fmax(minutes.flow_c[day], minutes.return_c[day])
    return quantiles((hottest - minutes.around_c[day])[rests], (0.9,), 60)[0]


def _of_hours(hours: Hours, a: int, b: int) -> dict[str, float]:
    """Figures of one day that come from its hours."""
    part = slice(a // 60, max(b // 60, a // 60))
    restless, level = hours.restless[part], hours.level_w[part]
    with np.errstate(invalid="ignore"):
        stir = float((restless > 0.02).sum())
        jumps = np.abs(np.diff(level)) > 0.03 * level[1:] if len(level) > 1 else np.zeros(0)
    return {
        "restless": quantiles(restless, (0.5,), 1)[0],
        "stir": stir,
        "steps": float(jumps.sum()),
    }


def _idle_days(run_h: FloatArray, covered_h: FloatArray) -> FloatArray:
    """Days at rest up to each day's end; days not heard do not count as rest."""
    found = np.zeros(len(run_h))
    since = 0.0
    for k, (run, covered) in enumerate(zip(run_h, covered_h, strict=True)):
        since = 0.0 if run > 0 else since + min(covered / 24.0, 1.0)
        found[k] = since
    return found
