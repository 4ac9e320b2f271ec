"""Draw what befalls a house: when it begins, the faults, the hard negatives, the swap."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator

from analysis.base.time import DAY_MS, parse_rfc3339
from analysis.rehearsal.faults.fault import FaultPlan, Season
from analysis.rehearsal.faults.negatives import NEGATIVES, NegativePlan
from analysis.rehearsal.faults.night_reduction_misfit import FAULT as NIGHT_MISFIT
from analysis.rehearsal.faults.registry import FAULTS
from analysis.rehearsal.house.draw import stream
from analysis.rehearsal.house.draw_pumps import electronic_pump
from analysis.rehearsal.house.spec import HouseSpec, LoopSpec, PumpSpec
from analysis.rehearsal.plan.cases import CASES, Case

_BEGINS: dict[Season, tuple[str, int]] = {
    "winter": ("2025-11-05T00:00:00Z", 90),
    "autumn": ("2025-10-18T00:00:00Z", 4),
    "summer": ("2025-06-01T00:00:00Z", 30),
    "any": ("2025-01-01T00:00:00Z", 364),
}
"""First day a record may begin on, and how many days later it may."""

FAULT_CHANCE = 0.3
"""Chance of a fault in a `mixed` record; lasting a fifth of it on one pump of two or three,
that is some 2 to 3 % of pump-days."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SwapPlan:
    """A swap of the heating pump on a day of the record."""

    day: float
    new: PumpSpec
    mistake: str | None
    claim_factor: float
    released: bool


def draw_start_ms(case: Case, seed: int) -> int:
    """Midnight UTC on which the record begins."""
    first, spread = _BEGINS[case.season]
    return parse_rfc3339(first) + int(stream(seed, 60).integers(0, spread + 1)) * DAY_MS


def draw_faults(case: Case, spec: HouseSpec, days: float) -> list[FaultPlan]:
    """Faults of this case in this house."""
    rng = stream(spec.seed, 61)
    names, subject = list(case.faults), case.subject
    if case.name == "mixed" and rng.random() < FAULT_CHANCE:
        names = [str(rng.choice(_possible(spec)))]
        subject = CASES[names[0]].subject
    if case.name == "any_fault":
        names = [str(rng.choice(_possible(spec)))]
        subject = CASES[names[0]].subject
    plans = [_draw_fault(rng, name, subject, spec, days) for name in names]
    if case.swap:
        return [_moved(plan, swap_day(spec.seed, days)) for plan in plans]
    return plans


def _moved(plan: FaultPlan, day: float) -> FaultPlan:
    """The fault from another day on, without pauses and as long as it was to last."""
    end = None if plan.end_day is None else plan.end_day + day - plan.onset_day
    return replace(plan, onset_day=day, end_day=end, on_share=1.0)


def _possible(spec: HouseSpec) -> list[str]:
    """Faults this house can have at all."""
    return [name for name, row in FAULTS.items() if row.is_drawn and row.may_befall(spec)]


def _draw_fault(rng: Generator, name: str, subject: str, spec: HouseSpec, days: float) -> FaultPlan:
    row = FAULTS[name]
    onset = float(rng.uniform(0.35, 0.6)) * days
    if row.from_first_day:
        onset = 1.0
    growth = 0.0
    if row.grows_days is not None:
        onset = float(rng.uniform(0.25, 0.4)) * days
        growth = min(float(rng.uniform(*row.grows_days)), 0.55 * days)
    if row.sudden_share and rng.random() < row.sudden_share:
        growth = 0.0
    end = None if row.lasts_days is None else onset + float(rng.uniform(*row.lasts_days))
    if subject == "any":
        subject = str(rng.choice([one.id for one in spec.loops]))
    return FaultPlan(
        subject=_present(subject, spec),
        fault=name,
        onset_day=onset,
        severity=float(rng.uniform(0.45, 1.0)),
        growth_days=growth,
        end_day=end,
        on_share=0.75 if row.comes_and_goes and rng.random() < 0.3 else 1.0,
        variant=row.variant(rng, spec),
    )


def _present(subject: str, spec: HouseSpec) -> str:
    if subject == "store" and spec.store.layer_j_k <= 0:
        return spec.boiler_id
    return subject


