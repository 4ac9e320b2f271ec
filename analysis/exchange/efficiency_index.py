"""Energy efficiency index of a circulator from a table of power, flow and head.

After Regulation (EC) 641/2009 annex II with (EU) 622/2012, and EN 16297-1 and -2 (2012). Limits
stand in a table with the day from which they hold, as the law is being recast.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import PchipInterpolator

from analysis.base.errors import StokeholdError
from analysis.base.estimate import Estimate, plain
from analysis.readings.readings import FloatArray
from analysis.statistics.uncertainty import COVERAGE_95, propagate

LOAD_PROFILE = ((1.00, 0.06), (0.75, 0.15), (0.50, 0.35), (0.25, 0.44))
"""Share of the rated flow, and of time."""
C20 = 0.49
"""Calibration of the index to a fifth of pumps (EN 16297-2)."""
HYDRAULIC = 2.725
"""Hydraulic power [W] of 1 m3/h at 1 m, water of 1000 kg/m3 (the standard's text has 2.72)."""
LEAST_HYDRAULIC_W, MOST_HYDRAULIC_W = 1.0, 2500.0


@dataclass(frozen=True, slots=True)
class Limit:
    """An index that holds from a day on, for which pumps, and how sure its source is."""

    index: float
    since: date
    scope: str
    source: str


LIMITS = (
    Limit(
        0.27,
        date(2013, 1, 1),
        "circulators that stand alone",
        "Regulation (EC) 641/2009 annex I, amended by (EU) 622/2012",
    ),
    Limit(
        0.23,
        date(2015, 8, 1),
        "circulators that stand alone or sit in products",
        "Regulation (EC) 641/2009 annex I, amended by (EU) 622/2012",
    ),
)
BENCHMARK = Limit(0.20, date(2009, 8, 12), "the best that could be had", "annex IV, from memory")


def limit_on(day: date) -> Limit | None:
    """The strictest limit in force on a day; None before the first."""
    return min((one for one in LIMITS if one.since <= day), key=lambda one: one.index, default=None)


def hydraulic_power_w(flow_m3h: ArrayLike, head_m: ArrayLike) -> FloatArray:
    """Power given to the water [W]."""
    power: FloatArray = HYDRAULIC * np.asarray(flow_m3h, float) * np.asarray(head_m, float)
    return power


def reference_power_w(hydraulic_w: ArrayLike) -> FloatArray:
    """Power a pump of this hydraulic power is compared with [W]."""
    p = np.asarray(hydraulic_w, float)
    return np.asarray(1.7 * p + 17.0 * -np.expm1(-0.3 * p))


def average_power_w(index: float, hydraulic_w: float) -> float:
    """Mean power over the load profile of a pump of this index [W]."""
    return index / C20 * float(reference_power_w(hydraulic_w))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PumpTable:
    """Measured or printed points of a pump.

    `flow_m3h`, `head_m`, `power_w` are the points of the control curve it is
    rated on; `most_flow_m3h`, `most_head_m` those of its fastest curve, by
    default the same points. `shares` are the relative standard uncertainties
    of flow, head and power.
    """

    flow_m3h: FloatArray
    head_m: FloatArray
    power_w: FloatArray
    most_flow_m3h: FloatArray | None = None
    most_head_m: FloatArray | None = None
    shares: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @classmethod
    def of(
        cls,
        points: Sequence[tuple[float, float, float]],
        fastest: Sequence[tuple[float, float]] = (),
        *,
        shares: tuple[float, float, float] = (0.0, 0.0, 0.0),
    ) -> "PumpTable":
        """Table of rows (flow, head, power), and (flow, head) of the fastest curve.

        Raises
        ------
        StokeholdError
            Too few rows, a flow twice, or a figure that cannot be.
        """
        rows = np.array(sorted(points), float).reshape(-1, 3)
        most = np.array(sorted(fastest), float).reshape(-1, 2)
        if len(rows) < 4:
            raise StokeholdError(f"{len(rows)} points: give at least four, from 25 to 100 % flow")
        if not all(is_possible(*row) for row in (*rows, *most)):
            raise StokeholdError("flow must not be negative, head and power must be above 0")
        if (np.diff(rows[:, 0]) <= 0).any() or (np.diff(most[:, 0]) <= 0).any():
            raise StokeholdError("a flow is given twice on one curve; give each flow once")
        best = (most[:, 0], most[:, 1]) if len(most) else (None, None)
        return cls(
            flow_m3h=rows[:, 0],
            head_m=rows[:, 1],
            power_w=rows[:, 2],
            most_flow_m3h=best[0],
            most_head_m=best[1],
            shares=shares,
        )


def is_possible(flow: float, head: float, power: float | None = None) -> bool:
    """Whether a point of a pump can be: at zero flow it still lifts and draws power.

    One of the fastest curve, which may end at zero head, is given without `power`.
    """
    if power is None:
        return bool(np.isfinite([flow, head]).all()) and flow >= 0 and head >= 0
    return bool(np.isfinite([flow, head, power]).all()) and flow >= 0 and head > 0 and power > 0


@dataclass(frozen=True, slots=True, eq=False)
class Rating:
    """The index of a pump with everything it was made of.

    Attributes
    ----------
    index : Estimate
        Energy efficiency index, with the table's uncertainty.
    rated_flow_m3h, rated_head_m : float
        Point of greatest hydraulic power on the fastest curve.
    hydraulic_w, reference_w, average_w : float
        Hydraulic power there, the power compared with, and the profile's mean [W].
    head_m, reference_head_m, power_w, compensated_w : ndarray, shape (4,)
        At 100, 75, 50 and 25 % of the rated flow.
    """

    index: Estimate
    rated_flow_m3h: float
    rated_head_m: float
    hydraulic_w: float
    reference_w: float
    average_w: float
    head_m: FloatArray
    reference_head_m: FloatArray
    power_w: FloatArray
    compensated_w: FloatArray

    def profile_kwh(self, hours: float) -> float:
        """Energy of so many running hours of the load profile [kWh]."""
        return self.average_w * hours / 1000.0

    def document(self, day: date) -> dict[str, Any]:
        """Return the JSON form, judged by the limits of a day."""
        return {
            "energy_efficiency_index": self.index.document(),
            "rated_flow_m3h": plain(self.rated_flow_m3h),
            "rated_head_m": plain(self.rated_head_m),
            "hydraulic_power_w": plain(self.hydraulic_w),
            "reference_power_w": plain(self.reference_w),
            "average_power_w": plain(self.average_w),
            "profile": [
                {
                    "flow_share": share,
                    "time_share": time,
                    "head_m": plain(float(self.head_m[k])),
                    "reference_head_m": plain(float(self.reference_head_m[k])),
                    "power_w": plain(float(self.power_w[k])),
                    "compensated_power_w": plain(float(self.compensated_w[k])),
                }
                for k, (share, time) in enumerate(LOAD_PROFILE)
            ],
            "limits": [_judged(self.index, one, day) for one in (*LIMITS, BENCHMARK)],
        }


def _judged(index: Estimate, limit: Limit, day: date) -> dict[str, Any]:
    low, high = index.low or 0.0, index.high or 0.0
    if limit.index < low:
        meets: bool | None = False
    elif limit.index >= high:
        meets = True
    else:
        meets = None
    return {
        "limit": limit.index,
        "since": limit.since.isoformat(),
        "in_force": limit.since <= day,
        "scope": limit.scope,
        "source": limit.source,
        "meets": meets,
    }


def rate(table: PumpTable) -> Rating:
    """Energy efficiency index of a pump.

    Raises
    ------
    StokeholdError
        The points do not reach from 25 to 100 % of the rated flow, or the
        pump is outside the regulation's range of hydraulic power.
    """
    flow, head = _rated_point(table)
    hydraulic = float(hydraulic_power_w(flow, head))
    if not LEAST_HYDRAULIC_W <= hydraulic <= MOST_HYDRAULIC_W:
        raise StokeholdError(
            f"rated hydraulic power {hydraulic:.2f} W is outside the regulation's 1 to 2500 W"
        )
    share = np.array([one for one, _ in LOAD_PROFILE])
    _check_reach(table, flow)
    measured = _along(table.flow_m3h, table.head_m, share * flow)
    power = _along(table.flow_m3h, table.power_w, share * flow)
    wanted = head * (0.5 + 0.5 * share)
    compensated = power * np.maximum(wanted / measured, 1.0)
    average = float(compensated @ [time for _, time in LOAD_PROFILE])
    reference = float(reference_power_w(hydraulic))
    index = _with_interval(table, average / reference * C20)
    return Rating(
        index, flow, head, hydraulic, reference, average, measured, wanted, power, compensated
    )


def _rated_point(table: PumpTable) -> tuple[float, float]:
    """Greatest product of flow and head on the fastest curve."""
    flow = table.flow_m3h if table.most_flow_m3h is None else table.most_flow_m3h
    head = table.head_m if table.most_head_m is None else table.most_head_m
    if table.most_flow_m3h is None:
        best = int(np.argmax(flow * head))
        return float(flow[best]), float(head[best])
    grid = np.linspace(flow[0], flow[-1], 4001)
    product = grid * _along(flow, head, grid)
    best = int(np.argmax(product))
    return float(grid[best]), float(product[best] / grid[best])


def _along(x: FloatArray, y: FloatArray, at: ArrayLike) -> FloatArray:
    """Smooth curve through points, without overshoot; ends hold within a thousandth."""
    inside = np.clip(np.asarray(at, float), x[0], x[-1])
    return np.asarray(PchipInterpolator(x, y)(inside), float)


_REACH = 0.02


def _check_reach(table: PumpTable, flow: float) -> None:
    least, most = float(table.flow_m3h[0]), float(table.flow_m3h[-1])
    if least > 0.25 * flow * (1 + _REACH) or most < flow * (1 - _REACH):
        raise StokeholdError(
            f"the points reach from {least:.3g} to {most:.3g} m3/h; the index needs "
            f"{0.25 * flow:.3g} to {flow:.3g} m3/h (25 to 100 % of the rated flow)"
        )


def _with_interval(table: PumpTable, index: float) -> Estimate:
    """Index with the uncertainty of the table.

    The same flow meter, pressure gauge and plug serve all points, so each
    errs by one share everywhere; shares of the three are independent. The
    compensation for head below the curve is linear in them to first order.
    """
    if not any(table.shares):
        return Estimate(index, index, index, "1", "the table's points taken as exact")

    def model(gain: FloatArray) -> float:
        hydraulic = float(hydraulic_power_w(*_rated_point(table))) * gain[0] * gain[1]
        reference = float(reference_power_w(hydraulic))
        start = float(reference_power_w(float(hydraulic_power_w(*_rated_point(table)))))
        return float(index * gain[2] * start / reference)

    _, covariance = propagate(model, np.ones(3), np.diag(np.square(table.shares)))
    spread = COVERAGE_95 * float(np.sqrt(covariance[0, 0]))
    return Estimate(
        index, index - spread, index + spread, "1", "GUM, one gain each of flow, head and power"
    )


_LETTERS = ((0.40, "A"), (0.60, "B"), (0.80, "C"), (1.00, "D"), (1.20, "E"), (1.40, "F"))


def old_letter(ratio: float) -> str:
    """Letter of the old voluntary label for a ratio without C20, which is no index.

    A below 0.40, B below 0.60, G above 1.40 are published; the steps between
    are taken as even (from memory).
    """
    return next((letter for most, letter in _LETTERS if ratio < most), "G")
