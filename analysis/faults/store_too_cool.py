"""A hot-water store that is too cool for hygiene."""

from itertools import pairwise

import numpy as np
import pandas as pd

from analysis.alarms.states import Timing
from analysis.base.estimate import Estimate
from analysis.base.time import Span, local_day_edges
from analysis.faults.fault import Fault
from analysis.plant.finding import Evidence, Finding
from analysis.plant.plant import Channel, Plant, Store
from analysis.readings.readings import (
    FloatArray,
    IntArray,
    Readings,
    Record,
    hold_limit_ms,
    summarise,
)
from analysis.readings.situation import Situation, Verdict

HYGIENE_CEL = 60.0
"""Guidance for stored hot water, 60 Cel and 50 Cel at the tap (HSE, Legionnaires' disease: hot
and cold water systems; DVGW W 551). Local rules decide."""
TOO_COOL_CEL = 50.0
"""A store whose hottest hour of the day stays below this gives no 50 Cel at any tap."""
_DAYS = 2
_CHARGE_RISE_K = 1.5
_OFF_CEL = 32.0
"""Water no warmer than the skin is charged by nobody: the store is off, and pipes or a warm cellar
warm it (common practice, no source)."""
_RECENT_CHARGED = 30
_STEPS, _HOUR = 144, 6
"""Steps of ten minutes in a day and in an hour."""


def _part(situation: Situation) -> Store:
    return next(s for s in situation.plant.stores if s.id == situation.subject)


def _sensor(situation: Situation, places: tuple[str, ...]) -> tuple[Channel, Readings] | None:
    return _sensor_of(situation.plant, situation.subject, situation.record, places)


def _sensor_of(
    plant: Plant, store: str, record: Record, places: tuple[str, ...]
) -> tuple[Channel, Readings] | None:
    for place in places:
        channel = plant.first(store, "temperature", place)
        readings = record.get(channel.id, Readings.empty()) if channel else None
        if channel is not None and readings is not None and len(readings):
            return channel, readings
    return None


# too cool


def warmth_of(plant: Plant, store: Store, record: Record, span: Span) -> tuple[Estimate, str]:
    """Warmest hour of a day at the top of a store, and what hygiene guidance says to that.

    Parameters
    ----------
    plant, store : Plant, Store
        Which store.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Time to look at; its last thirty days with a charge count.

    Returns
    -------
    tuple of Estimate and str
        Median of these days [Cel] with the span of nineteen in twenty of them; a sentence.
    """
    sensor = _sensor_of(plant, store.id, record, ("top",))
    if sensor is None:
        return Estimate.unknown("Cel", f"no temperature at the top of '{store.id}'"), ""
    channel, readings = sensor
    hottest, charged = _days(readings, channel, local_day_edges(span, plant.timezone))
    days = hottest[np.isfinite(hottest) & charged][-_RECENT_CHARGED:]
    if not len(days):
        return Estimate.unknown("Cel", "no whole day with a charge"), ""
    low, middle, high = (float(q) for q in np.quantile(days, (0.025, 0.5, 0.975)))
    warm = Estimate(middle, low, high, "Cel", f"warmest hour of {len(days)} days with a charge")
    if middle >= HYGIENE_CEL:
        words = f"reaches the usual guidance of {HYGIENE_CEL:.0f} °C for stored drinking water"
    else:
        words = (
            f"below the usual guidance of {HYGIENE_CEL:.0f} °C for stored drinking water "
            f"({TOO_COOL_CEL:.0f} °C at the tap); hotter water scalds: ask a heating firm"
        )
    return warm, f"{words}; local rules decide"


