"""The heating plant as typed records: what there is, before anything is measured."""

import re
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from analysis.plant.boiler_limits import RULES, BoilerRules

Fuel = Literal["gas", "oil", "lpg"]
Drive = Literal["electronic", "induction"]
Duty = Literal["heating", "store", "recirculation", "other"]
Reports = Literal["periodic", "change"]
QuantityName = Literal[
    "power",
    "energy",
    "voltage",
    "current",
    "power_factor",
    "temperature",
    "pressure",
    "flow",
    "fuel_volume",
    "contact",
]
Place = Literal["flow", "return", "body", "ambient", "outdoor", "room", "top", "bottom", "flue"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tariff:
    """Prices; every figure in money needs one given by the person.

    `gas_mj_per_m3` is the gross calorific value on the gas bill [MJ/m3],
    `gas_correction` its factor from metered to standard volume.
    """

    currency: str = "EUR"
    electricity_per_kwh: float | None = None
    fuel_per_kwh: float | None = None
    gas_mj_per_m3: float | None = None
    gas_correction: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Boiler:
    """A boiler; `input_kw` is the rated heat input on net calorific value [kW]."""

    id: str
    fuel: Fuel
    input_kw: float | None = None
    condensing: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Pump:
    """A circulator; `rated_power_w` is the nameplate's least and greatest power [W]."""

    id: str
    drive: Drive
    duty: Duty = "heating"
    always_on: bool = False
    rated_power_w: tuple[float, float] | None = None
    port_to_port_mm: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Store:
    """A hot-water or buffer store; `volume_l` in litres."""

    id: str
    volume_l: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One measured quantity at one place.

    `unit` is the UCUM code in which readings arrive, `interval_s` the expected
    time between readings [s] (the longest silence where `reports` is
    ``change``); both are learned from the data where absent. `accuracy_class` is
    the instrument's class, see `analysis.energy.instrument_limits`.
    """

    id: str
    of: str
    quantity: QuantityName
    unit: str
    place: Place | None = None
    topic: str | None = None
    payload: str = ""
    interval_s: float | None = None
    reports: Reports | None = None
    accuracy_class: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpPlate:
    """What is known of a pump before or after a swap; `plug` names the plug that measured it."""

    drive: Drive | None = None
    rated_power_w: tuple[float, float] | None = None
    always_on: bool | None = None
    port_to_port_mm: int | None = None
    plug: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Swap:
    """One exchange of a pump and what was promised of it [kWh a year]."""

    pump: str
    time: datetime
    claim_kwh_per_year: float | None = None
    old: PumpPlate = PumpPlate()
    new: PumpPlate = PumpPlate()

    @property
    def same_plug(self) -> bool:
        """Whether one plug measured both pumps: so unless two plugs are named."""
        return None in (self.old.plug, self.new.plug) or self.old.plug == self.new.plug


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """A heating plant and everything that is measured on it; `rules` come from the settings."""

    name: str
    timezone: str
    tariff: Tariff = Tariff()
    boilers: tuple[Boiler, ...] = ()
    pumps: tuple[Pump, ...] = ()
    rules: BoilerRules = RULES
    stores: tuple[Store, ...] = ()
    channels: tuple[Channel, ...] = ()
    swaps: tuple[Swap, ...] = ()

    @property
    def key(self) -> str:
        """Short form of the name, used to address the plant's channels in a store."""
        return re.sub(r"[^a-z0-9]+", "-", self.name.lower()).strip("-") or "plant"

    def select(
        self, of: str | None = None, quantity: str | None = None, place: str | None = None
    ) -> tuple[Channel, ...]:
        """Channels that match every criterion given, in the order of the plant file."""
        return tuple(
            c
            for c in self.channels
            if (of is None or c.of == of)
            and (quantity is None or c.quantity == quantity)
            and (place is None or c.place == place)
        )

    def first(
        self, of: str | None = None, quantity: str | None = None, place: str | None = None
    ) -> Channel | None:
        """First channel that matches, or None."""
        return next(iter(self.select(of, quantity, place)), None)

    @property
    def machines(self) -> tuple[Pump | Boiler, ...]:
        """Everything that draws electric power."""
        return (*self.pumps, *self.boilers)
