"""What an exchange saved, as a record: both sides, the saving, the sum so far, what it is worth."""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from analysis.base.estimate import Estimate, plain
from analysis.base.time import format_rfc3339, to_ms
from analysis.energy.fuel_by_day import GROSS_PER_NET
from analysis.plant.plant import Fuel, Swap, Tariff
from analysis.savings.claim import Ceiling, Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """A pump before or after the swap.

    `basis` is ``measured`` or ``stipulated``; of a stipulated one only
    `running_w` and `per_year` are known.
    """

    start_ms: int
    end_ms: int
    days: int
    measured_kwh: float | None
    running_w: Estimate
    run_hours_per_day: float | None
    per_year: Estimate
    basis: str

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "from": format_rfc3339(self.start_ms),
            "to": format_rfc3339(self.end_ms),
            "days": self.days,
            "measured_kwh": plain(self.measured_kwh),
            "running_power_w": self.running_w.document(),
            "run_hours_per_day": plain(self.run_hours_per_day, 4),
            "per_year": self.per_year.document(),
            "basis": self.basis,
        }


class SavingDay(NamedTuple):
    """One day: measured use, what the old pump would have used, and the saving so far [kWh].

    Before the swap both uses are the same; a day that was not measured saves
    nothing and says None.
    """

    start_ms: int
    measured_kwh: float | None
    old_kwh: float | None
    old_low: float | None
    old_high: float | None
    so_far: float
    so_far_low: float
    so_far_high: float

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        figures = self._asdict()
        start = figures.pop("start_ms")
        return {"day": format_rfc3339(start)} | {k: plain(v, 5) for k, v in figures.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Worth:
    """Money and heat of a saving a year."""

    electricity: Estimate
    extra_fuel_kwh: Estimate
    extra_fuel: Estimate
    net: Estimate
    investment: dict[str, Any] | None

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        payback = Estimate.unknown("a", "give what the exchange cost with --cost")
        return {
            "electricity_per_year": self.electricity.document(),
            "extra_fuel_kwh_per_year": self.extra_fuel_kwh.document(),
            "extra_fuel_cost_per_year": self.extra_fuel.document(),
            "net_per_year": self.net.document(),
            "payback_years": (self.investment or {}).get("payback_years", payback.document()),
            "investment": self.investment,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Saving:
    """The proof of one swap.

    Attributes
    ----------
    so_far : Estimate
        Saved on the days measured since the swap [kWh].
    per_year : Estimate
        Saving in a year [kWh].
    parts : mapping of str to float
        Half-widths at 95 % that each source of doubt alone would give [kWh a year].
    guideline : mapping or None
        Fractional savings uncertainty after ASHRAE Guideline 14, where weather was measured.
    notes : tuple of str
        What must be known beside the figure.
    """

    swap: Swap
    before: Side
    after: Side
    so_far: Estimate
    per_year: Estimate
    ceiling: Ceiling | None
    verdict: Verdict
    method: str
    parts: dict[str, float]
    guideline: dict[str, Any] | None
    notes: tuple[str, ...]
    worth: Worth
    days: tuple[SavingDay, ...]

    def to_frame(self) -> pd.DataFrame:
        """Day by day: measured and old pump's use, saving so far, with ends [kWh]."""
        start = pd.DatetimeIndex(
            np.array([d.start_ms for d in self.days], "datetime64[ms]"), name="day", tz="UTC"
        )
        return pd.DataFrame(list(self.days), index=start).drop(columns="start_ms")

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "pump": self.swap.pump,
            "swap_time": format_rfc3339(to_ms(self.swap.time)),
            "before": self.before.document(),
            "after": self.after.document(),
            "saved_so_far": self.so_far.document(),
            "saving_per_year": self.per_year.document(),
            "claim_kwh_per_year": plain(self.swap.claim_kwh_per_year),
            "ceiling": None if self.ceiling is None else self.ceiling.document(),
            "verdict": self.verdict.word,
            "why": self.verdict.why,
            "method": self.method,
            "uncertainty": {
                "confidence": self.per_year.confidence,
                "half_widths_kwh": {name: plain(w, 4) for name, w in self.parts.items()},
                "guideline_14": self.guideline,
            },
            "notes": list(self.notes),
            "money": self.worth.document(),
            "days": [one.document() for one in self.days],
        }


_INTO_WATER = (0.5, 0.7, 0.9)
"""Share of a pump's electric power that warms the house's water: low, usual, high (from memory)."""
_IN_SEASON = (0.5, 0.8, 1.0)
"""Share of the saving that falls into the heating season (common practice, no source)."""
_EFFICIENCY = 0.9


def worth_of(saving: Estimate, tariff: Tariff, fuel: Fuel | None) -> Worth:
    """What a saving is worth once the boiler has made up for the pump's lost heat.

    Interactive effect, as IPMVP asks: in the heating season a part of the
    electricity saved had warmed the house and is now burnt as fuel.

    Parameters
    ----------
    saving : Estimate
        Electricity a year [kWh].
    tariff : Tariff
        Prices; that of gas is for the gross kWh, as it is billed.
    fuel : str or None
        What the boiler burns.
    """
    price, per_kwh = tariff.electricity_per_kwh, tariff.fuel_per_kwh
    if per_kwh is not None and fuel == "gas":
        per_kwh *= GROSS_PER_NET[fuel]
    unit = f"{tariff.currency}/a"
    if saving.value is None or saving.low is None or saving.high is None:
        unknown = Estimate.unknown(unit, saving.reason or "the saving is not known")
        return Worth(
            electricity=unknown,
            extra_fuel_kwh=Estimate.unknown("kW.h", unknown.reason or ""),
            extra_fuel=unknown,
            net=unknown,
            investment=None,
        )
    low, usual, high = (a * b / _EFFICIENCY for a, b in zip(_INTO_WATER, _IN_SEASON, strict=True))
    heat = Estimate(
        saving.value * usual,
        max(saving.low, 0.0) * low,
        max(saving.high, 0.0) * high,
        "kW.h",
        "pump heat that the boiler makes up for; shares from memory",
    )
    extra = _priced(heat, per_kwh, unit, "no fuel price in [tariff]")
    electricity = _priced(saving, price, unit, "no electricity price in [tariff]")
    return Worth(
        electricity=electricity,
        extra_fuel_kwh=heat,
        extra_fuel=extra,
        net=_net(electricity, extra),
        investment=None,
    )


def _priced(kwh: Estimate, price: float | None, unit: str, missing: str) -> Estimate:
    if price is None:
        return Estimate.unknown(unit, missing)
    return kwh.times(price, unit)


def _net(gain: Estimate, extra: Estimate) -> Estimate:
    """Gain less the extra fuel; without a fuel price the gain alone, and it says so."""
    if gain.value is None or gain.low is None or gain.high is None:
        return gain
    if extra.value is None or extra.low is None or extra.high is None:
        return Estimate(
            gain.value, gain.low, gain.high, gain.unit, "electricity alone: no fuel price given"
        )
    spread = ((gain.high - gain.low) ** 2 + (extra.high - extra.low) ** 2) ** 0.5 / 2
    value = gain.value - extra.value
    return Estimate(
        value, value - spread, value + spread, gain.unit, "electricity saved less extra fuel"
    )
