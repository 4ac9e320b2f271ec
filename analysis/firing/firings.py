"""What every source of firings gives: runs of the burner, and how they were found."""

from dataclasses import dataclass
from typing import Any, Literal

from analysis.base.estimate import plain
from analysis.readings.two_levels import Runs

Method = Literal["power", "temperature", "fuel"]
Tells = Literal["firings", "running"]
LevelName = Literal["off", "standby", "pump", "preheat", "purge", "firing"]


@dataclass(frozen=True, slots=True)
class PowerLevel:
    """One level of the boiler's electric power: its name, power [W], share of the time."""

    name: LevelName
    power_w: float
    low_w: float
    high_w: float
    share: float

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "name": self.name,
            "power_w": plain(self.power_w, 4),
            "low_w": plain(self.low_w, 4),
            "high_w": plain(self.high_w, 4),
            "share": plain(self.share, 4),
        }


@dataclass(frozen=True, slots=True)
class Firings:
    """Runs of the burner from one channel.

    `covered_h` are the hours over which they would have been seen, `step_s`
    how finely; `levels` the electric levels they were told by, if any.
    Where `tells` is ``running`` a run is a stretch over which the boiler works,
    with any number of firings in it, and `note` says why no more can be told.
    """

    method: Method
    channel: str
    runs: Runs
    covered_h: float
    step_s: float
    levels: tuple[PowerLevel, ...] = ()
    tells: Tells = "firings"
    note: str = ""
