"""Years that could be with the old pump and with the new, and what each doubt adds to them."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.base.errors import StokeholdError
from analysis.base.time import Span, to_ms
from analysis.energy.instrument_limits import PLUG, meter_of
from analysis.energy.machine_year import (
    LEAST_DAYS,
    MeteredYear,
    YearsAbout,
    metered_year,
    years_about,
)
from analysis.energy.payback import Terms
from analysis.energy.pump_days import PumpDays, pump_days
from analysis.plant.installed_pump import placed_pumps
from analysis.plant.plant import Plant, Pump, PumpPlate, Swap
from analysis.readings.readings import FloatArray, Record
from analysis.savings.claim import YEAR_HOURS
from analysis.savings.equal_context import Ratio, holds_power, matched_ratio, old_use
from analysis.statistics.uncertainty import Meter, difference_uncertainty_w
from analysis.weather.degree_days import Days

TYPICAL_OLD_W, TYPICAL_NEW_W = (40.0, 90.0), (5.0, 25.0)
"""Running power of a pump of which nothing is known (common practice, no source)."""
_DRAWS = 3000


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """How a saving is to be reckoned.

    `hours` stipulates running hours a year, with their half-width, instead of
    the hours measured (option A). `meter` is by default what the class of the
    pump's channel says; `same_plug` what the swap's plates say of the plugs.
    """

    meter: Meter = PLUG
    same_plug: bool = True
    hours: tuple[float, float] | None = None
    terms: Terms | None = None

    @classmethod
    def of_swap(cls, plant: Plant, swap: Swap, **more: Any) -> "Question":
        """The question as plates and plant file have it: which plugs, of which class."""
        meter = meter_of(plant.first(swap.pump, "power") or plant.first(swap.pump, "energy"))
        return replace(cls(meter=meter, same_plug=swap.same_plug), **more)


@dataclass(frozen=True, slots=True, eq=False)
class SwapCase:
    """A swap with the days about it; `ratio` of the two pumps where both were measured."""

    plant: Plant
    pump: Pump
    swap: Swap
    question: Question
    spans: tuple[Span, Span]
    before: PumpDays
    after: PumpDays
    outdoor: Days | None
    years: YearsAbout
    ratio: Ratio | None

    @property
    def since(self) -> FloatArray | None:
        """What the old pump would have used on each day since [kWh]; None unless both are known."""
        return None if self.ratio is None else old_use(self.before, self.after, self.ratio)

    @property
    def has_before(self) -> bool:
        """Whether the old pump was measured."""
        return self.before.known >= LEAST_DAYS and self.before.mean_running_w > 0

    @property
    def has_after(self) -> bool:
        """Whether the new pump was measured."""
        return self.after.known >= LEAST_DAYS and self.after.mean_running_w > 0

    @property
    def hours_changed(self) -> bool:
        """Whether both were measured, but other hours called for the one than for the other."""
        return self.has_before and self.has_after and not self.years.are_paired


@dataclass(frozen=True, slots=True, eq=False)
class DrawnYears:
    """Years that could be [kWh]: of the old pump, of the new, and the saving, meter heeded.

    `share` is the new pump's energy as a share of the old's on the days measured.
    """

    old: FloatArray
    new: FloatArray
    saving: FloatArray
    share: FloatArray
    parts: dict[str, float]
    method: str
    notes: tuple[str, ...]


def swap_case(
    plant: Plant, swap: Swap, *, record: Record, span: Span, question: Question
) -> SwapCase:
    """Days about a swap; other swaps of the same pump limit them.

    Raises
    ------
    StokeholdError
        The plant has no such pump.
    """
    pump = next((p for p in plant.pumps if p.id == swap.pump), None)
    if pump is None:
        raise StokeholdError(f"swap of {swap.pump!r}: the plant has no such pump; name one it has")
    at = to_ms(swap.time)
    others = [to_ms(s.time) for s in plant.swaps if s.pump == swap.pump and s.time != swap.time]
    start = max([t for t in others if t < at] + [span.start_ms])
    end = min([t for t in others if t > at] + [span.end_ms])
    spans = Span(min(start, at), at), Span(at, max(end, at))
    before, after = (pump_days(plant, pump, record, one) for one in spans)
    years = _years_of(plant, pump, record, Span(start, end), spans)
    case = SwapCase(
        plant, pump, swap, question, spans, before, after, _bridged(years.outdoor), years, None
    )
    if not (case.has_before and case.has_after):
        return case
    return replace(case, ratio=matched_ratio(before, after, case.outdoor))


def _years_of(
    plant: Plant, pump: Pump, record: Record, span: Span, spans: tuple[Span, Span]
) -> YearsAbout:
    """Both pumps' years (`analysis.energy.machine_year`); without one side there is no pair."""
    placed = {one.span: one for one in placed_pumps(plant, pump, span)}
    old, new = (placed.get(one) for one in spans)
    if old is not None and new is not None:
        return years_about(plant, old, new, record)
    none = "nothing was measured of this pump"
    alone = none if new is None else metered_year(plant, pump, record, new.span)
    return YearsAbout(none, alone, are_paired=False)


