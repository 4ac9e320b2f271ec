"""What a new pump uses of an old one's use, at like context: power while running, and hours."""

from dataclasses import dataclass

import numpy as np

from analysis.energy.pump_days import PumpDays
from analysis.readings.readings import FloatArray, IntArray
from analysis.readings.two_levels import BoolArray
from analysis.statistics.uncertainty import effective_count, lag1
from analysis.weather.degree_days import Days

_POWER_DRIFT = (0.02, 0.05, 0.10)
"""Relative spread of running power between the days seen and the year: of an old pump that holds
its speed (mains voltage, temperature), of a new one that held its power day after day, and of one
that follows the valves (rehearsed houses)."""
_HOURS_SPREAD = 0.10
"""How much a pump may change the hours a plant calls for it, before looking (rehearsed houses)."""
_LEAST_REST_H = 2.0
_LEAST_RUN_H = 1.0
_DAY_K = 3.0
"""Spread of daily temperatures about the season, where none are measured."""


@dataclass(frozen=True, slots=True)
class Ratio:
    """Power, hours and energy of the new pump as shares of the old one's.

    `power_spread` and `hours_spread` are relative standard uncertainties.
    `is_matched` says whether outdoor temperature was heeded.
    """

    power: float
    power_spread: float
    hours: float
    hours_spread: float
    is_matched: bool

    @property
    def energy(self) -> float:
        """Energy as a share of the old pump's."""
        return self.power * self.hours

    def drawn(self, rng: np.random.Generator, number: int) -> FloatArray:
        """Shares that could be true."""
        power, hours = self.factors(rng, number)
        return np.asarray(self.energy * power * hours)

    def factors(self, rng: np.random.Generator, number: int) -> tuple[FloatArray, FloatArray]:
        """By what the shares of power and of hours could be wrong."""
        kick = rng.standard_normal((2, number))
        return np.exp(self.power_spread * kick[0]), np.exp(self.hours_spread * kick[1])


def matched_ratio(before: PumpDays, after: PumpDays, outdoor: Days | None) -> Ratio:
    """Ratio of two pumps at one plant, days compared at equal outdoor temperature.

    Power while running is compared as it is, as it hardly depends on the
    weather over weeks; hours are compared by a straight line over temperature
    common to both, and held to be equal where the days do not say otherwise.
    """
    power = after.mean_running_w / before.mean_running_w
    spread = float(np.hypot(_drift(before, 0), _drift(after, 1 if holds_power(after) else 2)))
    shift, error, matched = _hours_shift(before, after, outdoor)
    usual = before.run_share * 24.0
    relative = error / usual if usual > 0 else np.inf
    weight = _HOURS_SPREAD**2 / (_HOURS_SPREAD**2 + relative**2)
    hours = float(np.clip(1.0 + weight * shift / usual, 0.5, 1.5)) if usual > 0 else 1.0
    left = _HOURS_SPREAD * float(np.sqrt(1.0 - weight))
    return Ratio(power, spread, hours, left, matched)


_STEADY = 0.05
"""Relative scatter of daily running power under which a pump is taken to hold its power."""


def holds_power(days: PumpDays) -> bool:
    """Whether a pump drew the same while running, day after day."""
    power = days.running_w[np.isfinite(days.running_w)]
    return len(power) > 2 and bool(power.std() < _STEADY * power.mean())


def old_use(before: PumpDays, after: PumpDays, ratio: Ratio) -> FloatArray:
    """What the old pump would have used on each day of the new one [kWh]; NaN where unknown.

    It runs the hours the new one ran, brought to its own, at most all of the day, at its own
    power if it held that; else at the new one's power over their ratio. At rest each draws what
    it draws: what the new pump's electronics take then says nothing of the old pump.
    """
    run_h, rest_w = after.run_h, rest_power_w(before)
    own_h = np.minimum(run_h / ratio.hours, after.hours)
    new_w = np.where(run_h > 0, after.running_w, 0.0)
    power_w = before.mean_running_w if holds_power(before) else new_w / ratio.power
    used = (power_w * own_h + rest_w * (after.hours - own_h)) / 1000.0
    plain = after.kwh / ratio.energy
    known = np.isfinite(after.kwh)
    return np.where(known & np.isfinite(used), used, np.where(known, plain, np.nan))


def ran(days: PumpDays) -> BoolArray:
    """Days on which a pump ran for an hour or more, or that do not tell."""
    return ~(days.run_h < _LEAST_RUN_H)


def rest_power_w(days: PumpDays) -> float:
    """Power a pump draws while it rests [W]; 0 where no long rest was seen."""
    running = np.where(days.run_h > 0, days.run_h * days.running_w, 0.0)
    left_h = days.hours - days.run_h
    there = np.isfinite(days.kwh) & np.isfinite(running) & (left_h >= _LEAST_REST_H)
    if not there.any():
        return 0.0
    return max(float(np.median((1000.0 * days.kwh - running)[there] / left_h[there])), 0.0)


def _drift(days: PumpDays, which: int) -> float:
    """Relative spread of a mean running power: of the days seen, and for the rest of the year."""
    there = days.running_w[np.isfinite(days.running_w)]
    seen = float(there.std() / there.mean()) if len(there) > 2 else 0.05
    return float(np.hypot(_POWER_DRIFT[which], seen / np.sqrt(max(len(there) / 4.0, 1.0))))


def _hours_shift(
    before: PumpDays, after: PumpDays, outdoor: Days | None
) -> tuple[float, float, bool]:
    """Change of daily running hours at equal temperature, its error, and whether it was known.

    Days without running do not count: they tell of the season, in which a control shuts the
    heating off, not of the pump.
    """
    hours = np.concatenate(
        [np.where(ran(one) & np.isfinite(one.run_h), one.run_h, np.nan) for one in (before, after)]
    )
    is_after = np.concatenate((np.zeros(len(before)), np.ones(len(after))))
    start = np.concatenate((before.start_ms, after.start_ms))
    temp = temperature_on(outdoor, start)
    there = np.isfinite(hours) & np.isfinite(temp)
    matched = bool(there.sum() >= 0.6 * np.isfinite(hours).sum()) and there.sum() >= 8
    if not matched:
        there, temp = np.isfinite(hours), np.zeros(len(hours))
    if is_after[there].sum() < 3 or (1 - is_after[there]).sum() < 3:
        return 0.0, np.inf, matched
    columns = np.column_stack((np.ones(there.sum()), is_after[there], temp[there]))
    columns = columns if matched else columns[:, :2]
    fit = np.linalg.lstsq(columns, hours[there], rcond=None)[0]
    residual = hours[there] - columns @ fit
    free = max(len(residual) - columns.shape[1], 1)
    memory = min(max(lag1(residual, in_time_order=True), 0.0), 0.9)
    inflation = len(residual) / effective_count(len(residual), memory)
    variance = float((residual**2).sum()) / free * inflation
    error = float(np.sqrt(variance * np.linalg.inv(columns.T @ columns)[1, 1]))
    slope_k = 0.0 if matched else 0.5 * _DAY_K
    return float(fit[1]), float(np.hypot(error, slope_k)), matched


def temperature_on(outdoor: Days | None, start_ms: IntArray) -> FloatArray:
    """Outdoor temperature of the days that begin then [Cel]; NaN where it is not known."""
    found = np.full(len(start_ms), np.nan)
    if outdoor is None or not len(outdoor) or not len(found):
        return found
    at = np.clip(np.searchsorted(outdoor.start_ms, start_ms), 0, len(outdoor) - 1)
    same = outdoor.start_ms[at] == start_ms
    found[same] = outdoor.value[at[same]]
    return found
