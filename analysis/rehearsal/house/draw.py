"""Draw a house from a seed: another seed, another boiler, other pumps, other people."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator

from analysis.plant.plant import Drive, Fuel, Tariff
from analysis.rehearsal.house.draw_pumps import draw_induction_pump, electronic_pump
from analysis.rehearsal.house.spec import BurnerWatts, Control, HouseSpec, LoopSpec, PumpSpec
from analysis.rehearsal.house.weather import draw_climate
from analysis.rehearsal.physics.records import (
    CHARGING,
    EMITTERS,
    RECIRCULATION,
    BoilerBody,
    House,
    StoreBody,
)

DESIGN_OUTDOOR_C = -10.0
ROOM_C = 20.0
HEADER_J_K = 30e3
SMALL_RADIATOR_J_K = 18e3

ZONES = ("Europe/Dublin", "Europe/Berlin", "Europe/Rome", "Europe/Warsaw", "Europe/Brussels")
FIRST = (
    "Quay",
    "Mill",
    "Heron",
    "Orchard",
    "Lock",
    "Chapel",
    "Meadow",
    "Ferry",
    "Kiln",
    "Alder",
    "Bell",
    "Stone",
    "Willow",
    "Harbour",
    "Ridge",
    "Cooper",
    "Lantern",
    "Marsh",
    "Tanner",
)
LAST = ("House", "Cottage", "Lodge", "Row", "Gate", "Court", "Yard", "End")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What a case needs of the house; None leaves it to the seed."""

    drive: Drive | None = None
    condensing: bool | None = None
    control: Control | None = None
    fuel: Fuel | None = None
    store: bool | None = None
    recirculation: bool | None = None
    floor: bool | None = None
    night: bool = False
    setting: str | None = None
    always_on: bool | None = None
    setback: str | None = None
    plug_s: float | None = None
    sensed: tuple[str, ...] = ()
    pump_in_return: bool | None = None


ANYTHING = Wish()
"""No wish: all is left to the seed."""


def stream(seed: int, purpose: int, *more: int) -> Generator:
    """Source of chance for one purpose, so that one does not disturb another."""
    return np.random.default_rng([seed, purpose, *more])


def draw_house(seed: int, wish: Wish = ANYTHING) -> HouseSpec:
    """Draw a whole house.

    Parameters
    ----------
    seed : int
        The house.
    wish : Wish
        What the case needs of it.
    """
    rng = stream(seed, 1)
    ua_w_k = float(rng.uniform(120.0, 350.0))
    load_w = ua_w_k * (ROOM_C - DESIGN_OUTDOOR_C)
    condensing = _choose(rng, wish.condensing, 0.5)
    has_store = _choose(rng, wish.store, 0.7)
    control = wish.control or str(rng.choice(["weather", "room", "fixed"], p=_controls(condensing)))
    fuel = wish.fuel or _draw_fuel(rng, condensing)
    body = _draw_boiler(rng, load_w, fuel=fuel, condensing=condensing, control=control)
    loops = _draw_loops(rng, wish, load_w, has_store=has_store)
    return HouseSpec(
        seed=seed,
        name=f"{rng.choice(FIRST)} {rng.choice(LAST)}",
        timezone=str(rng.choice(ZONES)),
        tariff=Tariff(
            currency="EUR",
            electricity_per_kwh=round(float(rng.uniform(0.2, 0.4)), 2),
            fuel_per_kwh=round(float(rng.uniform(0.07, 0.14)), 3),
        ),
        climate=draw_climate(rng),
        house=_draw_fabric(rng, ua_w_k),
        fuel=fuel,
        boiler_id="boiler",
        body=body,
        watts=_draw_watts(rng, fuel, condensing=condensing),
        store=_draw_store(rng) if has_store else NO_STORE,
        loops=loops,
        control=control,  # type: ignore[arg-type]  # one of the words above
        room_c=float(rng.uniform(19.5, 21.5)),
        setback_k=_draw_setback(rng, wish.setback),
        day_h=(float(rng.uniform(5.0, 7.0)), float(rng.uniform(21.0, 23.5))),
        slope_margin_k=float(rng.uniform(2.0, 7.0)),
        fixed_flow_c=float(rng.uniform(60.0, 70.0)),
        heating_limit_c=float(rng.uniform(14.0, 17.0)),
        gain_w=float(rng.uniform(250.0, 550.0)),
        window_m2=float(rng.uniform(3.0, 9.0)),
        daily_draw_l=float(rng.uniform(60.0, 220.0)),
        kick=str(rng.choice(["none", "daily", "weekly"], p=[0.3, 0.4, 0.3])),
        cellar_c=float(rng.uniform(11.0, 17.0)),
        pressure_bar=float(rng.uniform(1.1, 1.6)),
    )


def _choose(rng: Generator, wished: bool | None, probability: float) -> bool:
    drawn = bool(rng.random() < probability)
    return drawn if wished is None else wished


