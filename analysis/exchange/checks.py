"""Judges of a fitting: each looks for one mistake in the days before and after a swap.

Tell-tales are common practice without a source; the shares and ratios were set on rehearsed
swaps and are counted by ``tests/bench/bench_commissioning.py``.
"""

from typing import Literal, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from analysis.base.time import DAY_MS, MINUTE_MS, Span, from_ms
from analysis.exchange.pump_course import (
    Course,
    Levels,
    Reduced,
    levels,
    open_loop,
    quantile,
    reductions,
    restlessness,
    spread_k,
    starts,
)
from analysis.exchange.windows import SETTLED_MS, Fitting
from analysis.plant.finding import Evidence

State = Literal["found", "sound", "unknown"]


class Judged(NamedTuple):
    """What a judge says; `needs` where it cannot say."""

    state: State
    confidence: float = 0.0
    evidence: tuple[Evidence, ...] = ()
    needs: str = ""


_LEAST_STARTS = 3
_MOSTLY = 0.7
_FLIPPED_K = 1.0


def judge_direction(seen: Fitting) -> Judged:
    """Order of warming and sign of the spread, against those before the swap."""
    if seen.flow_id is None or seen.return_id is None:
        return Judged("unknown", needs="temperatures of the flow and the return pipe")
    now, then = quantile(spread_k(seen.settled), 0.5), quantile(spread_k(seen.before), 0.5)
    order, old = starts(seen.settled), starts(seen.before)
    if now is None:
        return Judged("unknown", needs="an hour with the loop warm and the pump running")
    flipped = now < -_FLIPPED_K and (then is None or then > _FLIPPED_K)
    many = order.flow_first + order.return_first
    inverted = many >= _LEAST_STARTS and order.return_first >= _MOSTLY * many
    usual = old.flow_first >= old.return_first
    evidence = (
        Evidence(seen.flow_id, "flow less return, median", now, _was(then), "K"),
        Evidence(
            seen.return_id,
            f"return warmed first in {order.return_first} of {many} starts",
            float(order.return_first),
            f"before: {old.return_first} of {old.flow_first + old.return_first}",
            "1",
        ),
    )
    if flipped or (inverted and usual and now < 0):
        return Judged("found", 0.95 if flipped and inverted else 0.8, evidence)
    return Judged("sound", 0.9, evidence)


def _was(value: float | None) -> str:
    return "not known before" if value is None else f"about {value:.3g} as before"


_UNREST = 0.1
_UNREST_SHARE = 0.18
_UNREST_LATER = 0.04


def judge_air(seen: Fitting) -> Judged:
    """Power restless within minutes on the first day, and still so over three."""
    if seen.power_id is None or seen.interval_ms > 6 * MINUTE_MS or not seen.interval_ms:
        return Judged("unknown", needs="power of the pump every five minutes or oftener")
    first = _unrest(seen, Span(seen.time_ms + SETTLED_MS, seen.time_ms + DAY_MS))
    days = _unrest(seen, Span(seen.time_ms + SETTLED_MS, seen.time_ms + 3 * DAY_MS))
    if first is None or days is None:
        return Judged("unknown", needs="some hours with the pump running")
    evidence = (
        Evidence(
            seen.power_id,
            "time with power restless by more than a tenth, first day",
            100 * first,
            f"at most {100 * _UNREST_SHARE:.0f}",
            "%",
        ),
        Evidence(seen.power_id, "the same over the first three days", 100 * days, "", "%"),
    )
    if first >= _UNREST_SHARE and days >= _UNREST_LATER:
        return Judged("found", 0.6 + 0.35 * min(first, 1.0), evidence)
    return Judged("sound", 0.9, evidence)


def _unrest(seen: Fitting, span: Span) -> float | None:
    """Share of the running time with restless power."""
    found = restlessness(seen.after.part(span), seen.step_w, seen.interval_ms)
    known = found[np.isfinite(found)]
    return float(np.mean(known > _UNREST)) if len(known) >= 6 else None


