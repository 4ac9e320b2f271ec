"""What a pump did each hour: level and restlessness, at the voltage it should have had."""

from dataclasses import dataclass

import numpy as np

from analysis.plant.plant import Drive
from analysis.pump.loop_transit import flow_share, lingers_of
from analysis.pump.minutes import Minutes
from analysis.readings.readings import FloatArray, IntArray

MAINS_V = 230.0
INDUCTION_EXPONENT = 1.65
"""Power of a capacitor motor grows with about this power of the voltage, 1.43 to 1.80 over
an ensemble of motors (a model, no measurement)."""
_EXPONENT_SPREAD = 0.12
_LAG = 12


def voltage_exponent(minutes: Minutes, drive: Drive) -> float:
    """Exponent of this pump's power over mains voltage, learned from changes within hours.

    Changes over two hours are regressed, so that neither wear nor season
    enters; what the motor's kind makes likely stands in where the mains hardly moves.
    """
    usual = INDUCTION_EXPONENT if drive == "induction" else 0.0
    if "voltage_v" not in minutes.has or drive == "electronic":
        return usual
    with np.errstate(invalid="ignore", divide="ignore"):
        power = np.log(np.where(minutes.on & (minutes.run_min > 40), minutes.power_w, np.nan))
        volts = np.log(minutes.voltage_v / MAINS_V)
    dp, dv = (_change(_block_means(x, 10)) for x in (power, volts))
    good = np.isfinite(dp) & np.isfinite(dv) & (np.abs(dp) < 0.06)
    if good.sum() < 50:
        return usual
    dp, dv = dp[good], dv[good]
    noise = float(np.var(dp - usual * dv)) + 1e-7
    weight = float(dv @ dv) / noise / _LAG
    prior = 1.0 / _EXPONENT_SPREAD**2
    return float((dp @ dv / noise / _LAG + prior * usual) / (weight + prior))


def _change(value: FloatArray) -> FloatArray:
    """Change over two hours of ten-minute means, which overlap `_LAG` times."""
    return value[_LAG:] - value[:-_LAG]


def _block_means(value: FloatArray, width: int) -> FloatArray:
    return _row_mean(value[: len(value) // width * width].reshape(-1, width), least=width // 2)


def _row_mean(rows: FloatArray, least: int) -> FloatArray:
    """Mean of each row's known values; NaN where fewer than `least` are known."""
    known = np.isfinite(rows)
    count = known.sum(axis=1)
    total = np.where(known, rows, 0.0).sum(axis=1)
    return np.where(count >= least, total / np.maximum(count, 1), np.nan)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Hours:
    """The pump hour by hour, of shape (n,); NaN where it ran too little to tell.

    `level_w` is the mean of the middle half of settled power, normalised to 230 V; `restless` how
    far one minute differs from the next, as a share of the level; `factor` the mean
    power factor while running; `share` the mean difference of flow and return over the
    flow's excess above the room, while running with warm pipes. `lingers` is the mean of
    the loop's transfer units (`lingering.lingers_of`) over the minutes that tell them, `fed_w` the
    power in them.
    """

    start_ms: IntArray
    level_w: FloatArray
    restless: FloatArray
    run_min: FloatArray
    factor: FloatArray
    share: FloatArray
    lingers: FloatArray
    fed_w: FloatArray


def hours_of(minutes: Minutes, exponent: float) -> Hours:
    """Level and restlessness hour by hour."""
    normal = normalised_w(minutes, exponent)
    whole = len(normal) // 60 * 60
    settled = np.where(minutes.on & (minutes.run_min >= 5), normal, np.nan)[:whole].reshape(-1, 60)
    level = _row_middle(settled, least=15)
    step = np.abs(np.diff(np.where(minutes.on & (minutes.run_min >= 3), normal, np.nan)))
    step = np.append(step, [np.nan])[:whole].reshape(-1, 60)
    factor = np.where(minutes.on & (minutes.factor > 0.05), minutes.factor, np.nan)
    factor = factor[:whole].reshape(-1, 60)
    lingers = lingers_of(minutes)
    fed = np.where(np.isfinite(lingers), normal, np.nan)
    return Hours(
        start_ms=minutes.time_ms[:whole:60],
        level_w=level,
        restless=_trimmed_mean(step, least=15) / level,
        run_min=minutes.on[:whole].reshape(-1, 60).sum(axis=1).astype(np.float64),
        factor=_row_mean(factor, least=15),
        share=_row_mean(flow_share(minutes)[:whole].reshape(-1, 60), least=15),
        lingers=_row_mean(lingers[:whole].reshape(-1, 60), least=15),
        fed_w=_row_mean(fed[:whole].reshape(-1, 60), least=15),
    )


def normalised_w(minutes: Minutes, exponent: float) -> FloatArray:
    """Power as it would be at 230 V; as read where the voltage is not known."""
    if exponent == 0.0:
        return minutes.power_w
    with np.errstate(invalid="ignore"):
        factor = (MAINS_V / minutes.voltage_v) ** exponent
    return minutes.power_w * np.where(np.isfinite(factor), factor, 1.0)


def _row_middle(rows: FloatArray, least: int) -> FloatArray:
    """Mean of the middle half of each row's known values; NaN where too few are known."""
    ordered = np.sort(rows, axis=1)
    count = np.isfinite(rows).sum(axis=1)
    low, high = count // 4, np.maximum(count - count // 4, 1)
    total = np.cumsum(np.nan_to_num(ordered), axis=1)
    at = np.arange(len(rows))
    below = np.where(low > 0, total[at, np.maximum(low - 1, 0)], 0.0)
    return np.where(count >= least, (total[at, high - 1] - below) / (high - low), np.nan)


def _trimmed_mean(rows: FloatArray, least: int, share: float = 0.9) -> FloatArray:
    """Mean of each row without its greatest tenth, which holds switching and steps."""
    ordered = np.sort(rows, axis=1)
    count = np.isfinite(rows).sum(axis=1)
    kept = np.maximum((count * share).astype(np.intp), 1)
    total = np.cumsum(np.nan_to_num(ordered), axis=1)[np.arange(len(rows)), kept - 1]
    return np.where(count >= least, total / kept, np.nan)
