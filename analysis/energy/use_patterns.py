"""Ways a machine may go through the year: how its daily use follows the weather.

Each habit is a straight line in two drivers, which differ by shape. What is held of them
beforehand is common practice without a source, tried on rehearsed houses (seeds below 1000).
"""

from dataclasses import dataclass, fields
from typing import Literal

import numpy as np

from analysis.readings.readings import FloatArray, IntArray

Shape = Literal["flat", "season", "demand", "line"]
Kind = Literal["heating", "water", "boiler"]

LOAD_K = 20.0
"""Kelvin below the heating limit over which an electronic pump's power rises."""
_STIFFNESS = 5.0
"""How abruptly duty saturates: set-back hours and a rising flow temperature hold it down."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Weathers:
    """What is drawn of how heating follows the weather, one a possibility, shape (k, 1).

    Attributes
    ----------
    limit_c : ndarray
        Outdoor temperature above which nobody heats [Cel].
    soft_k : ndarray
        Width of the change from rest to running of a circuit switched by season [K].
    duty_k : ndarray
        Kelvin below the balance at which a circuit switched by the room would never rest [K].
    line_k : ndarray
        Kelvin below the limit at which a boiler's demand is whole [K].
    bend : ndarray
        Exponent of an electronic pump's power over its load: valves and curve decide.
    sun_k : ndarray
        How much lower the balance lies at midsummer's sun than without any [K].
    lag_days : ndarray
        Time over which a control and the walls damp the outdoor temperature [d].
    """

    limit_c: FloatArray
    soft_k: FloatArray
    duty_k: FloatArray
    line_k: FloatArray
    bend: FloatArray
    sun_k: FloatArray
    lag_days: FloatArray

    def of(self, rows: IntArray) -> "Weathers":
        """Only some of the possibilities."""
        return Weathers(**{one.name: getattr(self, one.name)[rows] for one in fields(self)})

    def damped(self, temp_c: FloatArray) -> FloatArray:
        """Daily means of the outdoor temperature as a first-order lag leaves them [Cel].

        Heating is shut off for the season by a damped temperature, so that one mild day after
        cold ones runs through (common practice, no source).

        Parameters
        ----------
        temp_c : ndarray, shape (k, n) or (1, n)
            Daily means of days in a row [Cel], none missing.

        Returns
        -------
        damped_c : ndarray, shape (k, n)
        """
        lag = self.lag_days[:, 0]
        keep = np.exp(-1.0 / lag)
        within = lag * (1.0 - keep)
        found = np.empty((len(lag), temp_c.shape[1]))
        state = np.broadcast_to(temp_c[:, 0], len(lag))
        for day, temp in enumerate(temp_c.T):
            found[:, day] = temp + (state - temp) * within
            state = temp + (state - temp) * keep
        return found

    def columns(
        self, shape: Shape, temp_c: FloatArray, sun: FloatArray, *, slow_c: FloatArray
    ) -> FloatArray:
        """The two drivers of a shape.

        Parameters
        ----------
        shape : {"flat", "season", "demand", "line"}
            "flat" runs always, its power rises with the load; "season" runs whole
            days below the limit; "demand" runs the longer the colder it is, and a
            rest without demand; "line" is a base and a demand that saturates.
        temp_c : ndarray, shape (k, n) or (1, n)
            Daily means outdoors [Cel].
        sun : ndarray, shape (n,)
            Height of the sun's year, 0 in midwinter, 1 in midsummer.
        slow_c : ndarray, shape (k, n)
            The same days' damped temperature [Cel].

        Returns
        -------
        columns : ndarray, shape (2, k, n)
        """
        lack = self.limit_c - temp_c
        load = np.clip(lack / LOAD_K, 0.0, 1.3) ** self.bend
        if shape == "flat":
            return np.stack((np.ones_like(load), load))
        if shape == "season":
            on = np.clip((self.limit_c - slow_c) / self.soft_k + 0.5, 0.0, 1.0)
            return np.stack((on, on * load))
        if shape == "line":
            return np.stack((np.ones_like(load), np.clip(lack / self.line_k, 0.0, 1.0)))
        lack = self.limit_c - slow_c
        pull = np.maximum(lack + 1.0 - self.sun_k * sun, 0.0) / self.duty_k
        duty = pull / (1.0 + pull**_STIFFNESS) ** (1.0 / _STIFFNESS)
        return np.stack((duty, 1.0 - duty))


def drawn_weathers(rng: np.random.Generator, number: int) -> Weathers:
    """Draw how heating may follow the weather."""

    def column(values: FloatArray) -> FloatArray:
        return np.asarray(values[:, None])

    return Weathers(
        limit_c=column(rng.normal(15.5, 1.1, number)),
        soft_k=column(rng.uniform(0.3, 3.0, number)),
        duty_k=column(np.exp(rng.normal(np.log(14.0), 0.3, number))),
        line_k=column(np.exp(rng.uniform(np.log(6.0), np.log(25.0), number))),
        bend=column(rng.uniform(1.0, 2.0, number)),
        sun_k=column(np.maximum(rng.normal(1.5, 1.0, number), 0.0)),
        lag_days=column(rng.uniform(0.1, 2.5, number)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Habit:
    """One way a machine may go through the year.

    `first` and `second` are mean and standard deviation of what the shape's two
    drivers bear, as shares of a day's energy at full power; `chance` is how
    usual the habit is beforehand. `unrest` is how far days usually scatter
    about it, `drift` what a year may differ from it, as shares of the use.
    `tied` has a rise of the first take from the second; `of_seen` has shares count
    from the usual day seen, not from full power. `least` is the least that the first can bear:
    a clock lets heating run for six hours a day or more (common practice, no source).
    """

    words: str
    chance: float
    shape: Shape
    first: tuple[float, float]
    second: tuple[float, float]
    unrest: float
    drift: float
    tied: bool = False
    of_seen: bool = False
    least: float = 0.0

    @property
    def centre(self) -> FloatArray:
        """Mean of what the two drivers bear."""
        return np.array([self.first[0], self.second[0]])

    @property
    def covariance(self) -> FloatArray:
        """Covariance of what the two drivers bear."""
        a, b = self.first[1] ** 2, self.second[1] ** 2
        return np.array([[a, -a], [-a, a + b]]) if self.tied else np.diag([a, b])


_MAINS = 0.035
"""What a year of an induction pump that never rests may differ from weeks of it: its power goes
with the square of the mains voltage, which wanders by two in a hundred from season to season
(common practice, no source; EN 50160 allows ten)."""
SAME, LESS, RESTS = "the same all year", "less out of season", "rests out of season"
_NOTHING = (0.0, 0.02)

WATER = (
    Habit(
        words=SAME, chance=1.0, shape="flat",
        first=(1.0, 0.3), second=(0.1, 0.1), unrest=0.25, drift=0.055, of_seen=True,
    ),
)  # fmt: skip
"""Hot water: a tenth more in winter, its cold water being colder (usual profiles, from memory)."""
BOILER = (
    Habit(
        words=LESS, chance=1.0, shape="line",
        first=(0.1, 0.1), second=(0.4, 0.3), unrest=0.2, drift=0.1, tied=True,
    ),
)  # fmt: skip


def heating(
    *, is_steady: bool, is_always_on: bool, rests: bool, is_switched: bool = False
) -> tuple[Habit, ...]:
    """What may be expected of a heating pump.

    Parameters
    ----------
    is_steady : bool
        It draws nearly the same power whenever it runs, as an induction pump does.
    is_always_on : bool
        The plant file says that it never rests, and it was not seen resting.
    rests : bool
        It was seen resting: by clock or by demand.
    is_switched : bool
        Somebody wrote down that it does not run always.
    """
    always = (0.03 if rests else 0.06) * (0.25 if is_switched else 1.0)
    rise = _NOTHING if is_steady else (0.25, 0.25)
    wander = 0.05 if is_steady else 0.08
    level = (0.95, 0.15) if is_steady else (0.65, 0.2)
    flat = Habit(
        words=SAME if is_steady else LESS, chance=always, shape="flat",
        first=level, second=rise, unrest=0.05, drift=_MAINS if is_steady else 0.05, least=0.25,
    )  # fmt: skip
    if is_always_on:
        return (flat,)
    season = Habit(
        words=RESTS, chance=0.5 if rests else 0.77, shape="season",
        first=level, second=rise, unrest=0.05, drift=0.03 if is_steady else 0.07, least=0.25,
    )  # fmt: skip
    demand = Habit(
        words=RESTS, chance=0.35 if rests else 0.1, shape="demand",
        first=(0.7, 0.3), second=(0.01, 0.02), unrest=0.2, drift=wander,
    )  # fmt: skip
    based = Habit(
        words=LESS, chance=0.12 if rests else 0.07, shape="demand",
        first=(0.7, 0.3), second=(0.12, 0.1), unrest=0.2, drift=wander,
    )  # fmt: skip
    return flat, season, demand, based
