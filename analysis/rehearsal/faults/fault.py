"""What a rehearsed fault is: its plan, its stretch of a scene, and the row each fault ends in."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.random import Generator

from analysis.plant.plant import Channel, Plant
from analysis.rehearsal.course.play import Trajectory
from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.course.truth import TrueFault
from analysis.rehearsal.house.draw import ANYTHING, Wish, stream
from analysis.rehearsal.house.spec import HouseSpec, PumpSpec
from analysis.rehearsal.physics.records import Array

Season = Literal["winter", "autumn", "summer", "any"]
Shows = Literal["reading", "hour", "day", "silence"]


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


def _whole_part(plant: Plant, plan: FaultPlan) -> tuple[Channel, ...]:
    return plant.select(of=plan.subject)


def channel_alone(plant: Plant, plan: FaultPlan) -> tuple[Channel, ...]:
    """The one channel that a fault of a sensor befalls."""
    return tuple(c for c in plant.channels if c.id == plan.subject)


def has_store(spec: HouseSpec) -> bool:
    """Whether a house stores hot water."""
    return spec.store.layer_j_k > 0


@dataclass(frozen=True, slots=True, kw_only=True)
class RehearsedFault:
    """One fault of the model.

    Attributes
    ----------
    name : str
        As in findings.
    place : int
        Its place among the cases, from 1 on; a draw by chance follows this order.
    tells : str
        A sentence about its case.
    apply : callable
        Writes it into a scene.
    wish : Wish
        What its case needs of the house.
    season : str
        When its case is played.
    subject : str
        What it befalls; ``any`` one of the pumps.
    from_first_day : bool
        Whether it is there from the record's first day on, not from some day in its midst.
    lasts_days : tuple of float, optional
        Least and most days that it lasts; to the end by default.
    grows_days : tuple of float, optional
        Least and most days in which it grows; at once by default.
    sudden_share : float
        Chance that one which grows comes at once nevertheless.
    comes_and_goes : bool
        Whether it is at times interrupted.
    shows : str
        Where it shows: in single readings, in medians of hours or days, or in none that come.
    is_drawn : bool
        Whether it befalls houses by chance, or in its own case alone.
    may_befall : callable
        Whether a house can have it at all.
    variant : callable
        Which kind of it this is.
    house : callable
        The house as it must be for it.
    witnesses : callable
        Channels in which it can show first.
    is_separable : callable, optional
        Minutes in which it has grown to what sets it apart from usual scatter.
    turned_out : callable, optional
        What it became in the played scene, where that is not what was planned.
    mark : str
        Hard negative that is this fault in truth, wherever it is played.
    shown_days : float
        Length of a record that shows it well [d].
    """

    name: str
    place: int
    tells: str
    apply: Callable[[Scene, FaultPlan, Stretch], None]
    wish: Wish = ANYTHING
    season: Season = "winter"
    subject: str = "heating"
    from_first_day: bool = False
    lasts_days: tuple[float, float] | None = None
    grows_days: tuple[float, float] | None = None
    sudden_share: float = 0.0
    comes_and_goes: bool = False
    shows: Shows = "reading"
    is_drawn: bool = True
    may_befall: Callable[[HouseSpec], bool] = lambda _: True
    variant: Callable[[Generator, HouseSpec], str] = lambda _, __: ""
    house: Callable[[HouseSpec], HouseSpec] = lambda spec: spec
    witnesses: Callable[[Plant, FaultPlan], tuple[Channel, ...]] = _whole_part
    is_separable: Callable[[Scene, FaultPlan, int], np.ndarray] | None = None
    turned_out: Callable[[Scene, Trajectory, FaultPlan], list[TrueFault]] | None = None
    mark: str = ""
    shown_days: float = 30.0

    def put_into(self, scene: Scene, plan: FaultPlan) -> None:
        """Write it into a scene."""
        self.apply(scene, plan, stretch_of(scene, plan))


def plan_minutes(scene: Scene, plan: FaultPlan) -> tuple[int, int]:
    """First minute of a fault and the first after it."""
    end = scene.minutes if plan.end_day is None else scene.minute(plan.end_day)
    return scene.minute(plan.onset_day), end


def stretch_of(scene: Scene, plan: FaultPlan) -> Stretch:
    """Rows of a scene that a plan acts on, and its strength in each."""
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


def moment_ms(scene: Scene, seconds: float) -> int:
    """Moment of a second of the scene [ms]."""
    return int(scene.origin_ms + round(seconds * 1000.0))
