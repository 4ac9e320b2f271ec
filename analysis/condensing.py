"""Whether a condensing boiler condenses: its return against the dew point of its flue gas."""

import numpy as np

from analysis.estimate import Estimate
from analysis.finding import Evidence, Finding
from analysis.firedays import Fired, fired
from analysis.plant import Boiler, Plant
from analysis.readings import FloatArray, IntArray, Readings, Record, hold_limit_ms, value_at
from analysis.timebase import DAY_MS, MINUTE_MS
from analysis.watch import Situation, Verdict

DEW_POINT_CEL = {"gas": 55.7, "lpg": 51.4, "oil": 47.0}
"""Dew point of the flue gas at a fifth more air than needed (computed from stoichiometry and
IAPWS-IF97 saturation pressure; trade texts round to 55 for gas and 47 for oil)."""

MOLES_WATER_PER_DRY = {"gas": (2.0, 1.0, 2.0), "lpg": (4.0, 3.0, 5.0), "oil": (0.93, 1.0, 1.465)}
"""Per mole of fuel: water, carbon dioxide, oxygen needed. Methane, propane, CH1.86."""


def water_pressure_share(fuel: str, air_ratio: float) -> float:
    """Share of water vapour in the flue gas of a fuel burnt with dry air [mole fraction].

    Parameters
    ----------
    fuel : str
        ``gas`` as methane, ``lpg`` as propane, ``oil`` as CH1.86.
    air_ratio : float
        Air over the air that is just needed, at least 1.
    """
    water, carbon, oxygen = MOLES_WATER_PER_DRY[fuel]
    air = air_ratio * oxygen / 0.2095
    flue = water + carbon + air - oxygen
    return water / flue


def firing_minutes(fired_days: Fired) -> tuple[IntArray, IntArray]:
    """Minutes of firing for heating, and the local day of each, first two of a firing left out."""
    heats = ~fired_days.is_charge
    start, end = fired_days.start_ms[heats] + 2 * MINUTE_MS, fired_days.end_ms[heats]
    count = np.maximum((end - start) // MINUTE_MS, 0)
    offset = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
    moment = np.repeat(start, count) + offset * MINUTE_MS
    day = np.searchsorted(fired_days.days.start_ms, moment, side="right") - 1
    return moment.astype(np.int64), day.astype(np.int64)


def return_at(plant: Plant, boiler: Boiler, record: Record, moment: IntArray) -> FloatArray | None:
    """Return temperature at moments [Cel]; None where it is not measured."""
    channel = plant.first(boiler.id, "temperature", "return")
    readings = record.get(channel.id, Readings.empty()) if channel else Readings.empty()
    if channel is None or not len(readings):
        return None
    return value_at(readings, moment, hold_limit_ms(readings, channel))


def condensing_share(plant: Plant, seen: Fired, record: Record) -> Estimate:
    """Share of firing time for heating in which the return lies below the dew point.

    The interval comes from a sensor that may be off by 1 K either way and, on
    the pipe, reads low; it is not the weather of other times.
    """
    moment, _ = firing_minutes(seen)
    value = return_at(plant, seen.boiler, record, moment)
    if value is None:
        return Estimate.unknown("1", "no return temperature of the boiler")
    known = value[np.isfinite(value)]
    if len(known) < 60:
        return Estimate.unknown("1", "less than an hour of firing with a known return temperature")
    dew = DEW_POINT_CEL[seen.boiler.fuel]
    low, middle, high = (float(np.mean(known < dew + off)) for off in (-2.0, 0.0, 1.0))
    words = f"return below {dew:.1f} Cel in {len(known) / 60:.0f} h of firing for heating"
    return Estimate(middle, low, high, "1", words)


_LEAST_MINUTES = 60
_WARM_SHARE = 0.2
_DAYS = 2


def judge_return_too_warm(situation: Situation) -> Verdict:
    """A condensing boiler whose return stays above the dew point for days."""
    boiler = next(b for b in situation.plant.boilers if b.id == situation.subject)
    if not boiler.condensing:
        return Verdict()
    seen = fired(situation, boiler)
    moment, day = firing_minutes(seen)
    value = return_at(situation.plant, boiler, situation.record, moment)
    if value is None or seen.found.method is None or seen.found.tells == "running":
        return Verdict(needs="return temperature of the boiler, and what shows its firing")
    share = _daily_share(value, day, len(seen.days), DEW_POINT_CEL[boiler.fuel])
    if not np.isfinite(share).any():
        return Verdict(needs="a day with an hour of firing for heating")
    dew = DEW_POINT_CEL[boiler.fuel]
    found = []
    for first, last in _warm_stretches(share):
        inside = value[(day >= first) & (day <= last) & np.isfinite(value)]
        signs = float(np.mean(inside < dew)), float(np.median(inside))
        found.append(_finding(situation, seen, signs=signs, days=(first, last)))
    return Verdict(tuple(found))


def _daily_share(value: FloatArray, day: IntArray, days: int, dew_c: float) -> FloatArray:
    """Share of each day's firing minutes that could condense; NaN with less than an hour."""
    known = np.isfinite(value) & (day >= 0)
    total = np.bincount(day[known], minlength=days)[:days]
    below = np.bincount(day[known], value[known] < dew_c, days)[:days]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = below / total
    return np.where(total >= _LEAST_MINUTES, share, np.nan)


def _warm_stretches(share: FloatArray) -> list[tuple[int, int]]:
    """First and last day of stretches that hardly condense, at least two known days long."""
    known = np.flatnonzero(np.isfinite(share))
    warm = share[known] < _WARM_SHARE
    found = []
    begin = None
    for k, is_warm in enumerate([*warm.tolist(), False]):
        if is_warm and begin is None:
            begin = k
        elif not is_warm and begin is not None:
            if k - begin >= _DAYS:
                found.append((int(known[begin]), int(known[k - 1])))
            begin = None
    return found


def _finding(
    situation: Situation, seen: Fired, *, signs: tuple[float, float], days: tuple[int, int]
) -> Finding:
    dew = DEW_POINT_CEL[seen.boiler.fuel]
    channel = situation.plant.first(seen.boiler.id, "temperature", "return")
    name = channel.id if channel else ""
    share = "share of firing time for heating that could condense"
    middle = "median return temperature while firing"
    start = seen.days.start_ms
    first, last = days
    is_over = last + 1 < len(start) and seen.days.on_h[last + 1 :].sum() > 1.0
    return Finding(
        subject=situation.subject,
        fault="return_too_warm",
        start_ms=max(int(start[first]), situation.span.start_ms),
        end_ms=int(start[last]) + DAY_MS if is_over else None,
        urgency="note",
        confidence=0.85 if last - first >= 3 else 0.7,
        evidence=(
            Evidence(name, share, signs[0], "more than half on most days", "1"),
            Evidence(name, middle, signs[1], f"below the dew point of {dew:.1f}", "Cel"),
        ),
    )
