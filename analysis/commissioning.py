"""What the days after a swap say about the fitting: one row a mistake, judged by its own window.

The days before the swap are the comparison. Windows and tell-tales are common practice without a
source; the shares and ratios were set on rehearsed swaps, see DEVELOPERS.md.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from analysis.estimate import plain
from analysis.finding import Evidence
from analysis.fitting import (
    SETTLED_MS,
    Course,
    Fitting,
    Levels,
    Reduced,
    Swapped,
    fitting,
    fitting_with_heat,
    levels,
    quantile,
    reductions,
    restlessness,
    spread_k,
    starts,
    water_index,
)
from analysis.plant import Plant
from analysis.readings import Record
from analysis.swaps import KnownSwap
from analysis.timebase import DAY_MS, HOUR_MS, MINUTE_MS, Span, format_rfc3339, from_ms, to_ms

State = Literal["found", "sound", "unknown"]

STAGES: dict[str, int] = {"day": DAY_MS, "week": 7 * DAY_MS, "month": 30 * DAY_MS}
"""When a commissioning report is due after the swap [ms]."""
WITH_HEAT = "heat"
"""The stage after so many days with heat, see `fitting_with_heat`."""
STAGE_WORDS = {stage: f"a {stage}" for stage in STAGES} | {WITH_HEAT: "two weeks with heat"}


class Mistake(NamedTuple):
    """One mistake of fitting.

    `window_days` is the time within which it shows, `do` what to do about it.
    """

    name: str
    title: str
    window_days: float
    do: str
    who: str


MISTAKES: tuple[Mistake, ...] = (
    Mistake(
        "reversed",
        "The water goes the wrong way round",
        1.0,
        "Compare the arrow on the pump's body with the photo of the old one; the pump must be "
        "turned round. Isolate it, prove it dead and let it cool first.",
        "heating firm, or an owner who may isolate and drain the loop",
    ),
    Mistake(
        "air",
        "Air in the pump",
        3.0,
        "Vent the loop's high points and run the pump's venting function; look at the pressure. "
        "What comes from a vent can be scalding water and steam.",
        "owner",
    ),
    Mistake(
        "isolator_half_shut",
        "Something after the swap holds the water back: an isolating valve half shut",
        7.0,
        "Open both isolating valves fully (never force them); look whether a seal slipped into "
        "the way and whether the filter is clean.",
        "owner: the valves; heating firm: seals and filter",
    ),
    Mistake(
        "too_strong",
        "The setting is stronger than the loop asks for",
        7.0,
        "Set the next lower speed or a lower pressure and ask in a week whether every room gets "
        "warm; one step at a time.",
        "owner",
    ),
    Mistake(
        "too_weak",
        "The setting may be too weak",
        7.0,
        "Ask whether the farthest rooms get warm; if not, set the next higher speed or pressure.",
        "owner",
    ),
    Mistake(
        "night_reduction_misfit",
        "Night reduction engages by day or never",
        7.0,
        "Switch the pump's night reduction off: it suits only a pump in the flow pipe of a boiler "
        "that sets its flow back by itself, and no boiler of small water content.",
        "owner",
    ),
)
BY_NAME: dict[str, Mistake] = {one.name: one for one in MISTAKES}


class Judged(NamedTuple):
    """What a judge says; `needs` where it cannot say."""

    state: State
    confidence: float = 0.0
    evidence: tuple[Evidence, ...] = ()
    needs: str = ""


@dataclass(frozen=True, slots=True)
class FittingCheck:
    """One check of a commissioning report."""

    mistake: Mistake
    judged: Judged

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "check": self.mistake.name,
            "title": self.mistake.title,
            "state": self.judged.state,
            "confidence": plain(self.judged.confidence, 3),
            "evidence": [e.document() for e in self.judged.evidence],
            "needs": self.judged.needs,
            "do": self.mistake.do if self.judged.state == "found" else "",
            "who": self.mistake.who if self.judged.state == "found" else "",
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class CommissioningReport:
    """The checks as they stand so long after a swap; `stage` names which."""

    pump: str
    swap_ms: int
    stage: str
    until_ms: int
    checks: tuple[FittingCheck, ...]

    @property
    def found(self) -> tuple[FittingCheck, ...]:
        """Mistakes that were found."""
        return tuple(c for c in self.checks if c.judged.state == "found")

    @property
    def is_open(self) -> bool:
        """Whether a check could not be made."""
        return any(c.judged.state == "unknown" for c in self.checks)

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "pump": self.pump,
            "swap_time": format_rfc3339(self.swap_ms),
            "stage": self.stage,
            "until": format_rfc3339(self.until_ms),
            "checks": [check.document() for check in self.checks],
        }


def commissioning(
    plant: Plant,
    swapped: Swapped,
    record: Record,
    end_ms: int,
    *,
    night_reduction: bool | None = None,
) -> list[CommissioningReport]:
    """The reports due up to a moment: after a day, a week, a month, two weeks with heat.

    The last is only for a pump whose first month left checks open, as in summer.

    Parameters
    ----------
    plant : Plant
        Where the pump's channels are named.
    swapped : Swapped
        Pump, time and the new pump's greatest power.
    record : mapping of str to Readings
        Readings, two weeks before the swap included where there are any.
    end_ms : int
        End of the readings; a stage whose time is not over yet is left out.
    night_reduction : bool, optional
        Whether night reduction was set; without it "never engages" cannot be told.
    """

    def report(stage: str, seen: Fitting, until_ms: int) -> CommissioningReport:
        told = checks(seen, night_reduction=night_reduction)
        return CommissioningReport(
            pump=swapped.pump, swap_ms=swapped.time_ms, stage=stage, until_ms=until_ms, checks=told
        )

    ends = {stage: swapped.time_ms + length_ms for stage, length_ms in STAGES.items()}
    reports = [
        report(stage, fitting(plant, swapped, record, until), until)
        for stage, until in ends.items()
        if until <= end_ms
    ]
    if len(reports) == len(STAGES) and reports[-1].is_open:
        heated = fitting_with_heat(plant, swapped, record, end_ms)
        if heated is not None and heated.until_ms > reports[-1].until_ms:
            reports.append(report(WITH_HEAT, heated.seen, heated.until_ms))
    return reports


def newest_reports(
    plant: Plant, known: Iterable[KnownSwap], record: Record, end_ms: int
) -> list[CommissioningReport]:
    """The reports due for each pump's newest swap; see `commissioning`."""
    newest = {one.swap.pump: one for one in sorted(known, key=lambda one: one.swap.time)}
    found: list[CommissioningReport] = []
    for pump, one in newest.items():
        rated = one.swap.new.rated_power_w or _present_rating(plant, pump)
        swapped = Swapped(pump, to_ms(one.swap.time), rated[1] if rated else None)
        night = one.record.night_reduction if one.record else None
        found += commissioning(plant, swapped, record, end_ms, night_reduction=night)
    return found


