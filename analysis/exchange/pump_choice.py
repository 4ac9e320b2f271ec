"""Which class of pump a circuit needs, what it would use, whether it pays, and when not to swap.

No maker and no model: only length, thread, head class and kind. Rules of thumb say so.
"""

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from analysis.base.estimate import Estimate, plain
from analysis.energy.payback import Terms
from analysis.exchange.efficiency_index import average_power_w
from analysis.plant.plant import Pump, PumpPlate, Tariff
from analysis.savings.claim import YEAR_HOURS

WATER_KWH_M3K = 1.163
"""Heat of a cubic metre of water a kelvin; a rule of thumb that is some percent high when warm."""
METRE_KPA = 9.80665


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """What a circuit asks of its pump.

    Attributes
    ----------
    heat_kw : Estimate
        Greatest heat the circuit must carry.
    spread_k : tuple of float
        Flow less return at that load, least and greatest [K].
    loop_m : float
        Length of the longest loop there and back [m].
    pipe_pa_m : tuple of float
        Friction of its pipe [Pa/m]; 100 to 150 is usual (common practice, no source).
    valve_kpa, boiler_kpa : tuple of float
        Fall over valves, and over boiler and mixing valve [kPa].
    heats_floor : bool
        Floor heating, where constant pressure is usual.
    """

    heat_kw: Estimate
    spread_k: tuple[float, float]
    loop_m: float
    pipe_pa_m: tuple[float, float] = (100.0, 150.0)
    valve_kpa: tuple[float, float] = (5.0, 10.0)
    boiler_kpa: tuple[float, float] = (1.0, 5.0)
    heats_floor: bool = False

    @property
    def flow_m3h(self) -> Estimate:
        """Flow that carries the heat [m3/h]."""
        heat = self.heat_kw
        if heat.value is None or heat.low is None or heat.high is None:
            return Estimate.unknown("m3/h", heat.reason or "the heat need is not known")
        least, most = (WATER_KWH_M3K * k for k in self.spread_k)
        middle = (least + most) / 2
        return Estimate(
            heat.value / middle, heat.low / most, heat.high / least, "m3/h", "heat over spread"
        )

    @property
    def head_m(self) -> Estimate:
        """Head at that flow [m]."""
        low, high = (
            (self.loop_m * self.pipe_pa_m[k] / 1000 + self.valve_kpa[k] + self.boiler_kpa[k])
            / METRE_KPA
            for k in (0, 1)
        )
        return Estimate((low + high) / 2, low, high, "m", "longest loop, valves and boiler")


class HeadClass(NamedTuple):
    """A size of pump: greatest head [m], head it serves well [m], hydraulic power at its best [W].

    Sizes of small circulators are common practice, no source; the hydraulic
    power is that of a usual curve of this size at its best point.
    """

    head_m: int
    serves_m: float
    hydraulic_w: float


HEAD_CLASSES = (HeadClass(4, 2.6, 10.4), HeadClass(6, 4.0, 15.5), HeadClass(8, 5.5, 20.7))


class Thread(NamedTuple):
    """A pipe size with the pump's thread above it, and its bore [mm]."""

    pipe: str
    thread: str
    bore_mm: float

    def flow_at(self, speed_m_s: float) -> float:
        """Flow at a speed of the water [m3/h]."""
        return 3.14159 / 4 * (self.bore_mm / 1000) ** 2 * speed_m_s * 3600


