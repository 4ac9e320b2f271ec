"""Fuel by day: volume to heat, from the meter or the burner's hours.

Heat is on net calorific value, as boilers are rated. Gas is billed on gross value, which is a
ninth more: the two are never mixed.
"""

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from analysis.base.time import Span, local_day_edges
from analysis.energy.metered import counter_days
from analysis.firing.burner_cycles import sources_of
from analysis.firing.firings import Firings
from analysis.plant.plant import Boiler, Fuel, Plant, Tariff
from analysis.readings.readings import (
    FloatArray,
    Readings,
    Record,
    hold_limit_ms,
    holds,
    summarise,
)
from analysis.readings.worked_once import once
from analysis.statistics.uncertainty import rectangular
from analysis.weather.degree_days import Days

GROSS_PER_NET: dict[Fuel, float] = {"gas": 1.1097, "oil": 1.06, "lpg": 1.087}
"""Gross over net heat: methane 890.63 / 802.60 (ISO 6976); oil and propane from memory."""


@dataclass(frozen=True, slots=True)
class HeatValue:
    """Net heat of a metered cubic metre [kWh/m3] and the half-width it is known to."""

    net_kwh_per_m3: float
    half_width: float
    words: str


HEAT_VALUES: dict[Fuel, HeatValue] = {
    "gas": HeatValue(9.8, 0.055, "9.8 kWh net a m3 of gas, within 5.5 % (usual supplies)"),
    "oil": HeatValue(9_960.0, 0.02, "9.96 kWh net a litre of oil, within 2 %"),
    "lpg": HeatValue(25.8, 0.04, "25.8 kWh net a m3 of propane vapour, within 4 %"),
}
"""From memory; a bill tells the supply's own value."""


def gas_gross_kwh(volume_m3: float, calorific_mj_m3: float, correction: float) -> float:
    """Gross heat of metered gas as it is billed [kWh].

    Parameters
    ----------
    volume_m3 : float
        As the meter counts it.
    calorific_mj_m3 : float
        Gross calorific value on the bill [MJ/m3].
    correction : float
        To standard volume, as on the bill; in Britain 1.02264 (SI 1996/439).
    """
    return volume_m3 * correction * calorific_mj_m3 / 3.6


def heat_value(fuel: Fuel, tariff: Tariff) -> HeatValue:
    """Net heat of a metered cubic metre: by the gas bill where its value was entered, else usual.

    A house's gas meter in service may be off by 3 % (twice the limit of class 1.5, from memory).
    """
    if fuel != "gas" or tariff.gas_mj_per_m3 is None:
        return HEAT_VALUES[fuel]
    correction = tariff.gas_correction or 1.0
    net = gas_gross_kwh(1.0, tariff.gas_mj_per_m3, correction) / GROSS_PER_NET["gas"]
    words = f"{tariff.gas_mj_per_m3:g} MJ gross a m3 by the bill"
    if tariff.gas_correction is None:
        return HeatValue(net, 0.055, f"{words}, its correction to standard volume not entered")
    return HeatValue(net, 0.03, f"{words}, corrected by {correction:g}")


Source = Literal["meter", "burner hours", "burner hours and fan power"]


@dataclass(frozen=True, slots=True, eq=False)
class FuelDays:
    """Fuel heat by day [kWh net], what it was taken from, and how far the scale may be off.

    `spread` is the relative standard uncertainty common to all days.
    """

    days: Days
    source: Source
    channel: str
    spread: float
    words: str


@once
def fuel_days(plant: Plant, boiler: Boiler, record: Record, span: Span) -> FuelDays | str:
    """Fuel of a boiler by day: from its meter, else its burner's hours, or why there is none.

    Parameters
    ----------
    plant : Plant
        Where the boiler's channels and the zone are named.
    boiler : Boiler
        Which boiler.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Time to look at.
    """
    for channel in plant.select(boiler.id, "fuel_volume"):
        readings = record.get(channel.id)
        if readings is not None and len(readings) > 2:
            return _from_meter(plant, boiler, channel.id, readings=readings, span=span)
    if boiler.input_kw is None:
        return "no fuel meter, and no input_kw of the boiler in the plant file"
    firings = next(sources_of(plant, boiler, record, span), None)
    if firings is None:
        return "no channel shows the firing"
    if firings.tells == "running":
        return f"no fuel meter, and {firings.note}"
    return _from_burner(plant, boiler, record, span, firings=firings)


