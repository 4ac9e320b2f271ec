"""What is usual for a plant's machines, as records small enough for the journal."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from typing import Any, Self

from analysis.readings.power_levels import Levels

LEAST_RUN_MIN = 120
"""Running minutes before a pump's own level counts as known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpLearned:
    """What is usual for one pump.

    Attributes
    ----------
    levels : Levels
        Of the voltage-normalised power of an induction pump, else of plain power.
    run_minutes : int
        Minutes it was seen running.
    step_w : float
        Step in which its plug tells power: a reading may be so far below the truth [W].
    heard : float
        Share of the time in which its power was known.
    factor : float or None
        Usual power factor when running.
    gap_k : float or None
        Most by which the loop's flow pipe stays below the boiler's while running [K].
    flow_low_c : float or None
        Least temperature of the loop's flow pipe in steady running [Cel].
    source_low_c, source_high_c : float or None
        Least and most of the temperature that feeds the loop in steady running [Cel].
    body_over_k : float or None
        Most by which the body is warmer than the water in its pipes [K].
    heard_by_fire : float or None
        Share of the minutes of firing, no store being charged, in which its power was known.
    follows : float or None
        Share of the minutes of firing, no store being charged, in which it ran.
    longest_rest_min : int
        Longest rest during such firing [min].
    pause_min : int
        Longest of the pauses that are its habit [min], 0 where it has none.
    recurs_min : int
        Longest of the stretches told as a fault that ended by themselves, where three days or
        more had one [min], else 0.
    rest_days, rest_most_min : int
        Days of the last four weeks with a rest that began and ended by itself, and the longest
        such rest [min].
    rests_since_ms : int or None
        When the rest began that stood at the end of what was learned [ms].
    rests_from : tuple of int
        Longest rest that began in each quarter hour of the local day, where several days had
        one [min], else 0.
    longest_run_min : int
        Longest run seen [min].
    slots : tuple of float
        Share of the days on which it ran, by quarter hour of the local day.
    """

    levels: Levels = field(default_factory=Levels)
    run_minutes: int = 0
    step_w: float = 0.0
    heard: float = 0.0
    factor: float | None = None
    gap_k: float | None = None
    flow_low_c: float | None = None
    source_low_c: float | None = None
    source_high_c: float | None = None
    body_over_k: float | None = None
    heard_by_fire: float | None = None
    follows: float | None = None
    longest_rest_min: int = 0
    pause_min: int = 0
    recurs_min: int = 0
    rest_days: int = 0
    rest_most_min: int = 0
    rests_since_ms: int | None = None
    rests_from: tuple[int, ...] = ()
    longest_run_min: int = 0
    slots: tuple[float, ...] = ()

    @property
    def is_known(self) -> bool:
        """Whether it was seen running long enough to be judged by its own level."""
        return self.run_minutes >= LEAST_RUN_MIN and self.levels.usual_w is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantLearned:
    """What is usual for a plant: its pumps, and the electric levels of its boilers.

    `store_low_c` is the least usual temperature at the top of the store [Cel]; `silent_ms` how
    long a channel may be silent, where that is its habit [ms]; `days` were looked at, up to
    `until_ms` [ms]. `switched` are the pumps whose plug loses its supply whenever they rest.
    """

    pumps: Mapping[str, PumpLearned] = field(default_factory=dict)
    boilers: Mapping[str, Levels] = field(default_factory=dict)
    store_low_c: float | None = None
    silent_ms: Mapping[str, int] = field(default_factory=dict)
    days: float = 0.0
    until_ms: int = 0
    switched: tuple[str, ...] = ()

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return asdict(self)

    @classmethod
    def from_document(cls, document: Mapping[str, Any]) -> Self:
        """Read the JSON form; entries of other editions are passed over."""
        pumps, boilers = document.get("pumps", {}), document.get("boilers", {})
        return cls(
            pumps={name: _pump_from(one) for name, one in pumps.items()},
            boilers={name: Levels(**_known(Levels, one)) for name, one in boilers.items()},
            store_low_c=document.get("store_low_c"),
            silent_ms=document.get("silent_ms", {}),
            days=float(document.get("days", 0.0)),
            until_ms=int(document.get("until_ms", 0)),
            switched=tuple(document.get("switched", ())),
        )


def _known(kind: type, row: Mapping[str, Any]) -> dict[str, Any]:
    names = {one.name for one in fields(kind)}
    return {name: value for name, value in row.items() if name in names}


def _pump_from(row: Mapping[str, Any]) -> PumpLearned:
    kept = _known(PumpLearned, row)
    levels = Levels(**_known(Levels, kept.pop("levels", {})))
    slots, rests = (tuple(kept.pop(name, ())) for name in ("slots", "rests_from"))
    return PumpLearned(levels=levels, slots=slots, rests_from=rests, **kept)