def judge_store_too_cool(situation: Situation) -> Verdict:
    """A store that is charged, and yet never gets warm enough for days."""
    sensor = _sensor(situation, ("top",))
    if sensor is None:
        return Verdict(needs=f"a temperature at the top of '{situation.subject}'")
    channel, readings = sensor
    edges = local_day_edges(situation.span, situation.plant.timezone)
    hottest, charged = _days(readings, channel, edges)
    if not np.isfinite(hottest).any():
        return Verdict(needs=f"a whole day of '{channel.id}'")
    cool = np.isfinite(hottest) & (hottest < TOO_COOL_CEL) & charged
    found = tuple(
        _too_cool(situation, channel, hottest, (edges, a, b))
        for a, b in _stretches(cool, np.isfinite(hottest) & charged)
    )
    return Verdict(found)


def _days(readings: Readings, channel: Channel, edges: IntArray) -> tuple[FloatArray, np.ndarray]:
    """Warmest hour of each day [Cel], NaN where little is known, and whether it was charged.

    Of every ten minutes, as a charge keeps no clock hour.
    """
    steps = [np.linspace(a, b, _STEPS + 1).astype(np.int64) for a, b in pairwise(edges.tolist())]
    found = summarise(readings, np.unique(np.concatenate(steps)), hold_limit_ms(readings, channel))
    mean = pd.Series(found.mean)
    hour = mean.rolling(_HOUR, min_periods=_HOUR).mean().to_numpy()
    rise = (mean - mean.rolling(2 * _HOUR, min_periods=1).min()).to_numpy()
    count = len(edges) - 1
    hottest, charged = np.full(count, np.nan), np.zeros(count, bool)
    for k in range(count):
        own = slice(k * _STEPS, (k + 1) * _STEPS)
        known = np.isfinite(hour[own])
        if 2 * known.sum() >= _STEPS:
            hottest[k] = hour[own][known].max()
            rises = bool((np.nan_to_num(rise[own]) >= _CHARGE_RISE_K).any())
            charged[k] = rises and bool(hottest[k] >= _OFF_CEL)
    return hottest, charged


def _stretches(bad: np.ndarray, known: np.ndarray) -> list[tuple[int, int]]:
    """First and last of runs of bad days among the known ones."""
    at = np.flatnonzero(known)
    found, begin = [], None
    for k, is_bad in enumerate([*bad[at].tolist(), False]):
        if is_bad and begin is None:
            begin = k
        elif not is_bad and begin is not None:
            if k - begin >= _DAYS:
                found.append((int(at[begin]), int(at[k - 1])))
            begin = None
    return found


def _too_cool(
    situation: Situation, channel: Channel, hottest: FloatArray, at: tuple[IntArray, int, int]
) -> Finding:
    edges, first, last = at
    days = hottest[first : last + 1]
    warm_later = np.isfinite(hottest[last + 1 :]).any()
    return Finding(
        subject=situation.subject,
        fault="store_too_cool",
        start_ms=max(int(edges[first]), situation.span.start_ms),
        end_ms=int(edges[last + 1]) if warm_later else None,
        urgency="soon",
        confidence=0.9,
        evidence=(
            Evidence(
                channel.id,
                "hottest hour of the day, median",
                float(np.nanmedian(days)),
                f"at least {TOO_COOL_CEL:.0f}; guidance for stored water {HYGIENE_CEL:.0f}",
                "Cel",
            ),
        ),
    )


FAULT = Fault(
    name="store_too_cool",
    title="Hot-water store too cool for hygiene",
    of="store",
    group="boiler",
    place=4,
    needs="temperature at the top of the store",
    judge=judge_store_too_cool,
    urgency="soon",
    timing=Timing(),
    possible=(
        "store thermostat set too low",
        "charging pump or boiler stops too early",
        "scale on the coil",
        "sensor slipped",
    ),
    first_check="What is the store's thermostat set to? Compare with the store's own dial.",
    who="Owner: setting. Heating firm: coil, sensor, mixing valve.",
    caution="Legionella grow between about 20 and 45 °C; guidance asks for 60 °C in the "
    "store and local rules decide. Hot water above 50 °C scalds: have a mixing valve.",
    pace="day",
    effects=("store is cool",),
    follows=("water stands", "boiler makes no heat"),
)