_HELD = 0.96
_SURELY_HELD = 0.65
"""Below it no low setting reaches."""
_USUAL_SPREAD_K = 8.0
_USUAL_MOST_W = 25.0
"""The greatest power of a pump of the four-metre class, where its plate is not known."""
UNSURE = 0.65
"""Confidence where a low setting would look alike."""
_ELECTRONICS_W = 1.8
"""What an electronic pump takes without moving water; rule of thumb, no source."""


def judge_held_back(seen: Fitting) -> Judged:
    """Less water goes round than the new pump's power would move through an open loop.

    The power given to the water is that of its amount cubed times the loop's
    resistance; so through an open loop the water goes with the cube root
    of the power. What falls short of it means more resistance, whatever the setting.
    """
    now, then, share = open_loop(seen.settled), open_loop(seen.before), _water_power(seen)
    spread, was = (quantile(spread_k(course), 0.5) for course in (seen.settled, seen.before))
    if now is None or then is None or share is None or spread is None or was is None:
        needs = "power, flow and return temperature before and after the swap, with heat"
        return Judged("unknown", needs=needs)
    # The old pump is one measure of the loop, the spread of its water is another: where it came
    # back hardly cooler, that pump moved more than was asked for, and the new one rightly less.
    water = now.water / then.water * (_USUAL_SPREAD_K / max(was, 1.0)) ** 0.5
    # Radiator valves that throttle at most hours rule the loop, and no other valve does.
    moved = water * now.throttled / share ** (1.0 / 3.0)
    flow_id = seen.flow_id or ""
    what = "water of the loop as if open, against what the pump's power would move"
    evidence = (
        Evidence(flow_id, what, moved, f"above {_HELD:g}", "1"),
        Evidence(flow_id, "a day's best hour over the usual hour", now.throttled, "", "1"),
        Evidence(flow_id, "flow less return, median", spread, _was(was), "K"),
    )
    if moved < _HELD:
        return Judged("found", 0.9 if moved < _SURELY_HELD else UNSURE, evidence)
    return Judged("sound", 0.8, evidence)


def _water_ratio(seen: Fitting) -> float | None:
    """Water index after the swap over that before, while the loop is open."""
    now, then = open_loop(seen.settled), open_loop(seen.before)
    return now.water / then.water if now and then else None


def _water_power(seen: Fitting) -> float | None:
    """Running power of the new pump as a share of its greatest, both less its electronics."""
    now, most_w = levels(seen.settled), seen.most_w or _USUAL_MOST_W
    if now is None:
        return None
    return max(now.middle_w - _ELECTRONICS_W, 0.3) / max(most_w - _ELECTRONICS_W, 1.0)


_STRONG = 0.63
"""At its highest speed a pump falls by a third at most from all valves open to all shut (domain
notes, calculated); a plate may be wrong by a twentieth. A held pressure stays lower."""
_LOWEST, _WEAK = 0.125, 0.205
"""Between these lies the lowest speed of rehearsed pumps; a held pressure's floor is below."""
_STEADY = 0.15
_LEAST_WARM_H = 12


def _level(seen: Fitting) -> tuple[Levels, float] | Judged:
    """Running levels and the new pump's greatest power, or what is missing."""
    found = levels(seen.settled)
    if seen.most_w is None:
        return Judged("unknown", needs="the new pump's rated power, in the swap or its record")
    if found is None or seen.power_id is None:
        return Judged("unknown", needs="three hours with the pump running")
    return found, seen.most_w


def judge_strong(seen: Fitting) -> Judged:
    """Power near the top of the plate's range, where only the highest speed takes it."""
    level = _level(seen)
    if isinstance(level, Judged):
        return level
    share = level[0].high_w / level[1]
    evidence = (
        _share(seen, "upper fifth of the running power", share, f"below {100 * _STRONG:.0f}"),
    )
    return Judged("found" if share >= _STRONG else "sound", 0.85, evidence)


