"""A pump's sheet: daily rows and epochs, and what was usual of each sign while it was learned."""

import math
from dataclasses import replace
from typing import Any

from analysis.base.estimate import plain
from analysis.faults.drift.daily_spells import history_of
from analysis.pump.baseline import baseline_rows
from analysis.pump.daily_rows import quantiles
from analysis.pump.epochs import LEARNING_DAYS, Epoch, PumpHistory
from analysis.readings.situation import Situation

SIGNS = ("level_w", "factor", "restless", "spread_k", "run_h", "idle_k")
"""Columns of the daily rows that are shown with what was usual."""


def pump_sheet(history: PumpHistory) -> dict[str, Any]:
    """Document of a pump's history with the expected band of every sign.

    ``usual`` holds, for each sign, a pair of least and greatest usual value for
    each epoch; null where the epoch is still being learned or the sign was not
    measured.

    Parameters
    ----------
    history : PumpHistory
        Daily rows and epochs.
    """
    usual = {s: [usual_band(history, e, s) for e in history.epochs] for s in SIGNS}
    return history.document() | {"usual": usual}


def pump_sheets(situation: Situation) -> list[dict[str, Any]]:
    """Sheets of every pump whose power is measured, from what its judges worked out.

    Parameters
    ----------
    situation : Situation
        The one that was examined; its record keeps every pump's past.
    """
    parts = (replace(situation, subject=pump.id) for pump in situation.plant.pumps)
    return [pump_sheet(history) for part in parts if (history := history_of(part)) is not None]


def usual_band(history: PumpHistory, epoch: Epoch, sign: str) -> list[float | None] | None:
    """Fifth and ninety-fifth percentile of a sign over the days an epoch was learned from.

    An epoch that leaves the pump as it was has what was usual before it, as its plug reads it.

    Parameters
    ----------
    history : PumpHistory
        Daily rows and epochs.
    epoch : Epoch
        One of them.
    sign : str
        A column of the daily rows.
    """
    learned = baseline_rows(history, history.chain_of(epoch))
    value = getattr(history.even, sign)[learned[learned <= epoch.last]]
    low, high = quantiles(value * history.as_read(epoch, sign), (0.05, 0.95), LEARNING_DAYS)
    return None if math.isnan(low) else [plain(low, 4), plain(high, 4)]
