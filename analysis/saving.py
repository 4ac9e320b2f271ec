"""What a pump's exchange saves: retrofit isolation after IPMVP, options A and B, with interval.

The old pump's year is drawn from the season (`analysis.season`) over all days: those before the
swap as they were measured, those after it as the old pump would have used, which is what the new
one used over the ratio of the two at like context. The saving is what that year loses by the
ratio. Where the hours changed with the swap, as when a pump that never rested is switched now,
each pump's year stands for itself. What was not measured is stipulated, and labelled so.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.climate import Days, outdoor_days
from analysis.errors import StokeholdError
from analysis.estimate import Estimate, plain
from analysis.finance import Terms
from analysis.plant import Plant, Pump, PumpPlate, Swap
from analysis.pump_days import PumpDays, pump_days
from analysis.readings import FloatArray, Record
from analysis.saving_ratio import Ratio, matched_ratio, temperature_on
from analysis.saving_result import Saving, SavingDay, Side, worth_of
from analysis.season import History, Kind, year_draws
from analysis.signature import Points, best_shape, fit_signature
from analysis.timebase import DAY_MS, Span, to_ms
from analysis.uncertainty import (
    Comparison,
    Meter,
    difference_uncertainty_w,
    expansion,
    improved_factor,
    rectangular,
)
from analysis.verdict import YEAR_HOURS, Ceiling, judge_claim

TYPICAL_OLD_W, TYPICAL_NEW_W = (40.0, 90.0), (5.0, 25.0)
"""Running power of a pump of which nothing is known (common practice, no source)."""
LEAST_DAYS = 3
"""Fewer measured days on one side are no measurement of it."""
_DRAWS = 3000


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """How a saving is to be reckoned.

    `hours` stipulates running hours a year, with their half-width, instead of
    the hours measured (option A); `same_plug` says that one plug measured both
    pumps.
    """

    meter: Meter = Meter()
    same_plug: bool = True
    hours: tuple[float, float] | None = None
    terms: Terms | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Case:
    """A swap with the days about it."""

    plant: Plant
    pump: Pump
    swap: Swap
    question: Question
    spans: tuple[Span, Span]
    before: PumpDays
    after: PumpDays
    outdoor: Days | None


@dataclass(frozen=True, slots=True, eq=False)
class _Drawn:
    """Years that could be [kWh]: of the old pump, of the new, and the saving, meter heeded.

    `share` is the new pump's energy as a share of the old's at like context.
    """

    old: FloatArray
    new: FloatArray
    saving: FloatArray
    share: FloatArray
    parts: dict[str, float]
    method: str
    notes: tuple[str, ...]


def saving_of(
    plant: Plant, swap: Swap, record: Record, *, span: Span, question: Question | None = None
) -> Saving:
    """Saving of one swap, against its claim.

    Parameters
    ----------
    plant : Plant
        With the swapped pump, its channels and the tariff.
    swap : Swap
        The exchange; its plates stand in for what was not measured.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Time to look at; other swaps of the same pump limit it.
    question : Question, optional
        How to reckon.

    Raises
    ------
    StokeholdError
        The plant has no such pump.
    """
    case = _case(plant, swap, record, span, question or Question())
    has_before, has_after = (d.known >= LEAST_DAYS for d in (case.before, case.after))
    if case.question.hours is not None or not has_after:
        drawn = _stipulated(case)
    elif not has_before:
        drawn = _without_baseline(case)
    elif swap.old.always_on and swap.new.always_on is False:
        drawn = _hours_changed(case)
    else:
        drawn = _same_hours(case)
    return _result(case, drawn)


def _case(plant: Plant, swap: Swap, record: Record, span: Span, question: Question) -> _Case:
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
    return _Case(plant, pump, swap, question, spans, before, after, _bridged(outdoor))


def _bridged(outdoor: Days | None) -> Days | None:
    """Days of weather without holes: a missing day lies between its neighbours."""
    if outdoor is None or outdoor.known.mean() < 0.5:
        return None
    known = outdoor.known
    value = np.interp(outdoor.start_ms, outdoor.start_ms[known], outdoor.value[known])
    return Days(outdoor.start_ms, value)


# years


def _kind(pump: Pump) -> Kind:
    return "water" if pump.duty in ("store", "recirculation") else "heating"


def _year(case: _Case, days: Days, full_w: float, side: PumpDays) -> FloatArray:
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
    )
    kwh = year_draws(history).kwh
    return kwh[np.arange(_DRAWS) % len(kwh)]


def _same_hours(case: _Case) -> _Drawn:
    """Both pumps measured, called for the same hours."""
    ratio = matched_ratio(case.before, case.after, case.outdoor)
    days = _old_days(case, ratio.energy)
    old = _year(case, days, case.before.mean_running_w, case.before)
    rng = np.random.default_rng(5)
    share = ratio.drawn(rng, _DRAWS)
    meter = _meter_share(case) * rng.standard_normal(_DRAWS)
    saving = old * (1.0 - share) * (1.0 + meter)
    middle = float(np.median(old))
    parts = {
        "season": _half(old) * abs(1 - ratio.energy),
        "comparison": middle * _half(share),
        "meter": middle * abs(1 - ratio.energy) * _half(meter),
    }
    words = "days compared at equal outdoor temperature" if ratio.is_matched else "no outdoor sensor"
    method = (
        "IPMVP retrofit isolation, option B: power and hours measured before and after, "
        f"{words}, season by the climate"
    )
    return _Drawn(old, old * share, saving, share, parts, method, _notes(case, ratio))


def _old_days(case: _Case, share: float) -> Days:
    """Days of the old pump: as measured, then what it would have used."""
    return Days(
        np.concatenate((case.before.start_ms, case.after.start_ms)),
        np.concatenate((case.before.kwh, case.after.kwh / share)),
    )


def _hours_changed(case: _Case) -> _Drawn:
    """The old pump never rested; the new one is switched."""
    rng = np.random.default_rng(5)
    power = case.before.mean_running_w * (1.0 + 0.02 * rng.standard_normal(_DRAWS))
    old = power * YEAR_HOURS / 1000.0
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
    ratio = Ratio(case.after.mean_running_w / case.before.mean_running_w, 0.1, 1.0, 0.0, False)
    return _Drawn(old, new, saving, ratio.drawn(rng, _DRAWS), parts, method, _notes(case, ratio))


def _without_baseline(case: _Case) -> _Drawn:
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
    return _Drawn(old, new, old - new, new / old, parts, method, notes)


def _stipulated(case: _Case) -> _Drawn:
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
    return _Drawn(old, new, saved, new_w / old_w, parts, method, notes)


def _power(
    case: _Case,
    days: PumpDays,
    plate: PumpPlate,
    typical: tuple[float, float],
    rng: np.random.Generator,
) -> tuple[FloatArray, str]:
    """Running power that could be [W], measured where it was."""
    which = "old" if days is case.before else "new"
    if days.known >= LEAST_DAYS and np.isfinite(days.mean_running_w):
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


def _meter_share(case: _Case) -> float:
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


def _usual_notes(case: _Case) -> tuple[str, ...]:
    plug = (
        "one plug measured both pumps (the same channel): its error mostly cancels"
        if case.question.same_plug
        else "two plugs measured: their errors do not cancel; keep one plug for both"
    )
    heat = (
        "interactive effect: in the heating season about 70 % of a pump's electricity (from memory) "
        "had warmed the house; the boiler makes up for it, see the extra fuel"
    )
    return (plug, heat, "the plug's own use is in neither pump's figure and does not change")


def _notes(case: _Case, ratio: Ratio) -> tuple[str, ...]:
    notes = list(_usual_notes(case))
    if case.before.known < 7:
        notes.insert(0, f"weak baseline: only {case.before.known} days before the swap")
    if abs(ratio.hours - 1.0) > 0.05:
        notes.append(f"running hours at like weather changed to {ratio.hours:.0%}")
    if case.swap.old.always_on is None:
        notes.append("whether the old pump rested out of season is not written down")
    return tuple(notes)


# the result


def _result(case: _Case, drawn: _Drawn) -> Saving:
    per_year = _estimate(drawn.saving, "season, comparison and meter drawn together")
    ceiling = _ceiling(case)
    so_far, days = _course(case, drawn)
    worth = worth_of(per_year, case.plant.tariff)
    if case.question.terms is not None:
        worth = replace(worth, investment=case.question.terms.document(worth.net))
    return Saving(
        swap=case.swap,
        before=_side(case, case.before, case.spans[0], drawn.old),
        after=_side(case, case.after, case.spans[1], drawn.new),
        so_far=so_far,
        per_year=per_year,
        ceiling=ceiling,
        verdict=judge_claim(per_year, case.swap.claim_kwh_per_year, ceiling),
        method=drawn.method,
        parts=drawn.parts,
        guideline=_guideline(case),
        notes=drawn.notes,
        worth=worth,
        days=days,
    )


def _estimate(drawn: FloatArray, basis: str, unit: str = "kW.h") -> Estimate:
    low, middle, high = (float(q) for q in np.quantile(drawn, (0.025, 0.5, 0.975)))
    return Estimate(middle, low, high, unit, basis)


def _side(case: _Case, days: PumpDays, span: Span, year: FloatArray) -> Side:
    there = days.known >= LEAST_DAYS
    watts = days.mean_running_w
    if there and np.isfinite(watts):
        wide = 2.0 * case.question.meter.uncertainty_w(watts)
        power = Estimate(watts, max(watts - wide, 0.0), watts + wide, "W", "mean while running")
    else:
        power = Estimate.unknown("W", "not measured")
    share = days.run_share
    return Side(
        start_ms=span.start_ms,
        end_ms=span.end_ms,
        days=days.known,
        measured_kwh=float(np.nansum(days.kwh)) if days.known else None,
        running_w=power,
        run_hours_per_day=24.0 * share if np.isfinite(share) else None,
        per_year=_estimate(year, "this pump all year"),
        basis="measured" if there else "stipulated",
    )


def _ceiling(case: _Case) -> Ceiling | None:
    """All the old pump can have used: its greatest power, all the hours it can have run."""
    watts = case.before.mean_running_w
    if case.before.known >= LEAST_DAYS and np.isfinite(watts):
        margin = 1.0 + 2.0 * rectangular(case.question.meter.gain) + 0.04
        return Ceiling.of_power(watts * margin, "old pump as measured, margin in, running all year")
    if case.swap.old.rated_power_w is not None:
        most = case.swap.old.rated_power_w[1]
        return Ceiling.of_power(most, "old pump's nameplate, running all year")
    return None


def _course(case: _Case, drawn: _Drawn) -> tuple[Estimate, tuple[SavingDay, ...]]:
    """Day by day: measured use, what the old pump would have used, and the saving so far."""
    before = [SavingDay(int(t), *_plain_pair(k), 0.0, 0.0, 0.0) for t, k in _rows(case.before)]
    after = case.after
    old = _old_use(case, drawn)
    saved = np.where(np.isfinite(after.kwh), old - np.nan_to_num(after.kwh), 0.0)
    course = np.cumsum(np.nan_to_num(saved), axis=1)
    band = np.quantile(course, (0.025, 0.5, 0.975), axis=0) if len(after) else np.empty((3, 0))
    uses = np.quantile(old, (0.025, 0.5, 0.975), axis=0) if len(after) else np.empty((3, 0))
    rows = [
        SavingDay(int(t), _known(k), *map(_known, (use[1], use[0], use[2])), *far[[1, 0, 2]])
        for (t, k), use, far in zip(_rows(after), uses.T, band.T, strict=True)
    ]
    if not after.known:
        return Estimate.unknown("kW.h", "no days measured since the swap"), tuple(before)
    words = f"{after.known} days measured since the swap"
    low, middle, high = band[:, -1].tolist()
    return Estimate(middle, low, high, "kW.h", words), (*before, *rows)


def _old_use(case: _Case, drawn: _Drawn) -> FloatArray:
    """What the old pump would have used each day after the swap, by possibility [kWh]."""
    after = case.after
    if case.swap.old.always_on and case.swap.new.always_on is False:
        daily = drawn.old[:, None] / YEAR_HOURS * after.hours[None, :]
        return np.asarray(np.where(np.isfinite(after.kwh), daily, np.nan))
    return np.asarray(after.kwh[None, :] / drawn.share[:, None])


def _rows(days: PumpDays) -> list[tuple[int, float]]:
    return list(zip(days.start_ms.tolist(), days.kwh.tolist(), strict=True))


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _plain_pair(kwh: float) -> tuple[float | None, float | None, float | None, float | None]:
    return (_known(kwh),) * 4


def _guideline(case: _Case) -> dict[str, Any] | None:
    """Fractional savings uncertainty of the days so far, after Guideline 14, at 90 %.

    A signature of the days before, over outdoor temperature, predicts the days
    after: a second way to the same figure.
    """
    temp = temperature_on(case.outdoor, case.before.start_ms)
    there = np.isfinite(temp) & np.isfinite(case.before.kwh)
    later = temperature_on(case.outdoor, case.after.start_ms)
    known = np.isfinite(later) & np.isfinite(case.after.kwh)
    if there.sum() < 8 or known.sum() < 3:
        return None
    at = case.before.start_ms[there] // DAY_MS
    points = Points.of(temp[there], case.before.kwh[there], at=at, unit="kW.h")
    fit = fit_signature(points, shape=best_shape(points))
    predicted = float(fit.use_at(later[known]).sum())
    fraction = 1.0 - float(case.after.kwh[known].sum()) / predicted
    rho = min(max(fit.memory.lag1 or 0.0, 0.0), 0.95)
    compared = Comparison(
        cv=fit.cv_rmse, before=int(there.sum()), after=int(known.sum()), autocorrelation=rho
    )
    t = expansion(0.90, max(int(there.sum()) - fit.parameters, 1))
    months = max(int(known.sum()) / 30.4, 1.0)
    improved = compared.savings_uncertainty(fraction, t, improved_factor(months, "daily"))
    return {
        "avoided_kwh": plain(predicted * fraction),
        "saved_share": plain(fraction, 4),
        "cv_rmse": plain(fit.cv_rmse, 4),
        "autocorrelation": plain(rho, 4),
        "fractional_uncertainty_90": plain(compared.savings_uncertainty(fraction, t), 4),
        "sun_baltazar_90": plain(improved, 4),
        "note": "approximate, in the style of ASHRAE Guideline 14; without the meter's error",
    }


@dataclass(frozen=True, slots=True)
class Together:
    """Several swaps as one: their savings, claims and ceilings summed."""

    per_year: Estimate
    claim: float | None
    ceiling: Ceiling | None

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        verdict = judge_claim(self.per_year, self.claim, self.ceiling)
        return {
            "saving_per_year": self.per_year.document(),
            "claim_kwh_per_year": plain(self.claim),
            "ceiling": None if self.ceiling is None else self.ceiling.document(),
            "verdict": verdict.word,
            "why": verdict.why,
        }


def together(savings: Sequence[Saving]) -> Together:
    """Sum of several savings; as one season rules them all, their half-widths are added."""
    known = [s.per_year for s in savings if s.per_year.value is not None]
    sums = [sum(getattr(e, end) for e in known) for end in ("value", "low", "high")]
    per_year = Estimate(*sums, "kW.h", f"{len(known)} swaps, one season for all")
    claims = [s.swap.claim_kwh_per_year for s in savings]
    claim = None if None in claims else float(sum(c or 0.0 for c in claims))
    ceiling: Ceiling | None = savings[0].ceiling
    for one in savings[1:]:
        ceiling = None if ceiling is None or one.ceiling is None else ceiling.plus(one.ceiling)
    return Together(per_year, claim, ceiling)
