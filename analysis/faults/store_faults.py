"""Judges of the store: too cool for hygiene, and losing more heat at rest than it used to."""

from itertools import pairwise

import numpy as np
import pandas as pd

from analysis.base.estimate import Estimate
from analysis.base.time import DAY_MS, Span, local_day_edges
from analysis.energy.standing_loss import (
    Rates,
    loss_of_store,
    rank_interval,
    store_rates,
    surroundings,
)
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


# standing loss

_MORE = 1.45
_HIGH_W_K = 4.0
"""Stores lose 1.2 to 3.5 W/K (domain practice, from memory); above this something is wrong."""
_RECENT_DAYS = 5


def judge_standing_loss(situation: Situation) -> Verdict:
    """A store that cools faster at rest than it did, or than any store of its size should."""
    store = _part(situation)
    rates = store_rates(situation.plant, store, situation.record, situation.span)
    if rates is None:
        return Verdict(needs=f"a temperature of '{store.id}'")
    if len(rates) < 4:
        return Verdict(needs=f"undisturbed hours of '{store.id}': without charge and draw")
    at = _change(rates)
    if at:
        return Verdict((_changed(situation, rates, at),))
    if any(pump.duty == "recirculation" for pump in situation.plant.pumps):
        # what circulates through the house's pipes is not lost by the store itself
        return Verdict()
    finding = _too_high(situation, store, rates)
    return Verdict((finding,) if finding else ())


def _change(rates: Rates) -> int | None:
    """First stretch from which on the rates are up, with intervals of before and after apart."""
    best, place = 0.0, None
    for k in range(4, len(rates) - 2):
        before, after = rates.per_h[:k], rates.per_h[k:]
        ratio = float(np.median(after) / max(np.median(before), 1e-4))
        if ratio < _MORE:
            continue
        spread = 1.4826 * float(np.median(np.abs(before - np.median(before)))) + 1e-4
        apart = (np.median(after) - np.median(before)) / spread
        high_before = rank_interval(before)[1]
        lasting = np.mean(after > np.quantile(before, 0.8))
        score = float(apart * np.sqrt(min(k, len(rates) - k)))
        if lasting >= 0.75 and np.quantile(after, 0.3) > high_before and score > max(best, 5.0):
            best, place = score, k
    return place


def _changed(situation: Situation, rates: Rates, at: int) -> Finding:
    before = float(np.median(rates.per_h[:at]))
    low, high = rank_interval(rates.per_h[at:])
    after = float(np.median(rates.per_h[at:]))
    return _loss(
        situation,
        int(rates.middle_ms[at]),
        Evidence(
            _channel_id(situation),
            f"cooling rate at rest ({low * 100:.2f} to {high * 100:.2f})",
            after * 100,
            f"about {before * 100:.2f} as before",
            "%/h",
        ),
        confidence=min(0.6 + 0.1 * after / before, 0.95),
    )


def _too_high(situation: Situation, store: Store, rates: Rates) -> Finding | None:
    _, is_measured = surroundings(situation.plant, situation.record, situation.span)
    late = rates.within(
        Span(situation.span.end_ms - 4 * _RECENT_DAYS * DAY_MS, situation.span.end_ms)
    )
    loss = loss_of_store(late, store, is_measured=is_measured)
    if loss.value is None or loss.low is None or loss.low < _HIGH_W_K:
        return None
    return _loss(
        situation,
        situation.span.start_ms,
        Evidence(
            _channel_id(situation),
            f"standing loss ({loss.low:.1f} to {loss.high:.1f})",
            loss.value,
            f"at most {_HIGH_W_K:.0f} (usual for its kind)",
            "W/K",
        ),
        confidence=0.7,
    )


def _channel_id(situation: Situation) -> str:
    sensor = _sensor(situation, ("top", "body", "bottom"))
    return sensor[0].id if sensor else ""


def _loss(situation: Situation, start_ms: int, sign: Evidence, *, confidence: float) -> Finding:
    return Finding(
        subject=situation.subject,
        fault="standing_loss_high",
        start_ms=start_ms,
        end_ms=None,
        urgency="note",
        confidence=confidence,
        evidence=(sign,),
    )
