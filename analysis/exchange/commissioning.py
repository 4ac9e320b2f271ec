"""What the days after a swap say about the fitting: one row a mistake, judged by its own window.

The days before the swap are the comparison. Windows are common practice without a source; what
each mistake is told by stands in `judge_fitting`.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, NamedTuple

from analysis.base.estimate import plain
from analysis.base.time import DAY_MS, format_rfc3339, to_ms
from analysis.exchange.checks import (
    UNSURE,
    Judged,
    judge_air,
    judge_direction,
    judge_held_back,
    judge_night,
    judge_strong,
    judge_weak,
)
from analysis.exchange.windows import Fitting, Swapped, fitting, fitting_with_heat
from analysis.faults.air import FAULT as AIR
from analysis.faults.night_reduction_misfit import FAULT as NIGHT_MISFIT
from analysis.plant.exchanges import KnownSwap
from analysis.plant.plant import Plant
from analysis.readings.readings import Record

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
        AIR.name,
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
        NIGHT_MISFIT.name,
        "Night reduction engages by day or never",
        7.0,
        "Switch the pump's night reduction off: it suits only a pump in the flow pipe of a boiler "
        "that sets its flow back by itself, and no boiler of small water content.",
        "owner",
    ),
)
BY_NAME: dict[str, Mistake] = {one.name: one for one in MISTAKES}


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
    if air.state == "found" and held.confidence == UNSURE:
        held = Judged("unknown", needs="the air to be gone: it holds water back as well")
    strong, weak = judge_strong(seen), judge_weak(seen)
    if reversed_.state == "found":
        held = strong = weak = Judged("unknown", needs="the pump to be the right way round")
    if night.state == "found":
        held = weak = Judged("unknown", needs="night reduction to be off")
    if held.state == "found" and held.confidence != UNSURE:
        weak = Judged("unknown", needs="the isolating valves to be open for sure")
    named = {
        "reversed": reversed_,
        AIR.name: air,
        "isolator_half_shut": held,
        "too_strong": strong,
        "too_weak": weak,
        NIGHT_MISFIT.name: night,
    }
    return tuple(FittingCheck(mistake, named[mistake.name]) for mistake in MISTAKES)
