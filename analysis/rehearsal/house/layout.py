"""Which instruments a house has: plugs and clips with their habits, and the plant they make."""

import zlib
from dataclasses import dataclass
from typing import Literal

from numpy.random import Generator

from analysis.plant.plant import Boiler, Channel, Place, Plant, Pump, QuantityName, Reports, Store
from analysis.rehearsal.house.draw import ANYTHING, Wish, stream
from analysis.rehearsal.house.spec import HouseSpec

Memory = Literal["zero", "midnight", "kept"]
UNITS = {
    "power": "W",
    "energy": "kW.h",
    "voltage": "V",
    "current": "A",
    "power_factor": "1",
    "temperature": "Cel",
    "pressure": "bar",
    "fuel_volume": "m3",
}


HABITS: tuple[tuple[float, Reports], ...] = (
    (1.0, "periodic"),
    (10.0, "periodic"),
    (30.0, "periodic"),
    (60.0, "periodic"),
    (300.0, "change"),
)
"""Ways of plugs to report: how often [s], or the longest silence of one that reports on change."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """Anything that sends messages: how often, how faithfully, what is lost."""

    name: str
    interval_s: float
    reports: Reports = "periodic"
    check_s: float = 10.0
    heartbeat_s: float = 300.0
    loss: float = 0.01
    bursts_a_week: float = 1.0
    replays: bool = False
    swaps: float = 0.001


@dataclass(frozen=True, slots=True, kw_only=True)
class Plug:
    """A metering plug.

    `gain` on power; `floor_w` below which it shows 0; `step_w` resolution;
    `low_factor_bias` the share it loses at a power factor of 0; `memory` what
    its counter does at a loss of power.
    """

    device: Device
    load: str
    gain: float
    floor_w: float
    step_w: float
    low_factor_bias: float
    counter_kwh: float
    memory: Memory
    start_kwh: float
    downstream: bool
    quantities: tuple[QuantityName, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Clip:
    """A temperature sensor on a pipe, or in air: contact factor, offset, lag, resolution."""

    device: Device
    of: str
    place: Place
    contact: float
    offset_k: float
    lag_s: float
    step_k: float
    noise_k: float
    change_k: float

    @property
    def channel(self) -> str:
        """Channel id."""
        return f"{self.of}.{self.place}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """A pressure gauge or fuel counter with pulses."""

    device: Device
    of: str
    quantity: Literal["pressure", "fuel_volume"]
    step: float

    @property
    def channel(self) -> str:
        """Channel id."""
        return f"{self.of}.{'pressure' if self.quantity == 'pressure' else 'fuel'}"


@dataclass(frozen=True, slots=True)
class Layout:
    """All instruments of a house."""

    plugs: tuple[Plug, ...]
    clips: tuple[Clip, ...]
    meters: tuple[Meter, ...]


def draw_layout(spec: HouseSpec, wish: Wish = ANYTHING) -> Layout:
    """Draw the instruments of a house.

    Parameters
    ----------
    spec : HouseSpec
        The house.
    wish : Wish
        Channels that must be there (``sensed``) and the plugs' interval.
    """
    rng = stream(spec.seed, 20)
    habit = _draw_habit(rng, wish.plug_s)
    plugs = [_draw_plug(rng, spec.boiler_id, habit, wish)]
    if "boiler.power" not in wish.sensed and rng.random() < 0.12:
        plugs = []
    plugs += [_draw_plug(rng, one.id, habit, wish) for one in spec.loops]
    period = float(rng.choice([10.0, 30.0, 60.0], p=[0.4, 0.25, 0.35]))
    period = min(period, wish.plug_s) if wish.plug_s else period
    clips = [
        _draw_clip(rng, of, place, period)
        for of, place, chance in _wanted(spec)
        if rng.random() < chance or f"{of}.{place}" in wish.sensed
    ]
    return Layout(tuple(plugs), tuple(clips), tuple(_meters(rng, spec, wish, period)))


def _wanted(spec: HouseSpec) -> list[tuple[str, Place, float]]:
    """Places a sensor may be at, with the chance that somebody put one there."""
    wanted: list[tuple[str, Place, float]] = [
        (spec.boiler_id, "flow", 0.92),
        (spec.boiler_id, "return", 0.85),
        (spec.boiler_id, "flue", 0.25),
    ]
    for one in spec.loops:
        likely = 0.85 if one.id == "heating" else 0.6
        wanted += [(one.id, "flow", likely), (one.id, "return", likely), (one.id, "body", 0.25)]
    if spec.store.layer_j_k > 0:
        wanted += [("store", "top", 0.8), ("store", "bottom", 0.4)]
    return [*wanted, ("plant", "outdoor", 0.85), ("plant", "room", 0.65), ("plant", "ambient", 0.4)]


def _draw_habit(rng: Generator, wished_s: float | None) -> tuple[float, Reports]:
    """How the household's plugs report: all are of one kind."""
    if wished_s is not None:
        return wished_s, "periodic"
    kind = int(rng.choice(len(HABITS), p=[0.03, 0.37, 0.15, 0.25, 0.2]))
    return HABITS[kind]


