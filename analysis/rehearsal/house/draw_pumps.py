"""Draw pumps that fit a loop: nameplate, curve, settings, and what happens when they fail."""

import numpy as np
from numpy.random import Generator

from analysis.rehearsal.house.spec import PumpSpec, Setting
from analysis.rehearsal.physics.electronic import ElectronicPump
from analysis.rehearsal.physics.hydraulics import (
    CONSTANT_PRESSURE,
    CONSTANT_SPEED,
    INDUCTION,
    PROPORTIONAL_PRESSURE,
)
from analysis.rehearsal.physics.motor import MAINS_V, draw_motor, running

PORTS_MM = (130, 180, 180, 180)


def draw_induction_pump(rng: Generator, *, head: float, power: float | None = None) -> PumpSpec:
    """Draw a three-speed pump with capacitor motor, as a fitter of its day would have.

    Parameters
    ----------
    rng : Generator
        Source of chance.
    head : float
        What the loop needs [m].
    power : float, optional
        Size against the 65 W class.
    """
    size = float(rng.uniform(0.8, 1.25)) if power is None else power
    motor = draw_motor(rng).scaled(size)
    h0 = max(float(rng.uniform(4.0, 6.0)), 1.6 * head) if power is None else 1.2
    most = float(rng.uniform(2.6, 3.4)) if power is None else 0.8
    low, middle = float(rng.uniform(0.66, 0.72)), float(rng.uniform(0.8, 0.86))
    taps = (low, middle, 1.0)
    watts = [float(running(motor, voltage_v=MAINS_V * tap).power_w) for tap in (low, 1.0)]
    first = int(rng.choice([0, 1, 2], p=[0.15, 0.6, 0.25]))
    names = ("I", "II", "III")
    settings = [Setting(label=names[i], mode=INDUCTION, speed=taps[i]) for i in range(3)]
    settings.insert(0, settings.pop(first))
    return PumpSpec(
        drive="induction",
        h0=h0,
        b=0.0,
        a=h0 / most**2,
        rated_flow=0.5 * most,
        settings=tuple(settings),
        rated_power_w=(float(round(watts[0] / 5) * 5), float(round(watts[1] / 5) * 5)),
        motor=motor,
        port_to_port_mm=int(rng.choice(PORTS_MM)),
        cut_out=bool(rng.random() < 0.4),
        standby_w=0.0,
    )


def electronic_pump(
    rng: Generator,
    *,
    flow: float,
    head: float,
    floor: bool,
    night: bool = False,
    setting: str | None = None,
) -> PumpSpec:
    """Draw an electronic pump of the four- or six-metre class, and the setting it was left at.

    Parameters
    ----------
    rng : Generator
        Source of chance.
    flow, head : float
        What the loop needs [m3/h, m].
    floor : bool
        Floor heating, where constant pressure is usual.
    night : bool
        Switch night reduction on.
    setting : str, optional
        Label of the setting; else drawn.
    """
    tall = bool(rng.random() < 0.4)
    model = ElectronicPump().scaled(1.5 if tall else 1.0, float(rng.uniform(0.95, 1.1)))
    night_kind = int(rng.choice([1, 2]))
    chosen = setting or _usual_setting(rng, floor=floor)
    settings = _settings(model, flow, head, night_kind if night else 0)
    at = next(i for i, one in enumerate(settings) if one.label == chosen)
    settings.insert(0, settings.pop(at))
    return PumpSpec(
        drive="electronic",
        h0=model.h0,
        b=model.b,
        a=model.a,
        rated_flow=float(np.sqrt(model.h0 / model.a) * 0.55),
        settings=tuple(settings),
        rated_power_w=(float(rng.integers(3, 6)), float(round(model.max_power_w))),
        electronic=model,
        port_to_port_mm=int(rng.choice(PORTS_MM)),
        dry_protection=bool(rng.random() < 0.5),
        standby_w=float(rng.choice([0.0, rng.uniform(0.5, 2.5)])),
        retry_s=float(rng.uniform(8.0, 60.0)),
        lock_out_min=float(rng.uniform(20.0, 600.0)),
    )


def _usual_setting(rng: Generator, *, floor: bool) -> str:
    if floor:
        return str(rng.choice(["cp low", "cp high", "II", "auto"], p=[0.4, 0.3, 0.2, 0.1]))
    labels = ["pp low", "pp high", "auto", "cp low", "II", "III"]
    return str(rng.choice(labels, p=[0.2, 0.3, 0.2, 0.1, 0.12, 0.08]))


def _settings(model: ElectronicPump, flow: float, head: float, night: int) -> list[Setting]:
    """Settings an electronic pump offers, pressures sized to the loop."""
    most = 0.92 * model.h0
    low, high = min(max(head, 1.0), most), min(max(1.6 * head, 1.6), most)
    wide = max(flow, 0.4)
    curves = [
        Setting(label=f"{short} {size}", mode=mode, head=h, flow=wide, night=night)
        for short, mode in (("cp", CONSTANT_PRESSURE), ("pp", PROPORTIONAL_PRESSURE))
        for size, h in (("low", low), ("high", high))
    ]
    speeds = [
        Setting(label=label, mode=CONSTANT_SPEED, speed=n)
        for label, n in (("I", 0.48), ("II", 0.68), ("III", 1.0))
    ]
    auto = Setting(
        label="auto", mode=PROPORTIONAL_PRESSURE, head=high, flow=wide, night=night, auto=True
    )
    return [*speeds, *curves, auto]