def _present_rating(plant: Plant, pump: str) -> tuple[float, float] | None:
    """Rated power in the plant file, which describes the pump that is there now."""
    return next((p.rated_power_w for p in plant.pumps if p.id == pump), None)


def checks(seen: Fitting, *, night_reduction: bool | None = None) -> tuple[FittingCheck, ...]:
    """Judge every mistake; what another one explains is not told twice."""
    reversed_ = judge_direction(seen)
    air = judge_air(seen)
    night = judge_night(seen, night_reduction=night_reduction)
    if air.state == "found" and not night_reduction:
        night = Judged("unknown", needs="the air to be gone")
    held = judge_held_back(seen)
    if air.state == "found" and held.confidence == _ONLY_WIDE:
        held = Judged("unknown", needs="the air to be gone: it holds water back as well")
    strong, weak = judge_strong(seen), judge_weak(seen)
    if reversed_.state == "found":
        held = strong = weak = Judged("unknown", needs="the pump to be the right way round")
    if night.state == "found":
        held = weak = Judged("unknown", needs="night reduction to be off")
    if weak.state == "found" and held.confidence == _ONLY_WIDE:
        held = Judged("unknown", needs="a stronger setting: the low speed explains the spread")
    if held.state == "found":
        weak = Judged("unknown", needs="the isolating valves to be open for sure")
    named = {
        "reversed": reversed_,
        "air": air,
        "isolator_half_shut": held,
        "too_strong": strong,
        "too_weak": weak,
        "night_reduction_misfit": night,
    }
    return tuple(FittingCheck(mistake, named[mistake.name]) for mistake in MISTAKES)


# the judges


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


_HELD = 0.97
"""Sound pumps stay above 1: the loop then resists as it did."""
_HELD_AT_TOP = 0.82
"""Three hours of a hundred are less sure than ten."""
_HELD_IF_WIDE = 0.70
_WIDE_K = 19.5
_WIDER = 1.1
_ONLY_WIDE = 0.65
"""Confidence where the spread alone speaks."""
_ELECTRONICS_W = 1.8
"""What an electronic pump takes without moving water; rule of thumb, no source."""