def _controls(condensing: bool) -> list[float]:
    return [0.6, 0.4, 0.0] if condensing else [0.35, 0.25, 0.4]


def _draw_setback(rng: Generator, wished: str | None) -> float:
    """Room set-back at night [K]; 0 none, above 8 the heating is off at night."""
    drawn = float(rng.choice([0.0, 2.0, 3.5, 9.0], p=[0.15, 0.3, 0.3, 0.25]))
    return {"none": 0.0, "small": 2.0, "off": 9.0}[wished] if wished else drawn


def _draw_fuel(rng: Generator, condensing: bool) -> Fuel:
    if condensing:
        return "gas" if rng.random() < 0.85 else "lpg"
    return "oil" if rng.random() < 0.55 else "gas"


def _draw_fabric(rng: Generator, ua_w_k: float) -> House:
    return House(
        air_j_k=float(rng.uniform(3e6, 6e6)),
        mass_j_k=float(rng.uniform(20e6, 80e6)),
        ua_w_k=ua_w_k,
        ua_mass_w_k=float(rng.uniform(800.0, 2000.0)),
        valve_lag_s=1800.0,
    )


def _draw_boiler(
    rng: Generator, load_w: float, *, fuel: Fuel, condensing: bool, control: str
) -> BoilerBody:
    oversize = rng.uniform(1.2, 2.4)
    sizes = np.array([12e3, 14e3, 16e3, 18e3, 20e3, 24e3, 28e3, 32e3])
    input_w = float(
        sizes[min(int(np.searchsorted(sizes, load_w * oversize / 0.9)), len(sizes) - 1)]
    )
    oil = fuel == "oil"
    return BoilerBody(
        capacity_j_k=float(rng.uniform(26e3, 45e3) if condensing else rng.uniform(140e3, 250e3)),
        header_j_k=HEADER_J_K,
        loss_w_k=float(rng.uniform(1.0, 2.0) if condensing else rng.uniform(3.5, 7.0)),
        draught_w_k=0.2 if condensing else float(rng.uniform(1.0, 3.0)),
        header_loss_w_k=float(rng.uniform(0.8, 2.0)),
        input_w=input_w,
        least=float(rng.uniform(0.18, 0.32)) if condensing else 1.0,
        efficiency=float(rng.uniform(0.955, 0.98) if condensing else rng.uniform(0.86, 0.92)),
        dew_point_c={"gas": 55.7, "oil": 47.0, "lpg": 51.4}[fuel],
        condensing=float(condensing),
        hysteresis_k=float(rng.uniform(8.0, 12.0) if condensing else rng.uniform(7.0, 14.0)),
        limit_c=88.0 if condensing else 95.0,
        preheat_s=float(rng.uniform(50.0, 120.0)) if oil else 0.0,
        purge_s=float(rng.uniform(13.0, 16.0) if oil else rng.uniform(5.0, 20.0)),
        ignition_s=float(rng.uniform(1.0, 4.0)),
        post_s=0.5 if oil else float(rng.uniform(5.0, 40.0)),
        lock_s=float(rng.uniform(120.0, 300.0) if condensing else rng.uniform(0.0, 60.0)),
        tries=float(1 if oil else rng.integers(3, 6)),
        reset_s=float(rng.uniform(1.0, 9.0) * 3600.0),
        room_controlled=float(control == "room"),
    )


def _draw_watts(rng: Generator, fuel: Fuel, *, condensing: bool) -> BurnerWatts:
    """Electric power by phase, domain of published boiler fiches (13 to 116 W) and practice."""
    u = rng.uniform
    if fuel == "oil":
        motor = u(100.0, 210.0)
        return BurnerWatts(
            standby=u(1, 5),
            preheat=u(50, 125),
            purge=motor + u(40, 90),
            spark=u(5, 30),
            low=motor,
            high=motor,
        )
    if condensing:
        low, high = u(12.0, 16.0), u(28.0, 90.0)
        return BurnerWatts(
            standby=u(2, 9),
            preheat=0.0,
            purge=u(0.5, 0.9) * high,
            spark=u(10, 25),
            low=low,
            high=high,
        )
    valve = u(6.0, 11.0)
    return BurnerWatts(
        standby=u(1, 3), preheat=0.0, purge=u(2, 3.5), spark=u(8, 14), low=valve, high=valve
    )


NO_STORE = StoreBody(0.0, 0.0, 0.0, 5.0, 70.0, 0.0, 10.0)


def _draw_store(rng: Generator) -> StoreBody:
    litres = float(rng.choice([120, 150, 160, 200, 250, 300]))
    return StoreBody(
        layer_j_k=litres / 4 * 4182.0 * 0.99,
        loss_w_k=float(rng.uniform(1.2, 3.0)),
        mixing_w_k=float(rng.uniform(5.0, 15.0)),
        hysteresis_k=float(rng.uniform(4.0, 8.0)),
        charge_flow_c=float(rng.uniform(66.0, 75.0)),
        coil_w_k=float(rng.uniform(350.0, 800.0)),
        cold_c=float(rng.uniform(8.0, 13.0)),
    )


