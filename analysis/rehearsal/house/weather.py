"""Weather for a rehearsal: drawn from the seed, or a measured year."""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import ArrayLike, NDArray
from scipy.signal import lfilter

Array = NDArray[np.float64]
YEAR_DAYS = 365.25
DAY_MIN = 1440


@dataclass(frozen=True, slots=True, kw_only=True)
class Climate:
    """Yearly mean, half swing of the seasons, spread of weather and of the day [Cel, K]."""

    mean_c: float
    season_k: float
    weather_k: float
    day_k: float
    clouds: float


@dataclass(frozen=True, slots=True)
class Weather:
    """Minute by minute: outdoor temperature [Cel] and sun on a vertical south face [W/m2]."""

    outdoor_c: Array
    sun_w_m2: Array


def draw_climate(rng: Generator) -> Climate:
    """Draw a temperate climate, from a mild coast to a cold inland."""
    inland = rng.uniform(0.0, 1.0)
    return Climate(
        mean_c=10.5 - 2.0 * inland + rng.normal(0.0, 0.8),
        season_k=5.5 + 4.5 * inland,
        weather_k=2.6 + 1.2 * inland,
        day_k=2.2 + 1.8 * inland,
        clouds=rng.uniform(0.45, 0.7),
    )


def drawn_weather(
    climate: Climate, rng: Generator, *, clouds: Generator, first_day: float, minutes: int
) -> Weather:
    """Draw weather: seasons, spells of some days, days and nights, sun.

    Parameters
    ----------
    climate : Climate
        Its long-term figures.
    rng, clouds : Generator
        Sources of chance for spells and for clouds.
    first_day : float
        Day of the year, with fraction, at which it begins (local mean time).
    minutes : int
        Length.

    Notes
    -----
    Spells are an autoregressive process of 60 h; the coldest day is the 20th
    of January, the day's minimum near sunrise (common practice, no source).
    """
    day = first_day + np.arange(minutes) / DAY_MIN
    season = -np.cos(2 * np.pi * (day - 20.0) / YEAR_DAYS)
    spells = np.repeat(_spells(rng, minutes // 60 + 2, climate.weather_k), 60)[:minutes]
    cloud = np.clip(climate.clouds + 0.35 * _daily(clouds, minutes), 0.05, 1.0)
    clear = 1.25 - cloud
    swing = climate.day_k * (0.75 + 0.35 * season) * clear * 1.3
    of_day = np.cos(2 * np.pi * (day % 1.0 - 0.62))
    outdoor = climate.mean_c + climate.season_k * season + spells + swing * of_day
    length = 0.5 + 0.17 * season
    height = np.cos(np.pi * np.clip((day % 1.0 - 0.5) / length, -0.5, 0.5))
    sun = 520.0 * height * (1.0 - 0.85 * cloud) * (0.85 + 0.1 * season)
    return Weather(outdoor, np.maximum(sun, 0.0))


def _spells(rng: Generator, hours: int, spread: float, memory_h: float = 60.0) -> Array:
    keep = np.exp(-1.0 / memory_h)
    kick = rng.standard_normal(hours) * spread * np.sqrt(1 - keep * keep)
    kick[0] = rng.standard_normal() * spread
    return np.asarray(lfilter([1.0], [1.0, -keep], kick))


def _daily(rng: Generator, minutes: int) -> Array:
    days = minutes // DAY_MIN + 2
    return np.repeat(rng.standard_normal(days), DAY_MIN)[:minutes]


def measured_weather(hourly_c: ArrayLike, *, first_day: float, minutes: int) -> Weather:
    """Take a measured year of hourly temperatures, repeated where more is needed.

    Gaps are bridged by straight lines. Sun is taken as that of a half-clouded sky.

    Parameters
    ----------
    hourly_c : array_like, shape (n,)
        Outdoor temperature from the first hour of a year on [Cel]; NaN where unknown.
    first_day : float
        Day of the year at which to begin.
    minutes : int
        Length.
    """
    hourly = np.asarray(hourly_c, float)
    there = np.flatnonzero(np.isfinite(hourly))
    whole = np.interp(np.arange(len(hourly)), there, hourly[there])
    at = first_day * 24.0 + np.arange(minutes) / 60.0
    outdoor = np.interp(at % len(whole), np.arange(len(whole) + 1), np.append(whole, whole[0]))
    day = first_day + np.arange(minutes) / DAY_MIN
    season = -np.cos(2 * np.pi * (day - 20.0) / YEAR_DAYS)
    height = np.cos(np.pi * np.clip((day % 1.0 - 0.5) / (0.5 + 0.17 * season), -0.5, 0.5))
    return Weather(outdoor, np.maximum(280.0 * height, 0.0))
