"""Rehearse a case: a house from a seed, what befalls it, its readings and the truth."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from analysis.base.time import from_ms
from analysis.plant.plant import Plant, PumpPlate, Swap
from analysis.readings.readings import Readings
from analysis.rehearsal.course.play import Trajectory, play
from analysis.rehearsal.course.scene import Scene, make_scene
from analysis.rehearsal.course.truth import TrueSwap, TrueYear, Truth
from analysis.rehearsal.course.year import YEAR_DAYS, play_year, pump_kwh
from analysis.rehearsal.faults.fault import FaultPlan
from analysis.rehearsal.faults.negatives import NegativePlan, apply_negative
from analysis.rehearsal.faults.registry import FAULTS, apply_fault
from analysis.rehearsal.house.draw import draw_house
from analysis.rehearsal.house.layout import Layout, draw_layout, plant_of
from analysis.rehearsal.house.spec import HouseSpec
from analysis.rehearsal.instruments.instruments import record_of
from analysis.rehearsal.plan.cases import CASES, Case
from analysis.rehearsal.plan.events import (
    SwapPlan,
    draw_faults,
    draw_negatives,
    draw_start_ms,
    draw_swap,
    only_pump,
    with_swap,
)
from analysis.rehearsal.plan.telling import true_faults, true_firings, true_negatives


@dataclass(frozen=True, slots=True, kw_only=True)
class Staging:
    """Everything decided before a rehearsal is played."""

    case: Case
    spec: HouseSpec
    layout: Layout
    start_ms: int
    days: float
    faults: tuple[FaultPlan, ...] = ()
    negatives: tuple[NegativePlan, ...] = ()
    swap: SwapPlan | None = None
    hourly_c: NDArray[np.float64] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsal:
    """A rehearsed record with its truth.

    Attributes
    ----------
    plant : Plant
        As the owner would describe it.
    record : mapping of str to Readings
        What the instruments sent, by channel id.
    truth : Truth
        What really happened.
    scene, trajectory
        The inside of the model, for pictures and checks.
    """

    plant: Plant
    record: Mapping[str, Readings]
    truth: Truth
    scene: Scene = field(repr=False)
    trajectory: Trajectory = field(repr=False)


def rehearse(
    case: str,
    days: float,
    seed: int,
    *,
    start_ms: int | None = None,
    year: bool = True,
    hourly_c: NDArray[np.float64] | None = None,
) -> Rehearsal:
    """Rehearse a case.

    Parameters
    ----------
    case : str
        A name of `cases`.
    days : float
        Length of the record.
    seed : int
        The house, its people and its instruments.
    start_ms : int, optional
        First moment [ms]; by default drawn within the season the case wants.
    year : bool
        Also march through a whole year for the yearly truths, some ten seconds.
    hourly_c : ndarray, optional
        A measured year of hourly outdoor temperatures instead of drawn weather [Cel].

    Raises
    ------
    KeyError
        There is no such case.
    """
    return perform(stage(CASES[case], days, seed, start_ms=start_ms, hourly_c=hourly_c), year=year)


def stage(
    case: Case,
    days: float,
    seed: int,
    *,
    start_ms: int | None = None,
    hourly_c: NDArray[np.float64] | None = None,
) -> Staging:
    """Draw the house and all that will befall it."""
    spec = draw_house(seed, case.wish)
    for name in case.faults:
        spec = FAULTS[name].house(spec)
    swap = draw_swap(case, spec, days)
    spec = with_swap(spec, swap)
    faults = draw_faults(case, spec, days)
    return Staging(
        case=case,
        spec=spec,
        layout=draw_layout(spec, case.wish),
        start_ms=draw_start_ms(case, seed) if start_ms is None else start_ms,
        days=days,
        faults=tuple(faults),
        negatives=tuple(draw_negatives(case, spec, faults, days)),
        swap=swap,
        hourly_c=hourly_c,
    )


def set_scene(staging: Staging, faults: tuple[FaultPlan, ...], days: float | None = None) -> Scene:
    """Scene of a staging with some of its faults, over its own length or another."""
    scene = make_scene(
        staging.spec,
        start_ms=staging.start_ms,
        days=staging.days if days is None else days,
        hourly_c=staging.hourly_c,
    )
    if staging.swap is not None:
        _fit_new_pump(scene, staging.swap)
    for negative in staging.negatives:
        apply_negative(scene, negative, staging.layout)
    for fault in faults:
        apply_fault(scene, fault)
    return scene


def _fit_new_pump(scene: Scene, swap: SwapPlan) -> None:
    """Two hours without mains and heat, then the new pump at its first setting."""
    loop = scene.spec.index("heating")
    begin = scene.minute(swap.day)
    first = scene.spec.loops[loop].first_setting(1)
    scene.drivers.setting[loop, begin:] = first
    scene.drivers.mains[loop, begin : begin + 110] = 0
    scene.drivers.burner_supply[begin : begin + 110] = 0
    if swap.released:
        scene.drivers.timer[loop, begin:] = 0
    if swap.mistake == "isolator_half_shut":
        scene.drivers.extra_k[loop, begin:] = 12.0 * scene.spec.loops[loop].pipe_k


def perform(
    staging: Staging,
    *,
    year: bool = True,
    twins: bool = True,
    trajectory: Trajectory | None = None,
) -> Rehearsal:
    """Play a staging and tell the truth about it.

    Parameters
    ----------
    staging : Staging
        What was decided.
    year : bool
        March through the year for the yearly truths.
    twins : bool
        Play each fault's twin to learn when it shows; else its faults are not told.
    trajectory : Trajectory, optional
        How it was played before, to be read by the instruments once more.
    """
    scene = set_scene(staging, staging.faults)
    step_s = 5.0 if min(plug.device.interval_s for plug in staging.layout.plugs) < 10.0 else 10.0
    trajectory = play(scene, step_s=step_s) if trajectory is None else trajectory
    record = record_of(scene, trajectory, staging.layout)
    plant = plant_of(staging.spec, staging.layout)
    energy, whole = _year(staging) if year else ({}, None)
    swap = _true_swap(staging, year=year)
    if swap is not None:
        energy = energy if swap.after_kwh is None else {**energy, "heating": swap.after_kwh}
        plant = replace(plant, swaps=(_plate(staging, swap),))
    shown = {
        plan: record_of(bare, play(bare, step_s=step_s), staging.layout)
        for plan in (staging.faults if twins else ())
        if (bare := set_scene(staging, tuple(one for one in staging.faults if one != plan)))
    }
    truth = Truth(
        case=staging.case.name,
        seed=staging.spec.seed,
        start_ms=staging.start_ms,
        end_ms=scene.time_ms(scene.minutes),
        cycles=true_firings(scene, trajectory),
        energy_kwh_per_year=energy,
        faults=true_faults(scene, trajectory, plant, record, shown),
        negatives=true_negatives(scene),
        swap=swap,
        year=whole,
        settings={one.id: one.pumps[-1].settings[0].label for one in staging.spec.loops},
    )
    return Rehearsal(plant=plant, record=record, truth=truth, scene=scene, trajectory=trajectory)


def _year(staging: Staging) -> tuple[dict[str, float], TrueYear]:
    scene = set_scene(staging, staging.faults, max(YEAR_DAYS, staging.days))
    return play_year(scene)


def _true_swap(staging: Staging, *, year: bool) -> TrueSwap | None:
    """Yearly energy with the old and with the new pump all year, in the same house and weather."""
    swap = staging.swap
    if swap is None:
        return None
    before = after = None
    loop = staging.spec.loop("heating")
    if year:
        old = only_pump(staging.spec, loop.pumps[0], always_on=loop.always_on)
        new = only_pump(staging.spec, swap.new, always_on=loop.always_on and not swap.released)
        before, after = (_energy_of(staging, spec) for spec in (old, new))
    claim = None if before is None or after is None else (before - after) * swap.claim_factor
    return TrueSwap(
        pump="heating",
        time_ms=staging.start_ms + round(swap.day * 1440) * 60_000,
        before_kwh=before,
        after_kwh=after,
        claim_kwh=None if claim is None else round(claim),
        mistake=swap.mistake,
    )


def _energy_of(staging: Staging, spec: HouseSpec) -> float:
    scene = make_scene(spec, start_ms=staging.start_ms, days=YEAR_DAYS, hourly_c=staging.hourly_c)
    return pump_kwh(scene, play(scene, step_s=60.0))["heating"]


def _plate(staging: Staging, swap: TrueSwap) -> Swap:
    """The swap as the owner wrote it down."""
    loop = staging.spec.loop("heating")
    old, new = loop.pumps
    released = staging.swap is not None and staging.swap.released
    return Swap(
        pump="heating",
        time=from_ms(swap.time_ms),
        claim_kwh_per_year=swap.claim_kwh,
        old=PumpPlate(
            drive=old.drive,
            rated_power_w=old.rated_power_w,
            always_on=loop.always_on,
            port_to_port_mm=old.port_to_port_mm,
        ),
        new=PumpPlate(
            drive=new.drive,
            rated_power_w=new.rated_power_w,
            always_on=loop.always_on and not released,
            port_to_port_mm=new.port_to_port_mm,
        ),
    )