def _draw_loops(
    rng: Generator, wish: Wish, load_w: float, *, has_store: bool
) -> tuple[LoopSpec, ...]:
    floor = _choose(rng, wish.floor, 0.3)
    alone = floor and bool(rng.random() < 0.35)
    recirculation = _choose(rng, wish.recirculation, 0.45) and has_store
    share = float(rng.uniform(0.5, 0.75)) if floor else 1.0
    loops = [_heating_loop(rng, wish, "heating", load_w * (1.0 if alone else share), floor=alone)]
    if floor and not alone:
        loops.append(
            _heating_loop(
                rng,
                replace(wish, drive=None, night=False, setting=None),
                "floor",
                load_w * (1.0 - share),
                floor=True,
            )
        )
    if has_store:
        loops.append(_charging_loop(rng))
    if recirculation:
        loops.append(_recirculation_loop(rng))
    return tuple(loops)


def _heating_loop(rng: Generator, wish: Wish, name: str, load_w: float, *, floor: bool) -> LoopSpec:
    spread = 8.0 if floor else float(rng.uniform(10.0, 16.0))
    flow = max(load_w / 1163.0 / spread, 0.25)
    head = float(rng.uniform(1.2, 2.0))
    throttle = 0.45
    k = head / flow**2
    drive = wish.drive or ("induction" if rng.random() < 0.45 else "electronic")
    pump = (
        draw_induction_pump(rng, head=head)
        if drive == "induction"
        else electronic_pump(
            rng, flow=flow, head=head, floor=floor, night=wish.night, setting=wish.setting
        )
    )
    emitter_w = load_w * (4.8 if floor else float(rng.uniform(1.25, 1.8)))
    mass = max(45.0 * emitter_w / 3, SMALL_RADIATOR_J_K)
    pipe_kg = float(rng.uniform(4.0, 6.0))
    in_return = bool(rng.random() < 0.25) if wish.pump_in_return is None else wish.pump_in_return
    return LoopSpec(
        id=name,
        kind=EMITTERS,
        duty="heating",
        pumps=(pump,),
        pipe_k=k * (1 - throttle),
        kv_open=float(np.sqrt(10.197 / (k * throttle))),
        least_opening=0.35 if floor else float(rng.uniform(0.02, 0.08)),
        pipe_node_kg=pipe_kg,
        emitter_node_j_k=float(rng.uniform(0.6e6, 1.4e6)) if floor else mass,
        pipe_loss_w_k=pipe_kg * 4182.0 / (3600.0 * float(rng.uniform(1.2, 3.5))),
        emitter_w=emitter_w,
        exponent=1.1 if floor else 1.3,
        height_m=float(rng.uniform(1.5, 6.0)),
        yields=bool(rng.random() < 0.75),
        overrun_s=float(rng.uniform(120.0, 600.0)),
        pump_in_return=in_return,
        mixed_by=1.0 if floor else 0.0,
        always_on=bool(rng.random() < 0.2) if wish.always_on is None else wish.always_on,
    )


def _charging_loop(rng: Generator) -> LoopSpec:
    flow, head = 0.9, 1.2
    pump = (
        draw_induction_pump(rng, head=head)
        if rng.random() < 0.5
        else electronic_pump(rng, flow=flow, head=head, floor=False, setting="II")
    )
    return LoopSpec(
        id="charging",
        kind=CHARGING,
        duty="store",
        pumps=(pump,),
        pipe_k=head / flow**2,
        kv_open=20.0,
        pipe_node_kg=4.0,
        emitter_node_j_k=20e3,
        pipe_loss_w_k=float(rng.uniform(0.4, 1.2)),
        height_m=float(rng.uniform(0.3, 1.2)),
        overrun_s=float(rng.uniform(120.0, 360.0)),
    )


def _recirculation_loop(rng: Generator) -> LoopSpec:
    pump: PumpSpec = (
        draw_induction_pump(rng, head=0.8, power=0.42)
        if rng.random() < 0.5
        else electronic_pump(rng, flow=0.2, head=0.8, floor=False, setting="I")
    )
    timed = bool(rng.random() < 0.6)
    return LoopSpec(
        id="recirculation",
        kind=RECIRCULATION,
        duty="recirculation",
        pumps=(pump,),
        pipe_k=0.8 / 0.2**2,
        kv_open=20.0,
        pipe_node_kg=1.5,
        emitter_node_j_k=6e3,
        pipe_loss_w_k=float(rng.uniform(0.8, 1.6)),
        overrun_s=0.0,
        always_on=not timed,
        hours=((6.0, 9.0), (11.5, 13.0), (17.0, 22.0)) if timed else (),
    )
