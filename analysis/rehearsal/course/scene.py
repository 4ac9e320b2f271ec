"""The scene of a rehearsal: weather, people, schedules and mains, minute by minute."""

from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, from_ms
from analysis.rehearsal.house.draw import stream
from analysis.rehearsal.house.spec import HouseSpec, LoopSpec
from analysis.rehearsal.house.weather import Weather, drawn_weather, measured_weather
from analysis.rehearsal.physics.records import EMITTERS, RECIRCULATION, Array32, Drivers

RUN_IN_DAYS = 4
"""Days simulated before a record begins, so that the fabric has found its temperature."""
RUN_IN_MIN = RUN_IN_DAYS * 1440
MAINS_V = 230.0

STALLED, TRYING, DRY_TRYING = 1, 2, 3
"""Ways of an energised pump not to turn (in `PumpProfile.halted`)."""


@dataclass(slots=True)
class PumpProfile:
    """What ails a pump electrically, minute by minute; written by faults."""

    drag: Array32
    capacity: Array32
    load: Array32
    restless: Array32
    cooling: Array32
    loss: Array32
    halted: NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class Mark:
    """A stretch of the scene worth telling: minutes from the record's start."""

    what: str
    start_min: int
    end_min: int


@dataclass(slots=True)
class Scene:
    """Everything that acts on a house over a stretch of time.

    Minutes are counted from `origin_ms`, which lies `RUN_IN_DAYS` before the
    record; `record_min` is the first minute of the record.
    """

    spec: HouseSpec
    origin_ms: int
    minutes: int
    record_min: int
    drivers: Drivers
    profiles: dict[str, PumpProfile]
    mains_v: Array32
    local_hour: Array32
    pressure_bar: Array32
    mute: list[tuple[str, int, int, str]] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    service: list[tuple[str, str, int, int, float]] = field(default_factory=list)

    def minute(self, day: float) -> int:
        """Minute of a day of the record, kept inside the scene."""
        return int(min(max(self.record_min + day * 1440.0, 0), self.minutes))

    def time_ms(self, minute: float) -> int:
        """Moment of a minute of the scene."""
        return int(self.origin_ms + minute * MINUTE_MS)


def local_hours(origin_ms: int, minutes: int, timezone: str) -> Array32:
    """Local time of day at each minute [h], through summer and winter time."""
    zone = ZoneInfo(timezone)
    hours = minutes // 60 + 2
    shift = np.empty(hours)
    for i in range(hours):
        offset = from_ms(origin_ms + i * HOUR_MS).astimezone(zone).utcoffset()
        shift[i] = 0.0 if offset is None else offset.total_seconds() / 3600.0
    start_h = origin_ms % DAY_MS / HOUR_MS
    hour = start_h + np.arange(minutes) / 60.0 + np.repeat(shift, 60)[:minutes]
    return np.asarray(hour % 24.0, np.float32)


def make_scene(
    spec: HouseSpec, *, start_ms: int, days: float, hourly_c: NDArray[np.float64] | None = None
) -> Scene:
    """Set out a healthy house over `days` from `start_ms`, and the run-in before.

    Parameters
    ----------
    spec : HouseSpec
        The house.
    start_ms : int
        Beginning of the record [ms].
    days : float
        Length.
    hourly_c : ndarray, optional
        A measured year of outdoor temperatures to use instead of drawn weather.
    """
    origin_ms = start_ms - RUN_IN_DAYS * DAY_MS
    minutes = RUN_IN_MIN + round(days * 1440)
    moment = from_ms(origin_ms)
    day = moment.timetuple().tm_yday - 1 + (origin_ms % DAY_MS) / DAY_MS
    weather = (
        drawn_weather(
            spec.climate,
            stream(spec.seed, 2),
            clouds=stream(spec.seed, 8),
            first_day=day,
            minutes=minutes,
        )
        if hourly_c is None
        else measured_weather(hourly_c, first_day=day, minutes=minutes)
    )
    hour = local_hours(origin_ms, minutes, spec.timezone)
    drivers = _drivers(spec, weather, hour, minutes)
    profiles = {one.id: _sound(minutes) for one in spec.loops}
    return Scene(
        spec,
        origin_ms,
        minutes,
        RUN_IN_MIN,
        drivers,
        profiles,
        _mains(spec.seed, minutes, hour),
        hour,
        np.full(minutes, spec.pressure_bar, np.float32),
    )


def _sound(minutes: int) -> PumpProfile:
    one, none = np.ones(minutes, np.float32), np.zeros(minutes, np.float32)
    return PumpProfile(
        none.copy(),
        one.copy(),
        one.copy(),
        none.copy(),
        one.copy(),
        none.copy(),
        np.zeros(minutes, np.int8),
    )


