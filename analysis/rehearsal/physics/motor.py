"""Capacitor-run induction motor of a wet-rotor pump: the two-winding revolving-field circuit."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

MAINS_HZ = 50.0
MAINS_V = 230.0
SYNCHRONOUS_RPM = 3000.0
COPPER_PER_K = 0.0039
"""Temperature coefficient of the resistance of copper and, nearly, aluminium [1/K]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Motor:
    """Circuit of a two-pole capacitor-run motor and the load it was fitted to.

    Attributes
    ----------
    r_main, r_aux, x_leak, x_mag, r_rotor, x_rotor : float
        Circuit at a winding temperature of 20 K over a cold machine [ohm].
    turns : float
        Turns of the auxiliary over the main winding.
    capacitor_f : float
        Run capacitor [F].
    load_torque : float
        Hydraulic torque at rated flow and synchronous speed [synchronous W].
    friction_torque : float
        Friction of sound bearings and rotor [synchronous W].
    rated_torque : float
        Whole torque at rated flow [synchronous W].
    """

    r_main: float
    r_aux: float
    x_leak: float
    x_mag: float
    r_rotor: float
    x_rotor: float
    turns: float
    capacitor_f: float
    load_torque: float = 0.0
    friction_torque: float = 0.0
    rated_torque: float = 0.0

    def scaled(self, power: float) -> "Motor":
        """Return a motor of the same behaviour that takes this many times the power."""
        return Motor(
            **{
                name: getattr(self, name) / power
                for name in ("r_main", "r_aux", "x_leak", "x_mag", "r_rotor", "x_rotor")
            },
            turns=self.turns,
            capacitor_f=self.capacitor_f * power,
            load_torque=self.load_torque * power,
            friction_torque=self.friction_torque * power,
            rated_torque=self.rated_torque * power,
        )


@dataclass(frozen=True, slots=True)
class Circuit:
    """Answer of the circuit at given slips; arrays of one shape."""

    power_w: Array
    current_a: Array
    power_factor: Array
    torque_w: Array


def circuit(
    motor: Motor,
    slip: ArrayLike,
    *,
    voltage_v: ArrayLike = MAINS_V,
    heat_k: ArrayLike = 0.0,
    capacity: ArrayLike = 1.0,
) -> Circuit:
    """Power, current and torque of the motor.

    Both windings see a forward and a backward field; the capacitor shifts the
    auxiliary one.

    Parameters
    ----------
    motor : Motor
        Its circuit.
    slip : array_like
        1 at rest, 0 at synchronous speed.
    voltage_v : array_like
        Mains voltage [V].
    heat_k : array_like
        Winding temperature against the one the circuit is given for [K].
    capacity : array_like
        Capacitance left, as a share of the plate's.

    References
    ----------
    Fitzgerald, Kingsley, Umans, Electric Machinery, chapter on single-phase
    machines (from memory); Veinott, Theory and Design of Small Induction Motors.
    """
    s = np.clip(np.asarray(slip, float), 1e-4, 1.0)
    warm = 1.0 + COPPER_PER_K * np.asarray(heat_k, float)
    omega_c = 2 * np.pi * MAINS_HZ * motor.capacitor_f * np.maximum(capacity, 1e-6)
    forward = _field(motor, s, warm)
    backward = _field(motor, 2.0 - s, warm)
    main = motor.r_main * warm + 1j * motor.x_leak + forward + backward
    aux = motor.turns**2 * (1j * motor.x_leak + forward + backward)
    aux = aux + motor.r_aux * warm - 1j / omega_c
    cross = 1j * motor.turns * (forward - backward)
    volts = np.asarray(voltage_v, float)
    bottom = main * aux - cross * cross
    i_main = volts * (aux + cross) / bottom
    i_aux = volts * (main - cross) / bottom
    return _answer(motor, volts, i_main, i_aux, forward.real, backward.real)


def _field(motor: Motor, slip: Array, warm: Array) -> NDArray[np.complex128]:
    """Half of the magnetising reactance in parallel with the rotor branch."""
    rotor = motor.r_rotor * warm / slip + 1j * motor.x_rotor
    return np.asarray(0.5 * (1j * motor.x_mag * rotor) / (rotor + 1j * motor.x_mag))


def _answer(
    motor: Motor,
    volts: Array,
    i_main: NDArray[np.complex128],
    i_aux: NDArray[np.complex128],
    r_forward: Array,
    r_backward: Array,
) -> Circuit:
    line = i_main + i_aux
    power = volts * line.real
    current = np.abs(line)
    square = np.abs(i_main) ** 2 + motor.turns**2 * np.abs(i_aux) ** 2
    quadrature = (np.conj(i_main) * i_aux).imag
    torque = square * (r_forward - r_backward)
    torque = torque + 2.0 * motor.turns * quadrature * (r_forward + r_backward)
    factor = power / np.maximum(volts * current, 1e-9)
    return Circuit(power, current, factor, torque)