def _bridged(outdoor: Days | None) -> Days | None:
    """Days of weather without holes: a missing day lies between its neighbours."""
    if outdoor is None or outdoor.known.mean() < 0.5:
        return None
    known = outdoor.known
    value = np.interp(outdoor.start_ms, outdoor.start_ms[known], outdoor.value[known])
    return Days(outdoor.start_ms, value)


# years


def draw_years(case: SwapCase) -> DrawnYears:
    """Years that could be, by what was measured: both pumps, one, or none."""
    if case.question.hours is not None or not case.has_after:
        return _stipulated(case)
    if case.ratio is None:
        return _without_baseline(case)
    return _hours_changed(case) if case.hours_changed else _same_hours(case, case.ratio)


def _same_hours(case: SwapCase, ratio: Ratio) -> DrawnYears:
    """Both pumps measured, called for the same hours: their years as they were drawn together."""
    old, new = _year(case.years.old), _year(case.years.new)
    rng = np.random.default_rng(5)
    power, hours = ratio.factors(rng, _DRAWS)
    meter = _meter_share(case) * rng.standard_normal(_DRAWS)
    apart = old.as_read - new.as_read
    share = float(np.median(new.as_read / np.maximum(old.as_read, 1e-9)))
    parts = {
        "season": _half(old.as_read) * abs(1 - share),
        "comparison": _half(old.as_read * share - new.as_read),
        "meter": abs(float(np.median(apart))) * _half(meter),
    }
    words = "days compared at equal outdoor temperature"
    words = words if ratio.is_matched else "no outdoor sensor to match days by"
    method = (
        "IPMVP retrofit isolation, option B: power and hours measured before and after, "
        f"{words}, season by the climate"
    )
    since = case.since
    spent = max(0.0 if since is None else float(np.nansum(since)), 1e-9)
    changed = hours if holds_power(case.before) else hours * power
    seen = changed * float(np.nansum(case.after.kwh)) / spent
    return DrawnYears(
        old.kwh, new.kwh, apart * (1.0 + meter), seen, parts, method, _notes(case, ratio)
    )


def _year(year: MeteredYear | str) -> MeteredYear:
    """A year that is there, as of a pump that was measured."""
    if isinstance(year, str):
        raise StokeholdError(f"no year of a measured pump: {year}; give it three days and more")
    return year


def _hours_changed(case: SwapCase) -> DrawnYears:
    """The old pump was never switched by demand; the new one is.

    The old one's year is that of its days, not its power all hours: one that
    gives way to hot water rests some hours of each.
    """
    rng = np.random.default_rng(5)
    daily = float(np.nanmean(case.before.kwh / case.before.hours)) * YEAR_HOURS
    unsure = 0.02 + 0.1 * (1.0 - min(case.before.run_share, 1.0))
    old = daily * (1.0 + unsure * rng.standard_normal(_DRAWS))
    year = _year(case.years.new)
    new = year.as_read
    meter = _meter_share(case) * rng.standard_normal(_DRAWS)
    saving = (old - new) * (1.0 + meter)
    parts = {
        "season": _half(new),
        "comparison": _half(old),
        "meter": float(np.median(old - new)) * _half(meter),
    }
    method = (
        "IPMVP retrofit isolation, option B: the old pump never rested, the new one is switched; "
        "its hours by the season of its own days"
    )
    power = case.after.mean_running_w / case.before.mean_running_w
    ratio = Ratio(power, 0.1, 1.0, 0.0, is_matched=False)
    return DrawnYears(
        old, year.kwh, saving, ratio.drawn(rng, _DRAWS), parts, method, _notes(case, ratio)
    )


def _without_baseline(case: SwapCase) -> DrawnYears:
    """No measured days before: the old pump's power is stipulated, hours are those after."""
    rng = np.random.default_rng(5)
    year = _year(case.years.new)
    new = year.as_read
    hours = new / case.after.mean_running_w * 1000.0
    if case.swap.old.always_on:
        hours = np.full(_DRAWS, YEAR_HOURS)
    power, words = _stipulated_power(case.swap.old, TYPICAL_OLD_W, rng)
    old = power * hours / 1000.0
    parts = {
        "season": _half(hours) * float(np.median(power)) / 1000.0,
        "stipulated power": _half(power) * float(np.median(hours)) / 1000.0,
    }
    method = f"no baseline measured: {words} (a stipulation, no measurement); hours measured after"
    notes = (
        "weak baseline: the old pump was not measured, its power is stipulated",
        *_usual_notes(case),
    )
    return DrawnYears(old, year.kwh, old - new, new / old, parts, method, notes)