def _mains(seed: int, minutes: int, hour: Array32) -> Array32:
    """Mains voltage: slow wander, daily swing of 2 V, street of its own [V]."""
    rng = stream(seed, 3)
    street = rng.normal(232.0, 2.5)
    keep = np.exp(-1.0 / 90.0)
    wander = lfilter([1.0], [1.0, -keep], rng.standard_normal(minutes) * 1.6 * np.sqrt(1 - keep**2))
    swing = 2.0 * np.cos(2 * np.pi * (hour - 3.0) / 24.0)
    return np.asarray(street + wander + swing, np.float32)


_FAILS, _FAILS_OF_ONE_TRY = 0.003, 5e-5
"""Share of a sound burner's tries that bring no flame. Gas tries again, so nobody notices one in
three hundred; an oil burner locks out at once, which a sound one does once a year at most, in some
20,000 starts (common practice, no source: a lock-out is reset once and the fitter called)."""


def _ignition_fails(spec: HouseSpec) -> float:
    return _FAILS_OF_ONE_TRY if spec.body.tries <= 1.0 else _FAILS


def _drivers(spec: HouseSpec, weather: Weather, hour: Array32, minutes: int) -> Drivers:
    many = len(spec.loops)
    day = (hour >= spec.day_h[0]) & (hour < spec.day_h[1])
    smooth = _smoothed(weather.outdoor_c, 180.0)
    wanted = np.where(day, spec.room_c, spec.room_c - min(spec.setback_k, 4.0))
    slow = _smoothed(weather.outdoor_c, 1440.0)
    heat_on = slow < spec.heating_limit_c
    if spec.setback_k > 8.0:
        heat_on = heat_on & (day | (smooth < -4.0))
    heating = [one for one in spec.loops if one.kind == EMITTERS]
    flow = np.max([_curve(spec, one, smooth, day) for one in heating], axis=0)
    if spec.control == "fixed":
        flow = np.full(minutes, spec.fixed_flow_c)
    return Drivers(
        outdoor_c=_f32(weather.outdoor_c),
        cellar_c=_f32(spec.cellar_c + 0.15 * (_smoothed(weather.outdoor_c, 4000.0) - 10.0)),
        gain_w=_f32(_gains(spec, weather, hour)),
        wood_w=np.zeros(minutes, np.float32),
        room_set_c=_f32(wanted),
        air_change=np.zeros(minutes, np.float32),
        heat_on=heat_on.astype(np.int8),
        flow_set_c=_f32(flow),
        charge_on=np.full(minutes, int(spec.store.layer_j_k > 0), np.int8),
        charge_set_c=np.full(minutes, 52.0 + stream(spec.seed, 4).uniform(0, 7), np.float32),
        draw_kg_s=_draws(spec, hour, minutes),
        burner_supply=np.ones(minutes, np.int8),
        ignition_fail=np.full(minutes, _ignition_fails(spec), np.float32),
        heat_factor=np.ones(minutes, np.float32),
        boiler_loss=np.ones(minutes, np.float32),
        store_loss=np.ones(minutes, np.float32),
        hysteresis=np.ones(minutes, np.float32),
        command=_kicks(spec, hour, minutes),
        mains=np.ones((many, minutes), np.int8),
        timer=np.array([_timer(one, hour) for one in spec.loops], np.int8),
        setting=np.zeros((many, minutes), np.int8),
        mix_set_c=np.array([_mix(spec, one, smooth, day) for one in spec.loops], np.float32),
        resistance=np.ones((many, minutes), np.float32),
        extra_k=np.zeros((many, minutes), np.float32),
        head=np.ones((many, minutes), np.float32),
        turning=np.ones((many, minutes), np.int8),
        direction=np.ones((many, minutes), np.int8),
        check_open=np.zeros((many, minutes), np.int8),
        speed_light=np.ones((many, minutes), np.float32),
        speed_full=np.ones((many, minutes), np.float32),
        valve_shift_k=np.zeros((many, minutes), np.float32),
        night_stuck=np.zeros((many, minutes), np.int8),
    )


def _f32(values: NDArray[np.float64]) -> Array32:
    return np.ascontiguousarray(values, np.float32)


def _smoothed(values: NDArray[np.float64], minutes: float) -> NDArray[np.float64]:
    """First-order lag that begins at rest."""
    keep = np.exp(-1.0 / minutes)
    start = values[: max(int(minutes), 1)].mean()
    out, _ = lfilter([1.0 - keep], [1.0, -keep], values, zi=[start * keep])
    return np.asarray(out)