@dataclass(frozen=True, slots=True)
class Running:
    """Where a motor settles; `speed` is a share of the synchronous one, 0 when stalled."""

    speed: Array
    power_w: Array
    current_a: Array
    power_factor: Array


_SLIPS = np.concatenate((np.linspace(0.004, 0.6, 90), np.linspace(0.62, 1.0, 20)))


def running(
    motor: Motor,
    *,
    hydraulic: ArrayLike = 1.0,
    drag: ArrayLike = 0.0,
    voltage_v: ArrayLike = MAINS_V,
    heat_k: ArrayLike = 0.0,
    capacity: ArrayLike = 1.0,
) -> Running:
    """Find the running point: the least slip at which motor and load agree.

    Where there is none the rotor stands, and the figures are those of slip 1.

    Parameters
    ----------
    motor : Motor
        Circuit and load.
    hydraulic : array_like
        Torque of the impeller against rated flow: 0.62 dead-headed, 0.06 dry.
    drag : array_like
        Torque added by a worn bearing, as a share of the rated torque.
    voltage_v, heat_k, capacity : array_like
        As for `circuit`.
    """
    given = np.broadcast_arrays(
        *(np.asarray(a, float) for a in (hydraulic, drag, voltage_v, heat_k, capacity))
    )
    shape = given[0].shape
    load, worn, volts, heat, left = (a.reshape(-1, 1) for a in given)
    slips = _SLIPS[None, :]
    curve = circuit(motor, slips, voltage_v=volts, heat_k=heat, capacity=left).torque_w
    excess = curve - _load_torque(motor, slips, load, worn)
    crossing = (excess[:, :-1] < 0) & (excess[:, 1:] >= 0)
    found = crossing.any(axis=1)
    at = np.argmax(crossing, axis=1)
    row = np.arange(len(at))
    below, above = excess[row, at], excess[row, at + 1]
    share = below / np.where(found, below - above, 1.0)
    slip = np.where(found, _SLIPS[at] + share * (_SLIPS[at + 1] - _SLIPS[at]), 1.0)
    end = circuit(motor, slip, voltage_v=volts[:, 0], heat_k=heat[:, 0], capacity=left[:, 0])
    return Running(
        np.where(found, 1.0 - slip, 0.0).reshape(shape),
        end.power_w.reshape(shape),
        end.current_a.reshape(shape),
        end.power_factor.reshape(shape),
    )


def _load_torque(motor: Motor, slip: Array, hydraulic: Array, drag: Array) -> Array:
    fluid = motor.load_torque * hydraulic * (1.0 - slip) ** 2
    return fluid + motor.friction_torque + drag * motor.rated_torque


def draw_motor(rng: Generator, candidates: int = 4000) -> Motor:
    """Draw a motor that has the class data of a 65 W circulator.

    Parameter sets are drawn freely and kept where they take 58 to 72 W and
    0.25 to 0.33 A at a power factor above 0.9, turn at 1900 to 2600 rpm, start
    from rest and have a stable running point there.

    Parameters
    ----------
    rng : Generator
        Source of chance.
    candidates : int
        Sets drawn at once.
    """
    while True:
        found = accepted_motors(rng, candidates)
        if found:
            return found[0]


def accepted_motors(rng: Generator, candidates: int) -> list[Motor]:
    """Every motor among freely drawn candidates that has the class data."""
    u = rng.uniform
    n = candidates
    pool = {
        "r_main": u(120, 260, n),
        "r_aux": u(90, 260, n),
        "x_leak": u(40, 200, n),
        "x_mag": u(250, 900, n),
        "r_rotor": u(80, 500, n),
        "x_rotor": u(30, 180, n),
        "turns": u(0.7, 1.6, n),
        "capacitor_f": u(1.5e-6, 3.5e-6, n),
    }
    slip = 1.0 - u(1900, 2600, n) / SYNCHRONOUS_RPM
    dragging = u(0.08, 0.22, n)
    many = Motor(**pool)  # type: ignore[arg-type]  # arrays stand in for the scalars
    at, rest = circuit(many, slip), circuit(many, np.ones(n))
    near = circuit(many, slip + 0.02)
    friction = dragging * at.torque_w
    load = (1.0 - dragging) * at.torque_w / (1.0 - slip) ** 2
    stable = near.torque_w > load * (0.98 - slip) ** 2 + friction
    shaft = at.torque_w * (1.0 - slip) / at.power_w
    good = (
        (at.power_w > 58)
        & (at.power_w < 72)
        & (at.current_a > 0.25)
        & (at.current_a < 0.33)
        & (at.power_factor > 0.9)
        & (shaft > 0.2)
        & (shaft < 0.6)
        & stable
        & (rest.torque_w > 2.0 * friction)
        & (rest.torque_w > 1.0)
    )
    return [
        replace(
            Motor(**{name: float(values[i]) for name, values in pool.items()}),
            load_torque=float(load[i]),
            friction_torque=float(friction[i]),
            rated_torque=float(at.torque_w[i]),
        )
        for i in np.flatnonzero(good)
    ]