THREADS = (
    Thread("DN15", "G 1", 16.1),
    Thread("DN20", "G 1 1/4", 21.7),
    Thread("DN25", "G 1 1/2", 27.3),
    Thread("DN32", "G 2", 36.0),
)
"""Pairs of pipe and thread: common practice, no source; bores of medium steel tube from memory."""
LENGTHS_MM = (130, 150, 180)
INDEXES = (0.16, 0.20, 0.23)
"""Index of a good, a usual and a just lawful pump."""
MODES = {
    "proportional pressure": 1.0,
    "constant pressure, low": 1.06,
    "constant pressure, high": 1.84,
    "fixed speed II": 1.39,
    "fixed speed III": 3.03,
}
"""Energy by mode against proportional pressure: a model pump of the four-metre class over the
load profile (31, 33, 57, 43, 94 kWh in 5,000 h; computed, no measurement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """What is known of the old pump and its hours: energy [kWh] and running hours a year."""

    old: Estimate
    hours: Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A class of pump for a circuit, with its year and its money.

    `head_class` and `thread` are None where no small circulator does.
    """

    need: Need
    head_class: HeadClass | None
    thread: Thread | None
    length_mm: tuple[int, ...]
    mode: str
    new: Estimate
    saving: Estimate
    gain: Estimate
    what_if: dict[str, Estimate]
    reasons_not: tuple[str, ...]
    cautions: tuple[str, ...]
    terms: Terms | None

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "flow": self.need.flow_m3h.document(),
            "head": self.need.head_m.document(),
            "heat": self.need.heat_kw.document(),
            "head_class_m": None if self.head_class is None else self.head_class.head_m,
            "pipe": None if self.thread is None else self.thread.pipe,
            "thread": None if self.thread is None else self.thread.thread,
            "port_to_port_mm": list(self.length_mm),
            "kind": "electronic, permanent-magnet motor",
            "mode": self.mode,
            "new_per_year": self.new.document(),
            "saving_per_year": self.saving.document(),
            "gain_per_year": self.gain.document(),
            "money": None if self.terms is None else self.terms.document(self.gain),
            "what_if": {name: e.document() for name, e in self.what_if.items()},
            "reasons_not_to_swap": list(self.reasons_not),
            "cautions": list(self.cautions),
        }


def choose(
    pump: Pump, need: Need, use: Use, *, tariff: Tariff, terms: Terms | None = None
) -> Choice:
    """Choose a class of pump for a circuit and reckon its year.

    Parameters
    ----------
    pump : Pump
        The one that is there.
    need : Need
        What the circuit asks.
    use : Use
        What the old pump uses, and for how many hours.
    tariff : Tariff
        Prices.
    terms : Terms, optional
        What the exchange costs.
    """
    size = _head_class(need.head_m)
    mode = _mode(pump, floor=need.heats_floor)
    new = profile_year(size or HEAD_CLASSES[-1], use.hours, MODES[mode])
    saving = difference(use.old, new)
    price = tariff.electricity_per_kwh
    unit = f"{tariff.currency}/a"
    gain = Estimate.unknown(unit, "no electricity price in [tariff]")
    if price is not None:
        gain = saving.times(price, unit)
    chosen = Choice(
        need=need,
        head_class=size,
        thread=_thread(need.flow_m3h),
        length_mm=LENGTHS_MM if pump.port_to_port_mm is None else (pump.port_to_port_mm,),
        mode=mode,
        new=new,
        saving=saving,
        gain=gain,
        what_if=_what_if(size or HEAD_CLASSES[-1], use, mode),
        reasons_not=(),
        cautions=_cautions(pump),
        terms=terms,
    )
    return replace(chosen, reasons_not=_reasons_not(pump, chosen))


def _head_class(head: Estimate) -> HeadClass | None:
    wanted = head.value or 0.0
    return next((one for one in HEAD_CLASSES if wanted <= one.serves_m), None)


def _thread(flow: Estimate) -> Thread | None:
    """Least pipe in which the water stays below a metre a second (common practice, no source)."""
    if flow.value is None:
        return None
    return next((one for one in THREADS if flow.value <= one.flow_at(1.0)), None)


def _mode(pump: Pump, *, floor: bool) -> str:
    if pump.duty in ("store", "recirculation"):
        return "fixed speed II"
    return "constant pressure, low" if floor else "proportional pressure"


def profile_year(size: HeadClass, hours: Estimate, factor: float = 1.0) -> Estimate:
    """Energy a year by the load profile of Regulation (EC) 641/2009 [kWh].

    Parameters
    ----------
    size : HeadClass
        The pump.
    hours : Estimate
        Running hours a year.
    factor : float
        Of the mode, see `MODES`.
    """
    if hours.value is None or hours.low is None or hours.high is None:
        return Estimate.unknown("kW.h", hours.reason or "running hours are not known")
    low, usual, high = (average_power_w(i, size.hydraulic_w) * factor / 1000 for i in INDEXES)
    words = f"load profile, index {INDEXES[0]:.2f} to {INDEXES[2]:.2f}"
    return Estimate(usual * hours.value, low * hours.low, high * hours.high, "kW.h", words)


