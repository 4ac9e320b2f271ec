"""The truth of a rehearsal: what really happened, in the form the score compares with."""

from dataclasses import dataclass
from typing import Any

from analysis.base.estimate import plain
from analysis.base.time import format_rfc3339


@dataclass(frozen=True, slots=True)
class Firing:
    """A burner firing: called (preheat or purge begins), flame on, flame off [ms].

    `end_ms` is None where it was still burning at the record's end.
    """

    called_ms: int
    start_ms: int
    end_ms: int | None

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "start": format_rfc3339(self.start_ms),
            "end": _time(self.end_ms),
            "called": format_rfc3339(self.called_ms),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueFault:
    """A fault that was there.

    `detectable_ms` is the first reading in which it shows at all, None where
    it never does; `separable_ms` when a slow fault passes the severity that
    sets it apart from the plant's usual scatter. `end_ms` None while it lasts.
    """

    subject: str
    fault: str
    onset_ms: int
    detectable_ms: int | None
    end_ms: int | None
    severity: float
    separable_ms: int | None = None
    variant: str = ""

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "subject": self.subject,
            "fault": self.fault,
            "onset": format_rfc3339(self.onset_ms),
            "detectable_from": _time(self.detectable_ms),
            "end": _time(self.end_ms),
            "severity": plain(self.severity, 3),
            "separable_from": _time(self.separable_ms),
            "variant": self.variant,
        }


@dataclass(frozen=True, slots=True)
class TrueNegative:
    """A stretch in which something harmless looked like a fault [ms]."""

    what: str
    start_ms: int
    end_ms: int

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "what": self.what,
            "start": format_rfc3339(self.start_ms),
            "end": format_rfc3339(self.end_ms),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueYear:
    """The 365 days from the record's beginning: burner starts, fuel and pump run hours.

    Fuel is heat on net calorific value [kWh].
    """

    starts: int
    fuel_kwh: float
    boiler_kwh: float
    burner_hours: float
    run_hours: dict[str, float]

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "starts": self.starts,
            "fuel_kwh": plain(self.fuel_kwh),
            "boiler_electric_kwh": plain(self.boiler_kwh),
            "burner_hours": plain(self.burner_hours),
            "run_hours": {pump: plain(h) for pump, h in self.run_hours.items()},
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueSwap:
    """A swap: yearly energy with the old and with the new pump all year [kWh], and the mistake."""

    pump: str
    time_ms: int
    before_kwh: float | None
    after_kwh: float | None
    claim_kwh: float | None
    mistake: str | None

    @property
    def saving_kwh(self) -> float | None:
        """True saving a year [kWh]."""
        if self.before_kwh is None or self.after_kwh is None:
            return None
        return self.before_kwh - self.after_kwh

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "pump": self.pump,
            "time": format_rfc3339(self.time_ms),
            "before_kwh_per_year": plain(self.before_kwh),
            "after_kwh_per_year": plain(self.after_kwh),
            "claim_kwh_per_year": plain(self.claim_kwh),
            "mistake": self.mistake,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """Everything that is true of a rehearsal."""

    case: str
    seed: int
    start_ms: int
    end_ms: int
    cycles: tuple[Firing, ...]
    energy_kwh_per_year: dict[str, float]
    faults: tuple[TrueFault, ...]
    negatives: tuple[TrueNegative, ...]
    swap: TrueSwap | None = None
    year: TrueYear | None = None
    settings: dict[str, str] | None = None

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        saving = None if self.swap is None else self.swap.saving_kwh
        return {
            "case": self.case,
            "seed": self.seed,
            "from": format_rfc3339(self.start_ms),
            "to": format_rfc3339(self.end_ms),
            "cycles": [one.document() for one in self.cycles],
            "energy": {
                pump: {"kwh_per_year": plain(kwh)} for pump, kwh in self.energy_kwh_per_year.items()
            },
            "faults": [one.document() for one in self.faults],
            "negatives": [one.document() for one in self.negatives],
            "saving_kwh_per_year": plain(saving),
            "swap": None if self.swap is None else self.swap.document(),
            "year": None if self.year is None else self.year.document(),
            "settings": self.settings or {},
        }


def _time(time_ms: int | None) -> str | None:
    return None if time_ms is None else format_rfc3339(time_ms)
