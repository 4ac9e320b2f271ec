"""Faults: what each does to the scene, from its onset on, as one table."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.rehearsal.course.scene import DRY_TRYING, STALLED, TRYING, Scene
from analysis.rehearsal.house.draw import stream
from analysis.rehearsal.house.spec import PumpSpec
from analysis.rehearsal.physics.motor import MAINS_V, running
from analysis.rehearsal.physics.records import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultPlan:
    """A fault to come: on what, from which day of the record, how fast and how far.

    `severity` runs from 0 to 1, the worst a rehearsal shows; `growth_days` 0
    is sudden; `end_day` None lasts. `on_share` below 1 makes it come and go.
    """

    subject: str
    fault: str
    onset_day: float
    severity: float = 1.0
    growth_days: float = 0.0
    end_day: float | None = None
    on_share: float = 1.0
    variant: str = ""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A fault's place in a scene: the rows it acts on and how strong it is in each."""

    rows: slice
    strength: Array
    loop: int


Apply = Callable[[Scene, FaultPlan, Stretch], None]


def apply_fault(scene: Scene, plan: FaultPlan) -> None:
    """Write a fault into the scene."""
    FAULTS[plan.fault](scene, plan, _stretch(scene, plan))


def plan_minutes(scene: Scene, plan: FaultPlan) -> tuple[int, int]:
    """First minute of a fault and the first after it."""
    end = scene.minutes if plan.end_day is None else scene.minute(plan.end_day)
    return scene.minute(plan.onset_day), end


def _stretch(scene: Scene, plan: FaultPlan) -> Stretch:
    begin, end = plan_minutes(scene, plan)
    since = np.arange(end - begin, dtype=float)
    grown = np.minimum(since / max(plan.growth_days * 1440.0, 1.0), 1.0)
    if plan.growth_days <= 0:
        grown = np.ones(end - begin)
    if plan.on_share < 1.0:
        grown = grown * _coming_and_going(scene, plan, end - begin)
    loop = next((i for i, one in enumerate(scene.spec.loops) if one.id == plan.subject), -1)
    return Stretch(slice(begin, end), np.asarray(plan.severity * grown, np.float64), loop)


