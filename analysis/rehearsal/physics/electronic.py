"""Electronically commutated wet-rotor pump: curve, wall power, power factor and energy index."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.rehearsal.physics.hydraulics import PROPORTIONAL_PRESSURE, electronic_point

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ElectronicPump:
    """Curve and power model of a pump with permanent-magnet motor.

    Head is ``h0 n2 + b n Q - a Q2`` [m, m3/h]; wall power is
    ``standby + bearing n1.5 + (base + slope q - bend q2) n3`` with ``q = Q/n`` [W].
    Figures of the four-metre class; `scaled` gives others.
    """

    h0: float = 4.0
    b: float = 0.05
    a: float = 0.66
    standby_w: float = 1.8
    bearing_w: float = 1.8
    base_w: float = 11.6
    slope_w: float = 8.2
    bend_w: float = 1.7
    max_power_w: float = 23.0

    def scaled(self, head: float, flow: float) -> "ElectronicPump":
        """Return a pump of other size: head and flow by these factors."""
        work = head * flow
        return ElectronicPump(
            h0=self.h0 * head,
            b=self.b * head / flow,
            a=self.a * head / flow**2,
            standby_w=self.standby_w,
            bearing_w=self.bearing_w * work**0.5,
            base_w=self.base_w * work,
            slope_w=self.slope_w * work / flow,
            bend_w=self.bend_w * work / flow**2,
            max_power_w=self.max_power_w * work,
        )


def electronic_power_w(
    pump: ElectronicPump,
    speed: ArrayLike,
    flow_m3h: ArrayLike,
    *,
    drag: ArrayLike = 1.0,
    load: ArrayLike = 1.0,
) -> Array:
    """Wall power of the running pump [W].

    Parameters
    ----------
    pump : ElectronicPump
        Its model.
    speed : array_like
        Speed ratio.
    flow_m3h : array_like
        Flow [m3/h].
    drag : array_like
        Bearing friction against a sound one.
    load : array_like
        Hydraulic torque against clean water in a clean impeller.
    """
    n = np.asarray(speed, float)
    q = np.abs(np.asarray(flow_m3h, float)) / np.maximum(n, 1e-3)
    fluid = pump.base_w + pump.slope_w * q - pump.bend_w * q * q
    bearing = pump.bearing_w * n**1.5 * np.asarray(drag, float)
    power = bearing + np.maximum(fluid, 2.0) * n**3 * np.asarray(load, float)
    return np.asarray(np.minimum(pump.standby_w + power, pump.max_power_w * 1.02))


def electronic_power_factor(power_w: ArrayLike) -> Array:
    """Power factor of a small rectifier without correction (from memory, no source)."""
    return np.asarray(0.34 + 0.26 * (1.0 - np.exp(-np.asarray(power_w, float) / 14.0)))


LOAD_PROFILE = ((1.00, 0.06), (0.75, 0.15), (0.50, 0.35), (0.25, 0.44))
"""Share of flow and of time, Regulation (EC) 641/2009 annex II."""


def energy_efficiency_index(pump: ElectronicPump) -> float:
    """Weighted index of the pump on its own proportional curve.

    The rated point is that of greatest hydraulic power on the fastest curve;
    power at the points of the profile is corrected to the reference curve.

    References
    ----------
    Regulation (EC) 641/2009 annex II with (EU) 622/2012; EN 16297-1 and -2.
    """
    flow = np.linspace(0.01, np.sqrt(pump.h0 / pump.a), 4000)
    head = pump.h0 + pump.b * flow - pump.a * flow**2
    best = int(np.argmax(flow * head))
    q100, h100 = float(flow[best]), float(head[best])
    hydraulic = 2.725 * q100 * h100
    reference = 1.7 * hydraulic + 17.0 * (1.0 - np.exp(-0.3 * hydraulic))
    mean = sum(share * _profile_power_w(pump, part, q100, h100) for part, share in LOAD_PROFILE)
    return float(mean / reference * 0.49)


def _profile_power_w(pump: ElectronicPump, part: float, q100: float, h100: float) -> float:
    """Compensated power at a share of the rated flow, valves throttled to it."""
    wanted = h100 * (0.5 + 0.5 * part)
    resistance = wanted / (part * q100) ** 2
    flow, speed = electronic_point(
        PROPORTIONAL_PRESSURE, 1.0, h100, q100, pump.h0, pump.b, pump.a, resistance
    )
    measured = resistance * flow * flow
    power = float(electronic_power_w(pump, speed, flow))
    return power * max(wanted / measured, 1.0)