def judge_held_back(seen: Fitting) -> Judged:
    """Less water goes round than the new pump's power would move through the old loop.

    The power given to the water is that of its amount cubed times the loop's
    resistance; so through an unchanged loop the water goes with the cube root
    of the power. What falls short of it means more resistance, whatever the
    setting. Radiator valves hide it while they throttle more than the isolating valve does; so
    the hours with the most water are looked at apart, in which the loop stands open as in the
    morning's warming up. Or, where the valves hold most of the water anyway: a good deal less
    water with a very wide spread.
    """
    ratio, top, power = _water_ratio(seen), _water_ratio(seen, _TOP), _power_ratio(seen)
    now, then = quantile(spread_k(seen.settled), 0.5), quantile(spread_k(seen.before), 0.5)
    wide_k = quantile(spread_k(seen.settled), 0.8)
    if (
        ratio is None
        or top is None
        or power is None
        or now is None
        or then is None
        or wide_k is None
    ):
        needs = "power, flow and return temperature before and after the swap, with heat"
        return Judged("unknown", needs=needs)
    by_power = power ** (1.0 / 3.0)
    moved, at_top = ratio / by_power, top / by_power
    flow_id = seen.flow_id or ""
    what = "water against what the power would move"
    evidence = (
        Evidence(flow_id, what, moved, f"above {_HELD}", "1"),
        Evidence(flow_id, f"{what}, loop open", at_top, f"above {_HELD_AT_TOP}", "1"),
        Evidence(flow_id, "flow less return, upper fifth", wide_k, f"below {_WIDE_K:g}", "K"),
    )
    is_wide = ratio < _HELD_IF_WIDE and wide_k >= _WIDE_K and now >= _WIDER * then
    is_held = moved < _HELD or at_top < _HELD_AT_TOP
    if is_held or is_wide:
        return Judged("found", 0.9 if is_held else _ONLY_WIDE, evidence)
    return Judged("sound", 0.8, evidence)


_MOSTLY_OPEN, _TOP = 0.9, 0.97
"""Shares of the hours below the one looked at, by their water."""


def _water_ratio(seen: Fitting, share: float = _MOSTLY_OPEN) -> float | None:
    """Water index after the swap over that before, while the loop is open."""
    now, then = (quantile(water_index(c), share) for c in (seen.settled, seen.before))
    return now / then if now is not None and then else None


def _power_ratio(seen: Fitting) -> float | None:
    """Running power of the new pump, less its electronics, over that of the old one."""
    now, then = levels(seen.settled), levels(seen.before)
    if now is None or then is None:
        return None
    return max(now.middle_w - _ELECTRONICS_W, 0.3) / then.middle_w


_STRONG = 0.63
"""At its highest speed a pump falls by a third at most from all valves open to all shut (domain
notes, calculated); a plate may be wrong by a twentieth. A held pressure stays lower."""
_WEAK = 0.19
_STEADY = 0.15


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
    follows the valves, and takes little because little is asked for.
    """
    level = _level(seen)
    if isinstance(level, Judged):
        return level
    (low_w, middle_w, high_w, _), most_w = level
    limit = _WEAK + 0.5 * seen.step_w / most_w
    is_steady = high_w - low_w <= max(_STEADY * middle_w, seen.step_w)
    what = "upper fifth of the running power"
    told = _share(seen, what, high_w / most_w, f"above {100 * limit:.0f}")
    water = Evidence(seen.flow_id or "", "water index against before", _water_ratio(seen), "", "1")
    is_weak = is_steady and high_w / most_w <= limit
    return Judged("found" if is_weak else "sound", 0.75, (told, water))


def _share(seen: Fitting, what: str, share: float, expected: str) -> Evidence:
    words = f"{what}, of the plate's greatest"
    return Evidence(seen.power_id or "", words, 100 * share, f"{expected} %", "%")


_DAY_H = (8, 21)
_MOST_BY_DAY_H = 0.5
_LEAST_NIGHTS = 4


def judge_night(seen: Fitting, *, night_reduction: bool | None) -> Judged:
    """Hours at the least curve by day; or none at all though the flow falls every night."""
    if night_reduction is False:
        return Judged("sound", 1.0)
    if seen.power_id is None or seen.flow_id is None or seen.interval_ms > 6 * MINUTE_MS:
        return Judged("unknown", needs="power every five minutes, and the flow pipe's temperature")
    found = reductions(seen.settled, seen.most_w)
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
    if night_reduction and not found and _nights_set_back(seen.settled) >= _LEAST_NIGHTS:
        never = Evidence(seen.flow_id, "nights set back without night reduction", None, "", "1")
        return Judged("found", 0.7, (*evidence, never))
    return Judged("sound", 0.7, evidence)


def _day_hours(one: Reduced, timezone: str) -> float:
    """Hours of a stretch that lie in the day, by the plant's clock."""
    zone = ZoneInfo(timezone)
    moments = range(one.start_ms, one.end_ms, 10 * MINUTE_MS)
    hours = [from_ms(at).astimezone(zone).hour for at in moments]
    return sum(_DAY_H[0] <= hour < _DAY_H[1] for hour in hours) / 6.0


def _nights_set_back(course: Course) -> int:
    """Nights in which the running pump's flow pipe fell by more than 13 K within two hours."""
    block = course.blocks(30)
    fall = block.flow_c[:-4] - block.flow_c[4:]
    running = block.power_w[4:] > 0
    fell = np.flatnonzero((fall > 13.0) & running)
    return len(set((block.start_ms[4:][fell] - 12 * HOUR_MS) // DAY_MS))