def judge_weak(seen: Fitting) -> Judged:
    """Power at the lowest fixed speed all the time: little water where much is asked for.

    A pump at a fixed speed hardly changes its power; one that holds a pressure
    follows the valves, and takes little because little is asked for. So a steady
    least tells only while the loop carries heat: in summer every held pressure shows it.
    """
    level = _level(seen)
    if isinstance(level, Judged):
        return level
    if np.isfinite(spread_k(seen.settled)).sum() < _LEAST_WARM_H:
        return Judged("unknown", needs="flow and return temperature over half a day with heat")
    (low_w, middle_w, high_w, _), most_w = level
    limit = _WEAK + 0.5 * seen.step_w / most_w
    is_steady = high_w - low_w <= max(_STEADY * middle_w, seen.step_w)
    what = "upper fifth of the running power"
    told = _share(seen, what, high_w / most_w, f"above {100 * limit:.0f}")
    water = Evidence(seen.flow_id or "", "water index against before", _water_ratio(seen), "", "1")
    is_speed = middle_w + 0.5 * seen.step_w >= _LOWEST * most_w
    is_weak = is_steady and is_speed and high_w / most_w <= limit
    return Judged("found" if is_weak else "sound", 0.75, (told, water))


def _share(seen: Fitting, what: str, share: float, expected: str) -> Evidence:
    words = f"{what}, of the plate's greatest"
    return Evidence(seen.power_id or "", words, 100 * share, f"{expected} %", "%")


_DAY_H = (8, 21)
_MOST_BY_DAY_H = 0.3
"""Two hours in a week: one that suits its boiler never engages by day."""
_LEAST_NIGHTS = 4


def judge_night(seen: Fitting, *, night_reduction: bool | None) -> Judged:
    """Hours at the least curve by day; or none at all, in a plant that never sets its flow back."""
    if night_reduction is False:
        return Judged("sound", 1.0)
    if seen.power_id is None or seen.flow_id is None or seen.interval_ms > 6 * MINUTE_MS:
        return Judged("unknown", needs="power every five minutes, and the flow pipe's temperature")
    found = reductions(seen.settled, seen.most_w, seen.step_w)
    days = max(len(seen.settled) / 1440.0, 1.0)
    by_day = sum(_day_hours(one, seen.timezone) for one in found) / days
    evidence = (
        Evidence(
            seen.power_id,
            f"hours a day at the least curve between {_DAY_H[0]} and {_DAY_H[1]} o'clock",
            by_day,
            f"below {_MOST_BY_DAY_H}",
            "h",
        ),
    )
    if by_day >= _MOST_BY_DAY_H:
        return Judged("found", 0.9 if by_day > 1.5 else 0.7, evidence)
    nights = _days_with_heat(seen.settled)
    if night_reduction and not found and nights >= _LEAST_NIGHTS:
        what = "days with heat and no night reduction, though it is switched on"
        never = Evidence(seen.flow_id, what, float(nights), f"below {_LEAST_NIGHTS}", "1")
        return Judged("found", 0.7, (*evidence, never))
    return Judged("sound", 0.7, evidence)


def _day_hours(one: Reduced, timezone: str) -> float:
    """Hours of a stretch that lie in the day, by the plant's clock."""
    zone = ZoneInfo(timezone)
    moments = range(one.start_ms, one.end_ms, 10 * MINUTE_MS)
    hours = [from_ms(at).astimezone(zone).hour for at in moments]
    return sum(_DAY_H[0] <= hour < _DAY_H[1] for hour in hours) / 6.0


def _days_with_heat(course: Course) -> int:
    """Days in whose nights night reduction could have engaged."""
    block = course.blocks(60)
    return len(set(block.start_ms[np.isfinite(spread_k(course))] // DAY_MS))
