"""Whether a condensing boiler condenses: its return against the dew point of its flue gas.

Two things are told: a return that stays above the dew point, and a boiler run so much hotter than
before at like weather that less condenses than could. The second is told even where valves throttle
the water so far that the return stays cool, as most of the boiler then is too warm to condense in.
"""

from typing import Literal, NamedTuple

import numpy as np

from analysis.alarms.states import Timing
from analysis.base.estimate import Estimate
from analysis.base.time import DAY_MS, MINUTE_MS
from analysis.faults.fault import SEALED, Fault
from analysis.firing.daily_firings import REMEMBERED_DAYS, Fired, fired, like_days
from analysis.plant.finding import Evidence, Finding
from analysis.plant.plant import Boiler, Plant
from analysis.readings.readings import (
    FloatArray,
    IntArray,
    Readings,
    Record,
    hold_limit_ms,
    value_at,
)
from analysis.readings.situation import Situation, Verdict

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


def water_at(
    plant: Plant, boiler: Boiler, place: Literal["flow", "return"], record: Record, moment: IntArray
) -> FloatArray | None:
    """Temperature of the boiler's flow or return at moments [Cel]; None where not measured."""
    channel = plant.first(boiler.id, "temperature", place)
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
    value = water_at(plant, seen.boiler, "return", record, moment)
    if value is None:
        return Estimate.unknown("1", "no return temperature of the boiler")
    known = value[np.isfinite(value)]
    if len(known) < 60:
        return Estimate.unknown("1", "less than an hour of firing with a known return temperature")
    dew = DEW_POINT_CEL[seen.boiler.fuel]
    low, middle, high = (float(np.mean(known < dew + off)) for off in (-2.0, 0.0, 1.0))
    words = f"return below {dew:.1f} °C in {len(known) / 60:.0f} h of firing for heating"
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
    value = water_at(situation.plant, boiler, "return", situation.record, moment)
    if value is None or seen.found.method is None or seen.found.tells == "running":
        return Verdict(needs="return temperature of the boiler, and what shows its firing")
    hotter = _run_hotter(situation, seen, moment, day)
    if hotter is not None:
        return Verdict((_hotter_finding(situation, seen, value, day=day, hotter=hotter),))
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


class _Hotter(NamedTuple):
    """First and last day of running hotter; flow temperature at like weather before, and since."""

    first: int
    last: int
    before_c: float
    after_c: float
    gain: float


_BEFORE_DAYS, _SINCE_DAYS = 5, 3
_HOTTER_K, _LASTING_K = 9.0, 5.0
"""A step of the heating curve is 2 to 4 K at usual weather (common practice, no source): this is
several."""
_LEAST_FIRING = 30


def _run_hotter(
    situation: Situation, seen: Fired, moment: IntArray, day: IntArray
) -> _Hotter | None:
    """The day since which the flow while firing is far above what it was at like weather."""
    flow = water_at(situation.plant, seen.boiler, "flow", situation.record, moment)
    if flow is None:
        return None
    daily = np.full(len(seen.days), np.nan)
    begins = np.searchsorted(day, np.arange(len(daily) + 1))
    for k in range(len(daily)):
        own = flow[begins[k] : begins[k + 1]]
        own = own[np.isfinite(own)]
        if len(own) >= _LEAST_FIRING:
            daily[k] = np.median(own)
    usable = np.flatnonzero(np.isfinite(daily))[-REMEMBERED_DAYS:]
    splits = range(_BEFORE_DAYS, len(usable) - _SINCE_DAYS + 1)
    steps = (_step_at(seen, daily, usable[:k], usable[k:]) for k in splits)
    return max((s for s in steps if s is not None), key=lambda s: s.gain, default=None)


def _step_at(seen: Fired, daily: FloatArray, before: IntArray, after: IntArray) -> _Hotter | None:
    up = daily[after] - like_days(seen.days, daily, after, before)
    own = daily[before] - like_days(seen.days, daily, before, before, leave_out=True)
    known = np.isfinite(up)
    if known.sum() < _SINCE_DAYS or np.isfinite(own).sum() < _BEFORE_DAYS - 1:
        return None
    middle = float(np.median(up[known]))
    spread = 1.4826 * float(np.nanmedian(np.abs(own - np.nanmedian(own))))
    if middle < max(_HOTTER_K, 4.0 * spread) or np.mean(up[known] > _LASTING_K) < 0.7:
        return None
    weight = float(np.sqrt(len(before) * known.sum() / (len(before) + known.sum())))
    since = float(np.median(daily[after][known]))
    gain = float(np.mean(up[known])) * weight
    return _Hotter(int(after[0]), int(after[-1]), since - middle, since, gain)


def _hotter_finding(
    situation: Situation, seen: Fired, value: FloatArray, *, day: IntArray, hotter: _Hotter
) -> Finding:
    channel = situation.plant.first(seen.boiler.id, "temperature", "flow")
    back = situation.plant.first(seen.boiler.id, "temperature", "return")
    returned = float(np.nanmedian(value[(day >= hotter.first) & (day <= hotter.last)]))
    dew = DEW_POINT_CEL[seen.boiler.fuel]
    return Finding(
        subject=situation.subject,
        fault="return_too_warm",
        start_ms=max(int(seen.days.start_ms[hotter.first]), situation.span.start_ms),
        end_ms=None,
        urgency="note",
        confidence=0.8,
        evidence=(
            Evidence(
                channel.id if channel else "",
                "median flow temperature while firing",
                hotter.after_c,
                f"about {hotter.before_c:.0f} at like weather, as before",
                "Cel",
            ),
            Evidence(
                back.id if back else "",
                "median return temperature while firing",
                returned,
                f"the lower the better below the dew point of {dew:.1f}",
                "Cel",
            ),
        ),
    )


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


FAULT = Fault(
    name="return_too_warm",
    title="Condensing boiler condenses less than it could",
    of="boiler",
    group="boiler",
    place=3,
    needs="return temperature of the boiler, and what shows its firing",
    judge=judge_return_too_warm,
    urgency="note",
    timing=Timing(),
    possible=(
        "flow temperature set higher than the house needs",
        "pump too strong, or an open bypass",
        "radiators too small, or not balanced",
    ),
    first_check="Lower the heating curve by a step and see for a week whether rooms stay warm.",
    who="Owner: heating curve, pump setting. Heating firm: balancing, bypass.",
    caution="Keep hot water hygienic: lower the heating circuit, not the store. " + SEALED,
    pace="day",
)