def _coming_and_going(scene: Scene, plan: FaultPlan, minutes: int) -> Array:
    """Spells of some hours with the fault and without it."""
    rng = stream(scene.spec.seed, 40, len(plan.fault))
    spells = rng.exponential(240.0, minutes // 60 + 4) + 20.0
    there = rng.random(len(spells)) < plan.on_share
    there[0] = True
    edges = np.cumsum(spells)
    place = np.minimum(np.searchsorted(edges, np.arange(minutes)), len(there) - 1)
    return there[place].astype(np.float64)


def pump_at(scene: Scene, loop: int, minute: int) -> PumpSpec:
    """Pump that sits in the loop at a minute."""
    setting = int(scene.drivers.setting[loop, min(minute, scene.minutes - 1)])
    return scene.spec.loops[loop].all_settings()[setting][0]


def _stall(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    stands = at.strength > 0
    electronic = pump_at(scene, at.loop, at.rows.start).drive == "electronic"
    scene.profiles[plan.subject].halted[at.rows] = np.where(
        stands, TRYING if electronic else STALLED, 0
    )
    scene.drivers.turning[at.loop, at.rows] = np.where(stands, 0, 1)


def _dry_run(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    profile = scene.profiles[plan.subject]
    pump = pump_at(scene, at.loop, at.rows.start)
    dry = at.strength > 0
    scene.pressure_bar[at.rows] = np.where(dry, 0.25, scene.pressure_bar[at.rows])
    scene.drivers.head[at.loop, at.rows] = np.where(dry, 0.0, 1.0)
    if pump.drive == "electronic" and pump.dry_protection:
        profile.halted[at.rows] = np.where(dry, DRY_TRYING, 0)
        scene.drivers.turning[at.loop, at.rows] = np.where(dry, 0, 1)
    else:
        profile.load[at.rows] = np.where(dry, 0.06, profile.load[at.rows])


def put_air(scene: Scene, loop: int, rows: slice, amount: Array) -> None:
    """Put air into a loop's pump: less head and torque, and restless."""
    rng = stream(scene.spec.seed, 41, loop)
    bubbles = np.clip(1.0 + 0.5 * np.repeat(rng.standard_normal(len(amount) // 7 + 1), 7), 0.2, 2.0)
    share = np.clip(0.45 * amount * bubbles[: len(amount)], 0.0, 0.55)
    profile = scene.profiles[scene.spec.loops[loop].id]
    scene.drivers.head[loop, rows] *= 1.0 - share
    profile.load[rows] *= 1.0 - 0.85 * share
    electronic = pump_at(scene, loop, rows.start).drive == "electronic"
    profile.restless[rows] += (0.22 if electronic else 0.06) * amount


def _air(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    rng = stream(scene.spec.seed, 42)
    decay_min = rng.uniform(1.0, 3.0) * 1440.0
    amount = at.strength * np.exp(-np.arange(len(at.strength)) / decay_min)
    put_air(scene, at.loop, at.rows, amount)


def _dead_head(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    scene.drivers.extra_k[at.loop, at.rows] = np.where(at.strength > 0, 1e6, 0.0)


def _overheating(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    profile = scene.profiles[plan.subject]
    profile.cooling[at.rows] = 1.0 - 0.9 * np.minimum(at.strength * 1.5, 1.0)
    profile.loss[at.rows] = 25.0 + 35.0 * at.strength


def most_drag(pump: PumpSpec) -> float:
    """Drag a bearing may grow to before the rotor stands [share of rated torque]."""
    if pump.motor is None:
        return 0.5
    tries = np.linspace(0.05, 1.5, 30)
    speed = running(pump.motor, drag=tries, voltage_v=0.97 * MAINS_V * pump.settings[0].speed).speed
    turning = tries[speed > 0]
    return float(turning[-1] * 0.85) if len(turning) else 0.05


def _bearing_drag(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    most = most_drag(pump_at(scene, at.loop, at.rows.start))
    profile = scene.profiles[plan.subject]
    profile.drag[at.rows] = most * at.strength
    profile.restless[at.rows] += 0.008 * at.strength


def _capacitor_ageing(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    scene.profiles[plan.subject].capacity[at.rows] = 1.0 - 0.5 * at.strength


def _sludge(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    electronic = pump_at(scene, at.loop, at.rows.start).drive == "electronic"
    scene.drivers.resistance[at.loop, at.rows] *= 1.0 + 3.0 * at.strength
    scene.drivers.head[at.loop, at.rows] *= 1.0 - 0.25 * at.strength
    scene.profiles[plan.subject].load[at.rows] *= (
        1.0 + (0.25 if electronic else -0.05) * at.strength
    )


def _reversed_flow(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    scene.drivers.direction[at.loop, at.rows] = -1
    scene.drivers.head[at.loop, at.rows] *= 0.5
    scene.profiles[plan.subject].load[at.rows] *= 0.85


def _ghost_flow(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    scene.drivers.check_open[at.loop, at.rows] = (at.strength > 0).astype(np.int8)


def _standstill(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    scene.drivers.command[at.loop, at.rows] = -1


def _night_misfit(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    if plan.variant == "stuck":
        scene.drivers.night_stuck[at.loop, at.rows] = 1


def _setting_changed(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    """Another setting of the pump that is there; a pump fitted later has its own knob."""
    pump = pump_at(scene, at.loop, at.rows.start)
    table = scene.spec.loops[at.loop].all_settings()
    own = [i for i, (one, _) in enumerate(table) if one is pump]
    turned = next(i for i in own if table[i][1].label == plan.variant)
    rows = scene.drivers.setting[at.loop, at.rows]
    rows[np.isin(rows, own)] = turned


def _short_cycling(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    scene.drivers.hysteresis[at.rows] = 1.0 - 0.8 * at.strength


def _ignition_trouble(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    scene.drivers.ignition_fail[at.rows] += 0.5 * at.strength


def _return_too_warm(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    wanted = 62.0 + 14.0 * at.strength
    scene.drivers.flow_set_c[at.rows] = np.where(
        at.strength > 0,
        np.maximum(wanted, scene.drivers.flow_set_c[at.rows]),
        scene.drivers.flow_set_c[at.rows],
    )


def _standing_loss(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    driver = scene.drivers.store_loss if plan.subject == "store" else scene.drivers.boiler_loss
    driver[at.rows] *= 1.0 + 3.0 * at.strength


def _frost_risk(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    """Heating off in a cold spell, a cellar door left open."""
    del plan
    d = scene.drivers
    cold = np.minimum(d.outdoor_c[at.rows], 2.0 - 10.0 * at.strength)
    d.outdoor_c[at.rows] = cold
    hours = np.arange(len(cold)) / 60.0
    share = np.exp(-hours / 14.0)
    d.cellar_c[at.rows] = share * d.cellar_c[at.rows] + (1.0 - share) * (cold + 3.0)
    d.heat_on[at.rows] = 0


def _store_too_cool(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    scene.drivers.charge_set_c[at.rows] = np.where(
        at.strength > 0, 48.0 - 6.0 * at.strength, scene.drivers.charge_set_c[at.rows]
    )


def _supply_lost(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    del plan
    scene.drivers.burner_supply[at.rows] = np.where(at.strength > 0, 0, 1)


def _sensor(scene: Scene, plan: FaultPlan, at: Stretch) -> None:
    scene.service.append((plan.fault, plan.subject, at.rows.start, at.rows.stop, plan.severity))


FAULTS: dict[str, Apply] = {
    "stall": _stall,
    "dry_run": _dry_run,
    "air": _air,
    "dead_head": _dead_head,
    "overheating": _overheating,
    "bearing_drag": _bearing_drag,
    "capacitor_ageing": _capacitor_ageing,
    "sludge": _sludge,
    "reversed_flow": _reversed_flow,
    "ghost_flow": _ghost_flow,
    "standstill_risk": _standstill,
    "night_reduction_misfit": _night_misfit,
    "setting_changed": _setting_changed,
    "short_cycling": _short_cycling,
    "ignition_trouble": _ignition_trouble,
    "return_too_warm": _return_too_warm,
    "standing_loss_high": _standing_loss,
    "frost_risk": _frost_risk,
    "store_too_cool": _store_too_cool,
    "supply_lost": _supply_lost,
    "sensor_off_pipe": _sensor,
    "sensor_stuck": _sensor,
    "channel_silent": _sensor,
}
"""Every fault a finding can name, and what it does to the scene."""
