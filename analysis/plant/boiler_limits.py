"""Rules of thumb about boilers: settings of an installation, no standard.

Common practice, no source: trade texts disagree, giving 3 to 15 min a firing, 3 to 8 starts an
hour, 10 to 200 a day. Yearly service is what safety authorities advise; its hours and starts are
common practice, and the maker's manual goes first.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CyclingLimits:
    """Rules of thumb for one fuel: shortest usual firing [s], most starts, days with more."""

    shortest_median_s: float
    most_per_hour: float
    most_per_day: float
    days: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BoilerRules:
    """Limits of short cycling and service, all rules of thumb.

    `firing_minutes` and `starts_per_day` hold for gas, those of oil stand
    apart; `busy_days` is how many days with more starts make short cycling.
    """

    firing_minutes: float = 3.0
    oil_firing_minutes: float = 5.0
    starts_per_hour: float = 6.0
    starts_per_day: float = 50.0
    oil_starts_per_day: float = 40.0
    busy_days: int = 3
    service_months: float = 12.0
    service_hours: float = 2000.0
    service_starts: float = 30_000.0

    def cycling(self, fuel: str) -> CyclingLimits:
        """Limits of short cycling for a fuel."""
        is_oil = fuel == "oil"
        minutes = self.oil_firing_minutes if is_oil else self.firing_minutes
        per_day = self.oil_starts_per_day if is_oil else self.starts_per_day
        return CyclingLimits(60.0 * minutes, self.starts_per_hour, per_day, self.busy_days)


RULES = BoilerRules()
