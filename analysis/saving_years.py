"""Years that could be with the old pump and with the new, and what each doubt adds to them."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.climate import Days, belief_of_zone, outdoor_days
from analysis.errors import StokeholdError
from analysis.finance import Terms
from analysis.habits import Kind
from analysis.plant import Plant, Pump, PumpPlate, Swap
from analysis.pump_days import PumpDays, pump_days
from analysis.readings import FloatArray, Record
from analysis.saving_ratio import (
    LIFT_DOUBT,
    Ratio,
    holds_power,
    load_lift,
    matched_ratio,
    old_use,
    ran,
    rest_power_w,
    temperature_on,
)
from analysis.season import year_draws
from analysis.season_weather import History
from analysis.timebase import Span, to_ms
from analysis.tolerances import PLUG, meter_of
from analysis.uncertainty import Meter, difference_uncertainty_w
from analysis.verdict import YEAR_HOURS

TYPICAL_OLD_W, TYPICAL_NEW_W = (40.0, 90.0), (5.0, 25.0)
"""Running power of a pump of which nothing is known (common practice, no source)."""
LEAST_DAYS = 3
"""Fewer measured days on one side are no measurement of it."""
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
        """Whether the old pump never rested and the new one is switched."""
        return bool(self.swap.old.always_on) and self.swap.new.always_on is False


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
    whole = Span(spans[0].start_ms, spans[1].end_ms)
    outdoor = outdoor_days(plant, record, whole) if whole.end_ms > whole.start_ms else None
    case = SwapCase(plant, pump, swap, question, spans, before, after, _bridged(outdoor), None)
    if not (case.has_before and case.has_after):
        return case
    return replace(case, ratio=matched_ratio(before, after, case.outdoor))


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


def _kind(pump: Pump) -> Kind:
    return "water" if pump.duty in ("store", "recirculation") else "heating"


def _year(case: SwapCase, days: Days, full_w: float, side: PumpDays) -> FloatArray:
    """Possible years of a pump whose days these are [kWh]."""
    plate = case.swap.old if side is case.before else case.swap.new
    always = case.pump.always_on if plate.always_on is None else plate.always_on
    share = side.run_share
    history = History(
        days=days,
        outdoor=case.outdoor,
        full_kwh=(24.0 * full_w / 1000.0, 0.04),
        is_steady=case.swap.old.drive == "induction" and side is case.before,
        rests=1.0 - share if np.isfinite(share) else 0.0,
        kind=_kind(case.pump),
        is_always_on=bool(always),
        timezone=case.plant.timezone,
        is_switched=plate.always_on is False,
    )
    return year_draws(history).kwh


def _same_hours(case: SwapCase, ratio: Ratio) -> DrawnYears:
    """Both pumps measured, called for the same hours.

    The days measured with the one tell of the other by their ratio only, so that its doubt
    goes into the old pump's year by the part that the new one's days have in it.
    """
    since = old_use(case.before, case.after, ratio)
    season = _year(case, _old_days(case, since), case.before.mean_running_w, case.before)
    rng = np.random.default_rng(5)
    power, hours = ratio.factors(rng, _DRAWS)
    steady = holds_power(case.before)
    spent = max(float(np.nansum(since)), 1e-9)
    part = spent / (spent + float(np.nansum(case.before.kwh)))
    changed = hours if steady else hours * power
    old = season * (1.0 - part + part / changed)
    new = _new_year(case, season, ratio) * (part + (1.0 - part) * power * hours)
    new = new * np.exp(_lift(case, rng))
    meter = _meter_share(case) * rng.standard_normal(_DRAWS)
    middle, share = float(np.median(season)), ratio.energy
    parts = {
        "season": _half(season) * abs(1 - share),
        "comparison": middle * _half((old - new) / season),
        "meter": middle * abs(1 - share) * _half(meter),
    }
    words = "days compared at equal outdoor temperature"
    words = words if ratio.is_matched else "no outdoor sensor to match days by"
    method = (
        "IPMVP retrofit isolation, option B: power and hours measured before and after, "
        f"{words}, season by the climate"
    )
    seen = changed * float(np.nansum(case.after.kwh)) / spent
    return DrawnYears(
        old, new, (old - new) * (1.0 + meter), seen, parts, method, _notes(case, ratio)
    )


def _lift(case: SwapCase, rng: np.random.Generator) -> FloatArray:
    """Logarithms by which the new pump's year may ask more power than its days; see `load_lift`."""
    swap = case.swap
    if (swap.old.drive, swap.new.drive) != ("induction", "electronic") or (
        _kind(case.pump) != "heating"
    ):
        return np.zeros(_DRAWS)
    after = case.after
    temp = temperature_on(case.outdoor, after.start_ms)
    usual = belief_of_zone(case.plant.timezone).usual_on(after.start_ms)
    known = np.where(np.isfinite(temp), temp, usual)
    lift = load_lift(known[np.isfinite(after.kwh) & ran(after)])
    return np.asarray(lift + LIFT_DOUBT * rng.standard_normal(_DRAWS))


def _new_year(case: SwapCase, old: FloatArray, ratio: Ratio) -> FloatArray:
    """Years of the new pump [kWh]: the old one's by their ratio, and what it draws at rest."""
    run_h = old * 1000.0 / case.before.mean_running_w * ratio.hours
    rest_h = np.maximum(YEAR_HOURS - run_h, 0.0)
    return np.asarray(old * ratio.energy + rest_power_w(case.after) * rest_h / 1000.0)


def _old_days(case: SwapCase, since: FloatArray) -> Days:
    """Days of the old pump: as measured, then what it would have used."""
    return Days(
        np.concatenate((case.before.start_ms, case.after.start_ms)),
        np.concatenate((case.before.kwh, since)),
    )


def _hours_changed(case: SwapCase) -> DrawnYears:
    """The old pump was never switched by demand; the new one is.

    The old one's year is that of its days, not its power all hours: one that
    gives way to hot water rests some hours of each.
    """
    rng = np.random.default_rng(5)
    daily = float(np.nanmean(case.before.kwh / case.before.hours)) * YEAR_HOURS
    unsure = 0.02 + 0.1 * (1.0 - min(case.before.run_share, 1.0))
    old = daily * (1.0 + unsure * rng.standard_normal(_DRAWS))
    new = _year(case, case.after.energy, case.after.mean_running_w, case.after)
    new = new * np.exp(0.1 * rng.standard_normal(_DRAWS))
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
        old, new, saving, ratio.drawn(rng, _DRAWS), parts, method, _notes(case, ratio)
    )


def _without_baseline(case: SwapCase) -> DrawnYears:
    """No measured days before: the old pump's power is stipulated, hours are those after."""
    rng = np.random.default_rng(5)
    new = _year(case, case.after.energy, case.after.mean_running_w, case.after)
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
    return DrawnYears(old, new, old - new, new / old, parts, method, notes)


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