def draw_negatives(
    case: Case, spec: HouseSpec, faults: list[FaultPlan], days: float
) -> list[NegativePlan]:
    """Hard negatives: those the case is about, and others until half of the time is hard."""
    rng = stream(spec.seed, 62)
    plans = [_draw_negative(rng, what, days, case) for what in case.events]
    usual = [
        n
        for n in NEGATIVES
        if n
        not in (
            "summer_off",
            "anti_seize_kick",
            "clock_change",
            "overrun",
            "store_priority",
            "sensors_swapped",
            *case.events,
        )
    ]
    if case.season == "summer":
        usual = ["power_cut", "plug_reboot", "wifi_gap", "mains_trend", "new_plug_gain"]
    names = [str(n) for n in rng.permutation(usual)[: case.others]]
    if case.name in ("healthy", "mixed"):
        names += ["valves_closed", "mains_trend", "holiday", "firewood_day"] * 3
    for name in names:
        if case.name in ("healthy", "mixed") and _share(plans, days) > 0.55:
            break
        plan = _draw_negative(rng, name, days, case)
        if not _masks(plan, faults) and not (name == "new_plug_gain" and case.swap):
            plans.append(plan)
    return plans


def _draw_negative(rng: Generator, what: str, days: float, case: Case) -> NegativePlan:
    low, high = NEGATIVES[what].days
    length = float(low + (high - low) * rng.random() ** 1.5)
    if what in ("sensors_swapped", "overrun"):
        return NegativePlan(what=what, day=0.0, days=days)
    if what in ("summer_off", "anti_seize_kick"):
        return NegativePlan(what=what, day=0.15 * days, days=min(length, 0.8 * days))
    if what == "clock_change":
        return NegativePlan(what=what, day=min(0.5 * days, 6.0), days=1.0)
    del case
    return NegativePlan(
        what=what, day=float(rng.uniform(0.05, 0.92)) * days, days=min(length, 0.3 * days)
    )


def _share(plans: list[NegativePlan], days: float) -> float:
    """Share of the record's hours in which something hard goes on."""
    hours = np.zeros(int(days * 24) + 1, bool)
    for plan in plans:
        hours[int(plan.day * 24) : int((plan.day + plan.days) * 24) + 1] = True
    return float(hours.mean())


def _masks(plan: NegativePlan, faults: list[FaultPlan]) -> bool:
    """Whether this would hide a fault's beginning, or change the knob while it grows."""
    for fault in faults:
        if plan.what in ("knob_turned", "summer_off"):
            return True
        end = min(fault.end_day or np.inf, fault.onset_day + 2.0)
        if plan.day < end and plan.day + plan.days > fault.onset_day - 0.3:
            return True
    return False


def swap_day(seed: int, days: float) -> float:
    """Day of the swap, at about ten in the morning."""
    share = float(stream(seed, 63).uniform(0.4, 0.6))
    return round(days * share) + 0.42


def draw_swap(case: Case, spec: HouseSpec, days: float) -> SwapPlan | None:
    """Draw the swap of this case, None where there is none."""
    if not case.swap:
        return None
    rng = stream(spec.seed, 64)
    loop = spec.loop("heating")
    resistance = loop.pipe_k + 10.197 / loop.kv_open**2
    head = 1.6
    flow = float(np.sqrt(head / resistance))
    label = {"too_strong": "III", "too_weak": "I"}.get(case.mistake or "")
    night = case.mistake == NIGHT_MISFIT.name
    new = electronic_pump(
        rng,
        flow=flow,
        head=head,
        floor=loop.mixed_by > 0,
        night=night,
        setting="pp high" if night else label,
    )
    return SwapPlan(
        day=swap_day(spec.seed, days),
        new=new,
        mistake=case.mistake,
        claim_factor=float(rng.choice([1.0, 1.0, 1.5, 0.7])) * float(rng.uniform(0.95, 1.05)),
        released=loop.always_on and bool(rng.random() < 0.4),
    )


def with_swap(spec: HouseSpec, swap: SwapPlan | None) -> HouseSpec:
    """The house with the new pump's settings after the old one's in its heating loop."""
    if swap is None:
        return spec
    loops = tuple(
        replace(one, pumps=(one.pumps[0], swap.new)) if one.id == "heating" else one
        for one in spec.loops
    )
    return replace(spec, loops=loops)


def only_pump(spec: HouseSpec, pump: PumpSpec, *, always_on: bool) -> HouseSpec:
    """The house as if this were its heating pump, all the time."""

    def changed(one: LoopSpec) -> LoopSpec:
        if one.id != "heating":
            return one
        return replace(one, pumps=(pump,), always_on=always_on)

    return replace(spec, loops=tuple(changed(one) for one in spec.loops))