def emitter_mean_c(
    spec: HouseSpec, loop: LoopSpec, outdoor_c: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Mean water temperature at which a loop carries its share of the load [Cel]."""
    heating = [one for one in spec.loops if one.kind == EMITTERS]
    size = sum(one.emitter_w * (0.21 if one.mixed_by else 0.8) for one in heating)
    share = loop.emitter_w * (0.21 if loop.mixed_by else 0.8) / size
    need = spec.house.ua_w_k * (spec.room_c - outdoor_c) - spec.gain_w
    part = np.maximum(need * share, 0.0) / loop.emitter_w
    return np.asarray(spec.room_c + 50.0 * part ** (1.0 / loop.exponent))


def _curve(
    spec: HouseSpec, loop: LoopSpec, outdoor_c: NDArray[np.float64], day: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Boiler flow temperature asked for by a loop [Cel]."""
    spread = 5.0 if loop.mixed_by else 7.0
    wanted = emitter_mean_c(spec, loop, outdoor_c) + spread + spec.slope_margin_k
    shift = min(spec.setback_k, 4.0) * 4.0
    floor = 28.0 if spec.body.condensing else 42.0
    return np.clip(wanted - np.where(day, 0.0, shift), floor, 78.0)


def _mix(
    spec: HouseSpec, loop: LoopSpec, outdoor_c: NDArray[np.float64], day: NDArray[np.bool_]
) -> NDArray[np.float64]:
    if not loop.mixed_by:
        return np.zeros(len(outdoor_c))
    wanted = emitter_mean_c(spec, loop, outdoor_c) + 4.0
    return np.clip(wanted - np.where(day, 0.0, min(spec.setback_k, 3.0)), 22.0, 45.0)


def _timer(loop: LoopSpec, hour: Array32) -> NDArray[np.int8]:
    if loop.always_on:
        return np.ones(len(hour), np.int8)
    on = np.zeros(len(hour), bool)
    if loop.kind == RECIRCULATION:
        for start, end in loop.hours:
            on |= (hour >= start) & (hour < end)
    return on.astype(np.int8)


def _gains(spec: HouseSpec, weather: Weather, hour: Array32) -> NDArray[np.float64]:
    rng = stream(spec.seed, 5)
    lively = 0.6 + 0.9 * (
        np.exp(-0.5 * ((hour - 7.5) / 1.2) ** 2) + np.exp(-0.5 * ((hour - 19.0) / 2.0) ** 2)
    )
    random = np.repeat(rng.gamma(4.0, 0.25, len(hour) // 30 + 1), 30)[: len(hour)]
    return np.asarray(spec.gain_w * lively * random + 0.45 * spec.window_m2 * weather.sun_w_m2)


def _draws(spec: HouseSpec, hour: Array32, minutes: int) -> Array32:
    """Draws of hot water: a Poisson process with three peaks a day [kg/s]."""
    draw = np.zeros(minutes, np.float32)
    if spec.store.layer_j_k <= 0:
        return draw
    rng = stream(spec.seed, 6)
    rate = 0.15 + 2.2 * np.exp(-0.5 * ((hour - 7.2) / 0.8) ** 2)
    rate = rate + 0.8 * np.exp(-0.5 * ((hour - 12.5) / 0.9) ** 2)
    rate = (rate + 1.6 * np.exp(-0.5 * ((hour - 19.5) / 1.5) ** 2)) * ((hour > 5.5) & (hour < 23.5))
    mean_l = 12.0
    a_day = 60.0 * 16.0
    per_minute = rate / a_day * spec.daily_draw_l / mean_l
    starts = np.flatnonzero(rng.random(minutes) < per_minute)
    litres = stream(spec.seed, 9).gamma(0.9, mean_l / 0.9, len(starts))
    for at, size in zip(starts, np.clip(litres, 1.0, 90.0), strict=True):
        length = max(int(np.ceil(size / 7.0)), 1)
        draw[at : at + length] += size / length / 60.0
    return draw


def _kicks(spec: HouseSpec, hour: Array32, minutes: int) -> NDArray[np.int8]:
    """Anti-seize runs the controller imposes out of season, a minute long."""
    command = np.zeros((len(spec.loops), minutes), np.int8)
    if spec.kick == "none":
        return command
    noon = np.flatnonzero((hour[1:] >= 12.0) & (hour[:-1] < 12.0))
    if spec.kick == "weekly":
        noon = noon[::7]
    command[:, noon] = 1
    return command
