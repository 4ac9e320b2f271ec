"""What judges of daily rows share: a pump's past, spells of a fault in it, and their findings."""

from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np

from analysis.plant.finding import Evidence, Finding
from analysis.pump.baseline import Trend, baseline_rows
from analysis.pump.epochs import LEARNING_DAYS, Epoch, PumpHistory, pump_history
from analysis.readings.readings import FloatArray, IntArray
from analysis.readings.situation import Situation

NO_POWER = "a power channel of the pump"


def history_of(situation: Situation) -> PumpHistory | None:
    """Past of the situation's pump."""
    pump = next(p for p in situation.plant.pumps if p.id == situation.subject)
    return pump_history(situation.plant, pump, situation.record, situation.span)


class Seen(NamedTuple):
    """A spell of a fault in daily rows: it begins, is enough to tell, is last seen; did it end."""

    begin: int
    raised: int
    last: int
    is_over: bool


def spell_seen(
    rows: IntArray, strength: FloatArray, *, on: float = 1.0, off: float = 0.6
) -> list[Seen]:
    """Spells in which a strength, 1 where it is enough to tell, reached `on` and kept `off`.

    Parameters
    ----------
    rows : ndarray of int64
        Rows of the daily table.
    strength : ndarray
        One a row; NaN keeps the state.
    on, off : float
        Thresholds; a spell begins where the strength first passed half of `on`.
    """
    found: list[Seen] = []
    begin = raised = -1
    for k, one in enumerate(strength):
        if np.isnan(one):
            continue
        if one < 0.5 * on and raised < 0:
            begin = -1
        elif begin < 0:
            begin = k
        if raised < 0 and one >= on:
            raised = k
        elif raised >= 0 and one < off:
            found.append(Seen(int(rows[begin]), int(rows[raised]), int(rows[k]), is_over=True))
            begin = raised = -1
    if raised >= 0:
        found.append(Seen(int(rows[begin]), int(rows[raised]), int(rows[-1]), is_over=False))
    return found


class Signs(NamedTuple):
    """What speaks for a fault, how sure that makes, and what was ruled out.

    `possible` are its causes in order, where the judge knows better than the fault's row.
    """

    fault: str
    confidence: float
    evidence: tuple[Evidence, ...]
    ruled_out: tuple[str, ...]
    possible: tuple[str, ...] = ()


def slow_finding(
    situation: Situation, history: PumpHistory, *, seen: Seen, signs: Signs
) -> Finding:
    """Finding of a spell, told when the day that settled it was over."""
    days = history.days
    return Finding(
        subject=situation.subject,
        fault=signs.fault,
        start_ms=int(days.start_ms[seen.begin]),
        end_ms=int(days.end_ms[seen.last]) if seen.is_over else None,
        urgency="soon",
        confidence=round(float(np.clip(signs.confidence, 0.05, 0.97)), 2),
        evidence=signs.evidence,
        ruled_out=signs.ruled_out,
        possible=signs.possible,
        raised_ms=min(int(days.end_ms[seen.raised]), situation.span.end_ms),
    )


def is_last_of_pump(history: PumpHistory, epoch: Epoch) -> bool:
    """Whether no exchange of the pump follows this epoch."""
    return all(e.why != "pump exchanged" for e in history.epochs if e.first > epoch.first)


def learning_needs(history: PumpHistory) -> str:
    """Words for a pump whose present epoch is still being learned; empty where it is known."""
    epoch = history.chains[-1]
    if len(baseline_rows(history, epoch)):
        return ""
    ran = len(history.rows(epoch))
    if ran >= LEARNING_DAYS:
        return "the pump's level to settle: it still adapts its own curve"
    return f"{LEARNING_DAYS} days of running since {epoch.why} to learn what is usual, {ran} so far"


def channel_id(situation: Situation, quantity: str, place: str | None = None) -> str:
    """Name of the pump's channel in evidence."""
    channel = situation.plant.first(situation.subject, quantity, place)
    return channel.id if channel else f"{situation.subject}.{place or quantity}"


def trend_spells(
    history: PumpHistory,
    trend_of: Callable[[PumpHistory, Epoch], Trend | None],
    strength_of: Callable[[PumpHistory, Epoch, Trend], FloatArray],
) -> Iterator[tuple[Epoch, Trend, Seen]]:
    """Spells of each epoch in which the signs in its trend suffice."""
    for epoch in history.chains:
        trend = trend_of(history, epoch)
        if trend is None or not len(trend.rows):
            continue
        for seen in spell_seen(trend.rows, strength_of(history, epoch, trend)):
            yield epoch, trend, lasting(history, epoch, seen)


def lasting(history: PumpHistory, epoch: Epoch, seen: Seen) -> Seen:
    """A spell open at its epoch's end lasts on, unless the pump itself was exchanged."""
    return seen._replace(is_over=seen.is_over or not is_last_of_pump(history, epoch))
