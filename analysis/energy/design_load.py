"""Heat a plant needs on its coldest day, and the spread of a circuit, from what was measured."""

import numpy as np

from analysis.base.estimate import Estimate
from analysis.base.time import HOUR_MS, Span, local_day_edges
from analysis.energy.instrument_limits import sensor_uncertainty_k
from analysis.firing.burner_cycles import boiler_cycles
from analysis.plant.plant import Boiler, Plant, Pump
from analysis.readings.readings import FloatArray, Record, hold_limit_ms, summarise
from analysis.statistics.change_point_regression import Points, fit_signature, lack_k
from analysis.statistics.uncertainty import combined
from analysis.weather.degree_days import outdoor_days

EFFICIENCY = (0.80, 0.88, 0.96)
"""Heat to the water over rated heat input while firing: low, usual, high (common practice)."""
LEAST_DAYS = 8
_DRY_K = 2.0


def design_heat_kw(plant: Plant, record: Record, span: Span, design_c: float) -> Estimate:
    """Heat of a day at the design temperature, from burner hours over outdoor temperature [kW].

    It holds the hot water's share too. A modulating burner fires at less than
    its rated input, so the figure is then too high: it is a bound.

    Parameters
    ----------
    plant : Plant
        With one boiler whose input is known.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Time to look at.
    design_c : float
        Outdoor temperature of the coldest day to serve [Cel].
    """
    boiler = next((b for b in plant.boilers if b.input_kw), None)
    if boiler is None or boiler.input_kw is None:
        return Estimate.unknown("kW", "no boiler's input_kw is written down; give --heat-kw")
    outdoor = outdoor_days(plant, record, span)
    if outdoor is None:
        return Estimate.unknown(
            "kW", "no outdoor temperature is known in this time; give --heat-kw"
        )
    hours = firing_hours(plant, boiler, record, span)
    if len(hours) != len(outdoor) or np.isfinite(hours + outdoor.value).sum() < LEAST_DAYS:
        return Estimate.unknown("kW", "under eight days of burner and outdoor readings")
    points = Points.of(outdoor.value, hours, at=np.arange(len(hours)), unit="h")
    fit = fit_signature(points)
    base, slope, change = fit.draws.T
    drawn = np.clip(base + slope * lack_k(fit.shape, design_c, change), 0.0, 24.0)
    low, high = np.quantile(drawn, (0.025, 0.975))
    share = (low / 24, float(np.clip(fit.use_at(design_c), 0, 24)) / 24, high / 24)
    least, usual, most = (s * e * boiler.input_kw for s, e in zip(share, EFFICIENCY, strict=True))
    words = f"burner hours of {len(points)} days, at {design_c:g} °C"
    return Estimate(float(usual), float(min(least, usual)), float(max(most, usual)), "kW", words)


def firing_hours(plant: Plant, boiler: Boiler, record: Record, span: Span) -> FloatArray:
    """Burner hours of each local day that touches a span; NaN before the first and after the last.

    Firings over midnight count where they began.
    """
    edges = local_day_edges(span, plant.timezone)
    cycles = boiler_cycles(plant, boiler, record, span).cycles
    whole = [c for c in cycles if c.on_s is not None]
    start = np.array([c.start_ms for c in whole], np.int64)
    hours = np.array([c.on_s for c in whole], float) / 3600.0
    found = np.histogram(start, bins=edges, weights=hours)[0].astype(float)
    inside = (edges[:-1] >= span.start_ms) & (edges[1:] <= span.end_ms)
    return np.where(inside & bool(whole), found, np.nan)


def spread_k(plant: Plant, pump: Pump, record: Record, span: Span) -> tuple[float, float] | None:
    """Flow less return of a circuit while warm, tenth and ninetieth percentile of hours [K].

    Widened by the standard uncertainty of the two sensors' difference. None
    where either is not measured.
    """
    edges = np.arange(span.start_ms, span.end_ms + 1, HOUR_MS, dtype=np.int64)
    means, sensors = [], []
    for place in ("flow", "return"):
        channel = plant.first(pump.id, "temperature", place)
        readings = record.get(channel.id) if channel else None
        if channel is None or readings is None or not len(readings) or len(edges) < 2:
            return None
        means.append(summarise(readings, edges, hold_limit_ms(readings, channel)).mean)
        sensors.append(channel)
    apart = means[0] - means[1]
    warm = apart[np.isfinite(apart) & (apart > _DRY_K)]
    if len(warm) < 24:
        return None
    low, high = np.quantile(warm, (0.1, 0.9))
    usual = float(np.nanmedian(means[0][np.isfinite(apart) & (apart > _DRY_K)]))
    unsure = combined((1.0, -1.0), [sensor_uncertainty_k(one, usual) for one in sensors])
    return max(float(low) - unsure, _DRY_K / 2), float(high) + unsure