def _stipulated(case: SwapCase) -> DrawnYears:
    """Hours stipulated (option A), and the power of whatever side was not measured."""
    rng = np.random.default_rng(5)
    old_w, old_words = _power(case, case.before, case.swap.old, TYPICAL_OLD_W, rng)
    new_w, new_words = _power(case, case.after, case.swap.new, TYPICAL_NEW_W, rng)
    given = case.question.hours
    usual = (YEAR_HOURS, 0.0) if case.swap.old.always_on else (5000.0, 2000.0)
    middle, half = usual if given is None else given
    hours = middle + half * rng.uniform(-1.0, 1.0, _DRAWS)
    gap = difference_uncertainty_w(
        case.question.meter,
        float(np.median(old_w)),
        float(np.median(new_w)),
        same_plug=case.question.same_plug,
    )
    meter = gap * rng.standard_normal(_DRAWS)
    saved = (old_w - new_w + meter) * hours / 1000.0
    apart = float(np.median(old_w - new_w))
    parts = {
        "stipulated hours": abs(apart) * _half(hours) / 1000.0,
        "power": _half(old_w - new_w) * middle / 1000.0,
        "meter": _half(meter) * middle / 1000.0,
    }
    method = (
        f"IPMVP retrofit isolation, option A: {middle:,.0f} +- {half:,.0f} h a year stipulated; "
        f"{old_words}; {new_words}"
    )
    notes = _usual_notes(case)
    old, new = old_w * hours / 1000.0, new_w * hours / 1000.0
    return DrawnYears(old, new, saved, new_w / old_w, parts, method, notes)


def _power(
    case: SwapCase,
    days: PumpDays,
    plate: PumpPlate,
    typical: tuple[float, float],
    rng: np.random.Generator,
) -> tuple[FloatArray, str]:
    """Running power that could be [W], measured where it was."""
    which = "old" if days is case.before else "new"
    if case.has_before if which == "old" else case.has_after:
        drift = 0.02 if which == "old" else 0.1
        drawn = days.mean_running_w * (1.0 + drift * rng.standard_normal(_DRAWS))
        return drawn, f"{which} pump's power measured"
    return _stipulated_power(plate, typical, rng)


def _stipulated_power(
    plate: PumpPlate, typical: tuple[float, float], rng: np.random.Generator
) -> tuple[FloatArray, str]:
    """Power anywhere on the nameplate, or of a usual pump [W]."""
    low, high = plate.rated_power_w or typical
    if plate.rated_power_w is None:
        words = f"typical power {low:g} to {high:g} W stipulated"
    else:
        words = f"nameplate power {low:g} to {high:g} W stipulated"
    return rng.uniform(low, max(high, low + 0.1), _DRAWS), words


def _meter_share(case: SwapCase) -> float:
    """Relative standard uncertainty of the difference, from the plug."""
    a, b = case.before.mean_running_w, case.after.mean_running_w
    question = case.question
    u = difference_uncertainty_w(question.meter, a, b, same_plug=question.same_plug)
    return u / max(abs(a - b), 1e-6)


def _half(drawn: FloatArray) -> float:
    """Half-width of the 95 % interval of draws."""
    low, high = np.quantile(drawn, (0.025, 0.975))
    return float(high - low) / 2.0


# words


def _usual_notes(case: SwapCase) -> tuple[str, ...]:
    plug = (
        "one plug measured both pumps (the same channel): its error mostly cancels"
        if case.question.same_plug
        else "two plugs measured: their errors do not cancel; keep one plug for both"
    )
    heat = (
        "interactive effect: in the heating season about 70 % of a pump's electricity (from "
        "memory) had warmed the house; the boiler makes up for it, see the extra fuel"
    )
    return (plug, heat, "the plug's own use is in neither pump's figure and does not change")


def _notes(case: SwapCase, ratio: Ratio) -> tuple[str, ...]:
    notes = list(_usual_notes(case))
    if case.before.known < 7:
        notes.insert(0, f"weak baseline: only {case.before.known} days before the swap")
    if abs(ratio.hours - 1.0) > 0.05:
        notes.append(f"running hours at like weather changed to {ratio.hours:.0%}")
    if case.swap.old.always_on is None:
        notes.append("whether the old pump rested out of season is not written down")
    return tuple(notes)