def _from_meter(
    plant: Plant, boiler: Boiler, channel: str, *, readings: Readings, span: Span
) -> FuelDays:
    value = heat_value(boiler.fuel, plant.tariff)
    heat = Readings(readings.time_ms, readings.value * value.net_kwh_per_m3).within(span)
    most_w = 1.5e3 * (boiler.input_kw or 100.0)
    days = counter_days(heat, local_day_edges(span, plant.timezone), most_w=most_w)
    return FuelDays(days, "meter", channel, rectangular(value.half_width), value.words)


_RATED_SPREAD = 0.03
"""Nozzle and gas setting keep the rated input to a few per cent (common practice, no source)."""
_WARMS_ON, _WARMS_ON_SPREAD = 1.3, 0.35
"""By how much a firing told by its water is longer than its flame, and how far that may be off: on
33 rehearsed houses 1.36 in the median, its logarithm spread by 0.4 (a model, no measurement)."""
_PART_LOAD = (0.45, 0.11)
"""Mean load while firing of a modulating burner (common practice; tried on rehearsed houses)."""
_LEAST_LOAD = 0.25
"""Least load of modulating burners: 0.18 to 0.33 of the rated (common practice, no source)."""


def _from_burner(
    plant: Plant, boiler: Boiler, record: Record, span: Span, *, firings: Firings
) -> FuelDays:
    channel = next(c for c in plant.channels if c.id == firings.channel)
    readings = record[channel.id]
    known = holds(readings, hold_limit_ms(readings, channel), span)
    at = np.searchsorted(firings.runs.start_ms, known.start_ms, side="right") - 1
    fires = (at >= 0) & (known.start_ms < firings.runs.end_ms[np.maximum(at, 0)])
    load, spread, source, words = _load(boiler, firings, known.value, fires)
    series = Readings(known.start_ms, np.where(fires, load, 0.0))
    edges = local_day_edges(span, plant.timezone)
    found = summarise(series, edges, hold_limit_ms(readings, channel))
    length_h = np.diff(edges) / 3.6e6
    enough = found.covered_s >= 0.75 * 3600.0 * length_h
    kwh = np.where(enough, found.mean * length_h * (boiler.input_kw or 0.0), np.nan)
    return FuelDays(Days(edges[:-1], kwh), source, channel.id, spread, words)


class _Load(NamedTuple):
    """Share of the rated input while firing, and how far it may be off."""

    share: FloatArray | float
    spread: float
    source: Source
    words: str


def _load(boiler: Boiler, firings: Firings, value: FloatArray, fires: np.ndarray) -> _Load:
    """Share of the rated input while firing; less where the firing is told by water alone."""
    load = _flame(boiler, firings, value, fires)
    if firings.method != "temperature":
        return load
    share, words = load.share, load.words
    if not boiler.condensing:
        share = load.share / _WARMS_ON
        words = f"{boiler.input_kw:g} kW rated over hours told by the water, which warms on"
    spread = float(np.hypot(load.spread, _WARMS_ON_SPREAD))
    return load._replace(share=share, spread=spread, words=words)


def _flame(boiler: Boiler, firings: Firings, value: FloatArray, fires: np.ndarray) -> _Load:
    """Whole input, or that of a modulating burner by its fan."""
    if not boiler.condensing:
        words = f"{boiler.input_kw:g} kW rated while it fires"
        return _Load(1.0, _RATED_SPREAD, "burner hours", words)
    if firings.method == "power" and fires.any():
        low, high = np.quantile(value[fires], (0.02, 0.98))
        if high > 1.3 * low > 0:
            words = "rated input shared by the fan's power, as the burner modulates"
            return _Load(_fan_load(value, low, high), 0.1, "burner hours and fan power", words)
    share, spread = _PART_LOAD
    words = f"the burner modulates unseen: {share:.0%} of {boiler.input_kw:g} kW taken"
    return _Load(share, spread / share, "burner hours", words)


def _fan_load(power_w: FloatArray, low: float, high: float) -> FloatArray:
    """Load by fan power: a fan's flow goes with its speed, its power with the cube or less.

    With the exponent 2.2 both ends are met: `low` at the least load, `high` at the whole.
    """
    least = _LEAST_LOAD**2.2
    share = np.clip((power_w - low) / (high - low), 0.0, 1.0)
    return np.asarray((least + (1.0 - least) * share) ** (1 / 2.2), np.float64)