def _draw_plug(rng: Generator, load: str, habit: tuple[float, Reports], wish: Wish) -> Plug:
    interval, reports = habit
    rich = bool(rng.random() < 0.55)
    need = any(q in wish.sensed for q in ("power_factor", "voltage", "current"))
    quantities: list[QuantityName] = ["power", "energy"]
    if rng.random() < 0.6 or need:
        quantities.append("voltage")
    if rich or need:
        quantities += ["current", "power_factor"]
    cheap = bool(rng.random() < 0.3)
    return Plug(
        device=Device(
            name=f"plug-{load}",
            interval_s=interval,
            reports=reports,
            check_s=float(rng.choice([5.0, 30.0])),
            heartbeat_s=interval,
            loss=float(rng.uniform(0.003, 0.025)),
            bursts_a_week=float(rng.uniform(0.2, 1.5)),
            replays=bool(rng.random() < 0.4),
        ),
        load=load,
        gain=1.0 + float(rng.normal(0.0, 0.012)),
        floor_w=float(rng.uniform(0.5, 2.5)) if cheap else 0.0,
        step_w=1.0 if cheap else 0.1,
        low_factor_bias=float(rng.uniform(0.0, 0.12)),
        counter_kwh=0.01 if cheap else 0.001,
        memory=str(rng.choice(["zero", "midnight", "kept"], p=[0.3, 0.3, 0.4])),  # type: ignore[arg-type]  # words of Memory
        start_kwh=float(rng.uniform(0.0, 400.0)),
        downstream=bool(rng.random() < 0.08) and load != "boiler",
        quantities=tuple(quantities),
    )


def _draw_clip(rng: Generator, of: str, place: Place, period: float) -> Clip:
    battery = bool(rng.random() < 0.2) and place not in ("body", "flue")
    air = place in ("outdoor", "room", "ambient")
    plastic = bool(rng.random() < 0.12) and not air
    contact = rng.uniform(0.82, 0.9) if plastic else rng.uniform(0.93, 0.99)
    if air or place in ("top", "bottom"):
        contact = 1.0 if air else rng.uniform(0.96, 1.0)
    return Clip(
        device=Device(
            name=f"clip-{of}-{place}",
            interval_s=600.0 if battery else period,
            reports="change" if battery else "periodic",
            check_s=60.0,
            heartbeat_s=1800.0 if battery else period,
            loss=float(rng.uniform(0.002, 0.02)),
            bursts_a_week=float(rng.uniform(0.1, 1.0)),
        ),
        of=of,
        place=place,
        contact=float(contact),
        offset_k=float(rng.normal(0.0, 0.35)),
        lag_s=float(rng.uniform(90.0, 180.0) if plastic else rng.uniform(20.0, 60.0)),
        step_k=float(rng.choice([0.0625, 0.1, 0.5], p=[0.5, 0.35, 0.15])),
        noise_k=0.05,
        change_k=float(rng.uniform(0.2, 0.5)) if battery else 0.0,
    )


def _meters(rng: Generator, spec: HouseSpec, wish: Wish, period: float) -> list[Meter]:
    found = []
    device = Device(name="gauge", interval_s=max(period, 60.0), loss=0.005)
    if rng.random() < 0.3 or "plant.pressure" in wish.sensed:
        found.append(Meter(device=device, of="plant", quantity="pressure", step=0.01))
    counts = rng.random() < 0.3 or "boiler.fuel" in wish.sensed
    if counts and spec.fuel != "lpg":
        step = 0.01 if spec.fuel == "gas" else 1e-5
        counter = Device(name="fuel", interval_s=60.0, loss=0.005)
        found.append(Meter(device=counter, of=spec.boiler_id, quantity="fuel_volume", step=step))
    return found


def plant_of(spec: HouseSpec, layout: Layout) -> Plant:
    """The plant as its owner would describe it."""
    first = [one.pumps[0] for one in spec.loops]
    return Plant(
        name=spec.name,
        timezone=spec.timezone,
        tariff=spec.tariff,
        boilers=(
            Boiler(
                id=spec.boiler_id,
                fuel=spec.fuel,
                input_kw=spec.body.input_w / 1000.0,
                condensing=spec.body.condensing > 0,
            ),
        ),
        pumps=tuple(
            Pump(
                id=one.id,
                drive=one.pumps[-1].drive,
                duty=one.duty,
                always_on=one.always_on,
                rated_power_w=one.pumps[-1].rated_power_w,
                port_to_port_mm=pump.port_to_port_mm,
            )
            for one, pump in zip(spec.loops, first, strict=True)
        ),
        stores=(Store(id="store", volume_l=spec.store_volume_l),)
        if spec.store.layer_j_k > 0
        else (),
        channels=(*_plug_channels(layout), *_clip_channels(layout), *_meter_channels(layout)),
    )


def _plug_channels(layout: Layout) -> list[Channel]:
    return [
        Channel(
            id=f"{plug.load}.{quantity}",
            of=plug.load,
            quantity=quantity,
            unit=UNITS[quantity],
            topic=f"cellar/{plug.device.name}/state",
            payload=f"/{quantity}",
            interval_s=plug.device.interval_s,
            reports=plug.device.reports,
        )
        for plug in layout.plugs
        for quantity in plug.quantities
    ]


def _clip_channels(layout: Layout) -> list[Channel]:
    return [
        Channel(
            id=clip.channel,
            of=clip.of,
            quantity="temperature",
            place=clip.place,
            unit="Cel",
            topic=f"cellar/{clip.device.name}",
            payload="/temperature",
            interval_s=clip.device.heartbeat_s
            if clip.device.reports == "change"
            else clip.device.interval_s,
            reports=clip.device.reports,
        )
        for clip in layout.clips
    ]


def _meter_channels(layout: Layout) -> list[Channel]:
    return [
        Channel(
            id=meter.channel,
            of=meter.of,
            quantity=meter.quantity,
            unit=UNITS[meter.quantity],
            topic=f"cellar/{meter.device.name}",
            payload="/value",
            interval_s=meter.device.interval_s,
            reports="periodic",
        )
        for meter in layout.meters
    ]


def rng_key(name: str) -> int:
    """Stable number of a device's name, for a stream of its own."""
    return zlib.crc32(name.encode())
