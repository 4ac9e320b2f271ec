"""A store that loses more heat at rest than it used to, or than any of its size."""

import numpy as np

from analysis.alarms.states import Timing
from analysis.base.time import DAY_MS, Span
from analysis.energy.standing_loss import (
    Rates,
    loss_of_store,
    rank_interval,
    store_rates,
    surroundings,
)
from analysis.faults.fault import Fault
from analysis.plant.finding import Evidence, Finding
from analysis.plant.plant import Channel, Plant, Store
from analysis.readings.readings import (
    Readings,
    Record,
)
from analysis.readings.situation import Situation, Verdict


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


FAULT = Fault(
    name="standing_loss_high",
    title="Store loses much heat at rest",
    of="store",
    group="boiler",
    place=5,
    needs="temperature of the store over undisturbed hours; surroundings make it sharper",
    judge=judge_standing_loss,
    urgency="note",
    timing=Timing(),
    possible=(
        "insulation loose, wet or missing",
        "a check valve open: water circulates by itself",
        "recirculation running all night",
    ),
    first_check="Feel the jacket and the pipes an hour after a charge: what is warm that "
    "should not be?",
    who="Owner: jacket, pipe insulation. Heating firm: check valve.",
    caution="Pipes scald. Never stop or throttle a hot-water recirculation pump without "
    "looking at the hygiene rules that apply.",
    pace="day",
    follows=("store is cool",),
    grace_days=7.0,
)
