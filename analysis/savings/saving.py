"""What a pump's exchange saves: retrofit isolation after IPMVP, options A and B, with interval.

The old pump's year is drawn from the season (`analysis.energy.season_model`) over all days: those
before the swap as they were measured, those after it as the old pump would have used, which is what
the new one used over the ratio of the two at like context. The saving is what that year loses by
the ratio. Where the hours changed with the swap, as when a pump that never rested is switched now,
each pump's year stands for itself. What was not measured is stipulated, and labelled so.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.base.estimate import Estimate, plain
from analysis.base.time import DAY_MS, Span
from analysis.energy.pump_days import PumpDays
from analysis.plant.plant import Plant, Swap
from analysis.readings.readings import FloatArray, Record
from analysis.savings.claim import YEAR_HOURS, Ceiling, judge_claim
from analysis.savings.drawn_years import DrawnYears, Question, SwapCase, draw_years, swap_case
from analysis.savings.equal_context import ran, temperature_on
from analysis.savings.result import Saving, SavingDay, Side, worth_of
from analysis.statistics.change_point_regression import Points, best_shape, fit_signature
from analysis.statistics.uncertainty import Comparison, expansion, improved_factor, rectangular


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
    question = question or Question.of_swap(plant, swap)
    case = swap_case(plant, swap, record=record, span=span, question=question)
    return _result(case, draw_years(case))


def _result(case: SwapCase, drawn: DrawnYears) -> Saving:
    per_year = _estimate(drawn.saving, "season, comparison and meter drawn together")
    ceiling = _ceiling(case)
    so_far, days = _course(case, drawn)
    fuel = case.plant.boilers[0].fuel if case.plant.boilers else None
    worth = worth_of(per_year, case.plant.tariff, fuel)
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


def _side(case: SwapCase, days: PumpDays, span: Span, year: FloatArray) -> Side:
    there = case.has_before if days is case.before else case.has_after
    watts = days.mean_running_w
    if there:
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


def _ceiling(case: SwapCase) -> Ceiling | None:
    """All the old pump can have used: its greatest power, all the hours it can have run.

    An induction pump takes about one power at its setting. An electronic one takes more than it
    was seen to when its valves open, so that its plate tells, or the day on which it took most.
    """
    plate = case.swap.old.rated_power_w
    if not case.has_before:
        if plate is None:
            return None
        return Ceiling.of_power(plate[1], "old pump's nameplate, running all year")
    margin = 1.0 + 2.0 * rectangular(case.question.meter.gain) + 0.02
    if case.swap.old.drive == "induction":
        watts = case.before.mean_running_w * margin
        return Ceiling.of_power(watts, "old pump as measured, margin in, running all year")
    most = float(np.nanmax(case.before.running_w)) * margin
    if plate is not None and plate[1] > most:
        return Ceiling.of_power(plate[1], "old electronic pump's nameplate, running all year")
    return Ceiling.of_power(most, "old pump's day of most power, margin in, running all year")


def _course(case: SwapCase, drawn: DrawnYears) -> tuple[Estimate, tuple[SavingDay, ...]]:
    """Day by day: measured use, what the old pump would have used, and the saving so far."""
    before = [SavingDay(int(t), *_plain_pair(k), 0.0, 0.0, 0.0) for t, k in _rows(case.before)]
    after = case.after
    old = _old_use(case, drawn)
    saved = np.where(np.isfinite(after.kwh), old - np.nan_to_num(after.kwh), 0.0)
    course = np.cumsum(np.nan_to_num(saved), axis=1)
    band = np.quantile(course, (0.025, 0.5, 0.975), axis=0) if len(after) else np.empty((3, 0))
    uses = np.quantile(old, (0.025, 0.5, 0.975), axis=0) if len(after) else np.empty((3, 0))
    rows = [
        SavingDay(
            int(t),
            _known(k),
            _known(use[1]),
            _known(use[0]),
            _known(use[2]),
            float(far[1]),
            float(far[0]),
            float(far[2]),
        )
        for (t, k), use, far in zip(_rows(after), uses.T, band.T, strict=True)
    ]
    if not after.known:
        return Estimate.unknown("kW.h", "no days measured since the swap"), tuple(before)
    words = f"{after.known} days measured since the swap"
    low, middle, high = band[:, -1].tolist()
    return Estimate(middle, low, high, "kW.h", words), (*before, *rows)


def _old_use(case: SwapCase, drawn: DrawnYears) -> FloatArray:
    """What the old pump would have used each day after the swap, by possibility [kWh]."""
    after = case.after
    if case.hours_changed:
        daily = drawn.old[:, None] / YEAR_HOURS * after.hours[None, :]
        return np.asarray(np.where(np.isfinite(after.kwh), daily, np.nan))
    since = case.since
    by = after.kwh if since is None else since
    whole = float(np.nansum(by))
    if whole <= 0:
        return np.tile(by, (len(drawn.share), 1))
    # one that takes nothing tells of nothing
    total = np.nansum(after.kwh) / np.where(drawn.share > 0, drawn.share, np.inf)
    return np.asarray(total[:, None] * (by / whole)[None, :])


def _rows(days: PumpDays) -> list[tuple[int, float]]:
    return list(zip(days.start_ms.tolist(), days.kwh.tolist(), strict=True))


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _plain_pair(kwh: float) -> tuple[float | None, float | None, float | None, float | None]:
    return (_known(kwh),) * 4


def _guideline(case: SwapCase) -> dict[str, Any] | None:
    """Fractional savings uncertainty of the days so far, after Guideline 14, at 90 %.

    A signature of the days before, over outdoor temperature, predicts the days
    after: a second way to the same figure. Only days on which the pump ran count: when
    the heating is shut off for the season no temperature tells.
    """
    temp = temperature_on(case.outdoor, case.before.start_ms)
    there = np.isfinite(temp) & np.isfinite(case.before.kwh) & ran(case.before)
    later = temperature_on(case.outdoor, case.after.start_ms)
    known = np.isfinite(later) & np.isfinite(case.after.kwh) & ran(case.after)
    if there.sum() < 8 or known.sum() < 3:
        return None
    at = case.before.start_ms[there] // DAY_MS
    points = Points.of(temp[there], case.before.kwh[there], at=at, unit="kW.h")
    fit = fit_signature(points, shape=best_shape(points))
    predicted = float(fit.use_at(later[known]).sum())
    saved = predicted - float(case.after.kwh[known].sum())
    if predicted <= 0 or abs(saved) < 1e-6:
        return None
    fraction = saved / predicted
    rho = min(max(fit.memory.lag1 or 0.0, 0.0), 0.95)
    compared = Comparison(
        cv=fit.cv_rmse, before=int(there.sum()), after=int(known.sum()), autocorrelation=rho
    )
    t = expansion(0.90, max(int(there.sum()) - fit.parameters, 1))
    months = max(int(known.sum()) / 30.4, 1.0)
    improved = compared.savings_uncertainty(fraction, t, improved_factor(months, "daily"))
    return {
        "avoided_kwh": plain(saved),
        "saved_share": plain(fraction, 4),
        "cv_rmse": plain(fit.cv_rmse, 4),
        "autocorrelation": plain(rho, 4),
        "fractional_uncertainty_90": plain(compared.savings_uncertainty(fraction, t), 4),
        "sun_baltazar_90": plain(improved, 4),
        "note": "days on which the pump ran; approximate, in the style of ASHRAE Guideline 14; "
        "without the meter's error",
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
    value, low, high = (
        float(sum(getattr(one, end) for one in known)) for end in ("value", "low", "high")
    )
    per_year = Estimate(value, low, high, "kW.h", f"{len(known)} swaps, one season for all")
    claims = [s.swap.claim_kwh_per_year for s in savings]
    claim = None if None in claims else float(sum(c or 0.0 for c in claims))
    ceiling: Ceiling | None = savings[0].ceiling
    for one in savings[1:]:
        ceiling = None if ceiling is None or one.ceiling is None else ceiling.plus(one.ceiling)
    return Together(per_year, claim, ceiling)