def difference(old: Estimate, new: Estimate) -> Estimate:
    """Old less new, independent of each other."""
    ends = (old.value, old.low, old.high, new.value, new.low, new.high)
    if any(end is None for end in ends):
        return Estimate.unknown(old.unit, old.reason or new.reason or "not known")
    a, al, ah, b, bl, bh = (float(end or 0.0) for end in ends)
    down = ((a - al) ** 2 + (bh - b) ** 2) ** 0.5
    up = ((ah - a) ** 2 + (b - bl) ** 2) ** 0.5
    return Estimate(a - b, a - b - down, a - b + up, old.unit, "old pump's year less the new one's")


def _what_if(size: HeadClass, use: Use, chosen: str) -> dict[str, Estimate]:
    """Saving a year in other modes, and with other running hours."""
    found = {
        f"mode {name}": difference(use.old, profile_year(size, use.hours, factor))
        for name, factor in MODES.items()
        if name != chosen
    }
    for words, factor in (("half the hours", 0.5), ("a third more hours", 4 / 3)):
        hours, old = _longer(use, factor)
        found[words] = difference(old, profile_year(size, hours, MODES[chosen]))
    return found


def _longer(use: Use, factor: float) -> tuple[Estimate, Estimate]:
    """Running hours times a factor, and the old pump's energy; a year has no more than it has."""
    middle = use.hours.value or 0.0
    if factor * middle > YEAR_HOURS:
        factor = YEAR_HOURS / middle
    hours = use.hours.times(factor, "h")
    ends = [None if end is None else min(end, YEAR_HOURS) for end in (hours.low, hours.high)]
    capped = replace(hours, low=ends[0], high=ends[1])
    return capped, use.old.times(factor, use.old.unit)


def _reasons_not(pump: Pump, choice: Choice) -> tuple[str, ...]:
    why = []
    saving, terms = choice.saving, choice.terms
    if pump.drive == "electronic":
        why.append(
            "the pump is electronic already: turn its setting down first, that costs nothing"
        )
    if saving.low is not None and saving.low <= 0:
        why.append("the saving may be nil")
    if choice.head_class is None:
        why.append("no small circulator serves this head: have the circuit reckoned by an engineer")
    if terms is not None and choice.gain.value is not None:
        payback = terms.payback(choice.gain)
        if payback.value is None or payback.value > terms.years:
            why.append(f"it does not pay back within {terms.years:g} years")
    return tuple(why)


def _cautions(pump: Pump) -> tuple[str, ...]:
    cautions = [
        "a pump built into the boiler is part of its approval: only the boiler's own spare fits",
        "an old pump switched, or run at an outside signal, needs a new one that takes the same",
        "do not copy the old nameplate's head: most circuits need 1 to 2.5 m (from memory)",
        "flush first and fit a strainer: dirt kills new pumps (common practice, no source)",
        "work on mains and on hot water belongs to those who may do it under your local rules",
    ]
    if pump.duty == "recirculation":
        cautions.append(
            "hot-water circulation guards against legionella: keep the hours and temperatures "
            "that your rules ask for; only pumps approved for drinking water"
        )
    if pump.duty == "store":
        cautions.append("a store's charge needs its flow: too weak a pump makes the boiler cycle")
    return tuple(cautions)


def plate_year(plate: PumpPlate, hours: Estimate) -> Estimate:
    """Energy a year of an old pump from its nameplate, a stipulation [kWh]."""
    if hours.value is None or hours.low is None or hours.high is None:
        return Estimate.unknown("kW.h", hours.reason or "running hours are not known")
    low, high = plate.rated_power_w or (40.0, 90.0)
    words = "nameplate stipulated" if plate.rated_power_w else "typical 40 to 90 W stipulated"
    middle = (low + high) / 2 * hours.value / 1000
    ends = low * hours.low / 1000, high * hours.high / 1000
    return Estimate(plain(middle), *ends, "kW.h", words)
