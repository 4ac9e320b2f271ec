"""Instruments at work: from what is true to the readings that arrive."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.signal import lfilter

from analysis.base.time import DAY_MS, HOUR_MS, SECOND_MS, Span, local_day_edges
from analysis.readings.readings import FloatArray, IntArray, Readings
from analysis.rehearsal.course.electric import Load, Moments, boiler_load, moments, pump_load
from analysis.rehearsal.course.play import Trajectory
from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.course.warmth import flue_c, pressure_bar, pump_body_c
from analysis.rehearsal.house.draw import stream
from analysis.rehearsal.house.layout import Clip, Device, Layout, Meter, Plug, rng_key
from analysis.rehearsal.physics.compiled import compiled
from analysis.rehearsal.physics.records import Array

NET_KWH_PER_M3 = {"gas": 9.6, "oil": 9960.0, "lpg": 25.8}
"""Net heat of a cubic metre: gases as vapour, oil as liquid (from memory)."""


@dataclass(frozen=True, slots=True)
class Clock:
    """When a device spoke, and whether it was heard."""

    time_ms: IntArray
    heard: NDArray[np.bool_]
    resets: IntArray


def record_of(scene: Scene, trajectory: Trajectory, layout: Layout) -> dict[str, Readings]:
    """Readings of every channel, with all the habits and failings of the instruments."""
    record: dict[str, Readings] = {}
    for plug in layout.plugs:
        record.update(_plug_record(scene, trajectory, plug))
    for clip in layout.clips:
        record[clip.channel] = _clip_readings(scene, trajectory, clip)
    for meter in layout.meters:
        record[meter.channel] = _meter_readings(scene, trajectory, meter)
    return {channel: _sensor_faults(scene, channel, r) for channel, r in record.items()}


def _clock(scene: Scene, device: Device) -> tuple[Clock, Generator]:
    """Draw the moments a device speaks at; what it says later uses the same stream."""
    rng = stream(scene.spec.seed, 30, rng_key(device.name))
    start_ms, end_ms = scene.time_ms(scene.record_min), scene.time_ms(scene.minutes)
    every = round((device.check_s if device.reports == "change" else device.interval_s) * 1000)
    count = (end_ms - start_ms) // every
    jitter = rng.uniform(-0.1, 0.1, count) * every
    time_ms = start_ms + (np.arange(count) + 0.5) * every + jitter
    heard = rng.random(count) >= device.loss
    bursts = rng.poisson(device.bursts_a_week * count * every / (7 * DAY_MS))
    begins = rng.integers(start_ms, end_ms, bursts)
    lengths = rng.uniform(5.0 * 60e3, 6.0 * HOUR_MS, bursts) ** 1.0
    lengths *= rng.random(bursts) ** 2
    resets = []
    for begin, length in zip(begins, lengths, strict=True):
        heard &= ~((time_ms >= begin) & (time_ms < begin + length))
    for name, begin_min, end_min, what in scene.mute:
        if name in ("all", device.name):
            away = (time_ms >= scene.time_ms(begin_min)) & (time_ms < scene.time_ms(end_min))
            heard &= ~away
            if what in ("power_cut", "plug_reboot"):
                resets.append(scene.time_ms(begin_min))
    return Clock(time_ms.astype(np.int64), heard, np.array(sorted(resets), np.int64)), rng


def _at(scene: Scene, trajectory: Trajectory, time_ms: IntArray) -> Moments:
    return moments((time_ms - scene.origin_ms) / SECOND_MS, trajectory, scene)


def _restless(rng: Generator, count: int, interval_s: float) -> Array:
    """Restlessness with a memory of about 20 s, one number a moment."""
    keep = float(np.exp(-interval_s / 20.0))
    kick = rng.standard_normal(count) * np.sqrt(1 - keep * keep)
    return np.asarray(lfilter([1.0], [1.0, -keep], kick))


def _load(scene: Scene, trajectory: Trajectory, load: str, at: Moments, noise: Array) -> Load:
    if load == scene.spec.boiler_id:
        return boiler_load(scene, trajectory, at)
    return pump_load(scene, trajectory, scene.spec.index(load), at, noise)


def _plug_record(scene: Scene, trajectory: Trajectory, plug: Plug) -> dict[str, Readings]:
    clock, rng = _clock(scene, plug.device)
    count = len(clock.time_ms)
    at = _at(scene, trajectory, clock.time_ms)
    load = _load(scene, trajectory, plug.load, at, _restless(rng, count, plug.device.interval_s))
    gain = plug.gain * _gain_change(scene, plug, at)
    bias = 1.0 - plug.low_factor_bias * np.clip(1.0 - load.power_factor, 0.0, 1.0) ** 2
    power = load.power_w * gain * bias
    shown = np.where(power < plug.floor_w, 0.0, power)
    stale = np.append([False], load.on[1:] != load.on[:-1]) & (rng.random(count) < 0.3)
    shown[1:] = np.where(stale[1:], shown[:-1], shown[1:])
    shown[rng.random(count) < 2e-5] = 0.0
    shown = np.round(shown / plug.step_w) * plug.step_w
    volts = scene.mains_v[at.minute] + 0.3 * rng.standard_normal(count)
    heard = clock.heard.copy()
    if plug.downstream:
        heard &= load.on
    sent = heard & _sent(plug.device, clock.time_ms, shown)
    values: dict[str, FloatArray] = {
        "power": shown.astype(np.float64),
        "energy": _counter(scene, trajectory, plug, clock),
        "voltage": np.round(volts, 1),
        "current": np.asarray(
            np.round(load.power_w / np.maximum(load.power_factor, 0.05) / volts, 3)
        ),
        "power_factor": np.asarray(np.round(np.where(shown > 0, load.power_factor, 0.0), 2)),
    }
    return {
        f"{plug.load}.{name}": _arrived(
            clock.time_ms,
            values[name],
            _rate(plug, name, sent, heard, clock.time_ms),
            plug.device,
            rng,
        )
        for name in plug.quantities
    }


def _gain_change(scene: Scene, plug: Plug, at: Moments) -> Array:
    """Another plug's gain from the moment it took over."""
    gain = np.ones(len(at.minute))
    for what, name, begin, end, factor in scene.service:
        if what == "new_plug_gain" and name == plug.load:
            gain[(at.minute >= begin) & (at.minute < end)] = factor
    return gain


def _rate(
    plug: Plug, name: str, sent: NDArray[np.bool_], heard: NDArray[np.bool_], time_ms: IntArray
) -> NDArray[np.bool_]:
    """Which moments carry this quantity: on-change plugs send counters every ten minutes."""
    if plug.device.reports == "periodic" or name != "energy":
        return sent
    due = np.append([True], time_ms[1:] // 600_000 != time_ms[:-1] // 600_000)
    return np.asarray(heard & due, np.bool_)


def _sent(device: Device, time_ms: IntArray, shown: FloatArray) -> NDArray[np.bool_]:
    if device.reports == "periodic":
        return np.ones(len(shown), bool)
    beat_ms = round(device.heartbeat_s * 1000)
    return np.asarray(_on_change(time_ms, shown, 3.0, 0.2, beat_ms), np.bool_)


@compiled
def _on_change(
    time_ms: IntArray, shown: FloatArray, least: float, share: float, beat_ms: int
) -> NDArray[np.bool_]:
    """Moments at which a value left its dead band, or the heartbeat was due."""
    sent = np.zeros(len(shown), np.bool_)
    last, when = -1e9, -(1 << 60)
    for k in range(len(shown)):
        band = max(least, share * abs(last))
        if abs(shown[k] - last) > band or time_ms[k] - when >= beat_ms:
            sent[k] = True
            last, when = shown[k], time_ms[k]
    return sent


def _counter(scene: Scene, trajectory: Trajectory, plug: Plug, clock: Clock) -> FloatArray:
    """Energy counter of the plug, with what its memory does at a loss of power [kWh]."""
    step_s = max(20.0, trajectory.step_s)
    grid_s = np.arange(scene.record_min * 60.0, scene.minutes * 60.0, step_s)
    at = moments(grid_s, trajectory, scene)
    load = _load(scene, trajectory, plug.load, at, np.zeros(len(grid_s)))
    gain = plug.gain * _gain_change(scene, plug, at)
    watts = np.where(load.power_w < plug.floor_w, 0.0, load.power_w * gain)
    total = plug.start_kwh + np.append([0.0], np.cumsum(watts) * step_s / 3.6e6)
    edges = np.append(grid_s, grid_s[-1] + step_s)
    seconds = (clock.time_ms - scene.origin_ms) / SECOND_MS
    value = np.interp(seconds, edges, total)
    if plug.memory != "kept":
        value = _forget(value, scene, plug, clock, edges, total)
    return np.floor(value / plug.counter_kwh) * plug.counter_kwh


def _forget(
    value: FloatArray, scene: Scene, plug: Plug, clock: Clock, edges: Array, total: Array
) -> FloatArray:
    """Take off, from each loss of power on, what the counter forgot."""
    for moment in clock.resets:
        held = float(np.interp((moment - scene.origin_ms) / SECOND_MS, edges, total))
        if plug.memory == "midnight":
            span = Span(int(moment), int(moment) + 1)
            midnight = int(local_day_edges(span, scene.spec.timezone)[0])
            back = float(np.interp((midnight - scene.origin_ms) / SECOND_MS, edges, total))
            forgot = held - back
        else:
            before = value[clock.time_ms < moment]
            forgot = float(before[-1]) if len(before) else held
        value = np.where(clock.time_ms >= moment, value - forgot, value)
    return np.maximum(value, 0.0)


def _arrived(
    time_ms: IntArray, value: FloatArray, sent: NDArray[np.bool_], device: Device, rng: Generator
) -> Readings:
    """What was heard; retained values come again after a silence, some messages overtake."""
    swap = rng.random(len(time_ms)) < device.swaps
    times, values = time_ms[sent], value[sent].copy()
    over = np.flatnonzero(swap[sent][:-1])
    values[over], values[over + 1] = values[over + 1].copy(), values[over].copy()
    if device.replays and len(times) > 2:
        back = np.flatnonzero(np.diff(times) > 5 * 60_000) + 1
        times = np.concatenate((times, times[back] - 1500))
        values = np.concatenate((values, values[back - 1]))
    return Readings.of(times, values)


def _pipe_c(scene: Scene, trajectory: Trajectory, clip: Clip) -> tuple[Array, float]:
    """True temperature at a clip, and the seconds between values."""
    if clip.of == scene.spec.boiler_id:
        if clip.place == "flue":
            return flue_c(scene, trajectory), trajectory.step_s
        return trajectory.stem(clip.place).astype(float), trajectory.step_s
    if clip.of == "store":
        return trajectory.stem(f"store_{clip.place}").astype(float), trajectory.step_s
    if clip.of == "plant":
        if clip.place == "room":
            return trajectory.stem("room").astype(float), trajectory.step_s
        air = scene.drivers.outdoor_c if clip.place == "outdoor" else scene.drivers.cellar_c
        return air.astype(float), 60.0
    loop = scene.spec.index(clip.of)
    if clip.place == "body":
        return pump_body_c(scene, trajectory, loop), 60.0
    return trajectory.branch(loop, clip.place).astype(float), trajectory.step_s


def _surroundings(scene: Scene, clip: Clip, minute: NDArray[np.int64]) -> Array:
    if clip.place in ("outdoor", "room", "ambient"):
        return np.zeros(len(minute))
    return scene.drivers.cellar_c[minute].astype(float)


def _clip_readings(scene: Scene, trajectory: Trajectory, clip: Clip) -> Readings:
    clock, rng = _clock(scene, clip.device)
    true, step_s = _pipe_c(scene, trajectory, _exchanged(scene, clip))
    true = _fallen_off(scene, clip, true, step_s)
    keep = float(np.exp(-step_s / clip.lag_s))
    felt, _ = lfilter([1 - keep], [1, -keep], true, zi=[true[0] * keep])
    seconds = (clock.time_ms - scene.origin_ms) / SECOND_MS
    value = np.interp(seconds, np.arange(len(felt)) * step_s, felt)
    minute = np.minimum((seconds / 60.0).astype(np.int64), scene.minutes - 1)
    around = _surroundings(scene, clip, minute)
    contact = _contact(scene, clip, minute)
    value = around + contact * (value - around) + clip.offset_k
    value = value + clip.noise_k * rng.standard_normal(len(value))
    value = np.round(value / clip.step_k) * clip.step_k
    fate = rng.random(len(value))
    value = np.where(fate < 2e-5, 85.0, np.where(fate > 1 - 2e-5, -127.0, value))
    sent = clock.heard
    if clip.device.reports == "change":
        beat = round(clip.device.heartbeat_s * 1000)
        sent = sent & np.asarray(_on_change(clock.time_ms, value, clip.change_k, 0.0, beat))
    value = np.asarray(np.round(value, 4), np.float64)
    return _arrived(clock.time_ms, value, sent, clip.device, rng)


def _exchanged(scene: Scene, clip: Clip) -> Clip:
    """The clip whose pipe this one really sits on, where two were mixed up."""
    for what, name, _, _, _ in scene.service:
        if what == "sensors_swapped" and name == clip.of and clip.place in ("flow", "return"):
            return replace(clip, place="return" if clip.place == "flow" else "flow")
    return clip


def _fallen_off(scene: Scene, clip: Clip, true: Array, step_s: float) -> Array:
    """From the fall on, the sensor hangs in the air beside the pipe."""
    for what, name, begin, end, _ in scene.service:
        if what == "clip off" and name == clip.channel:
            rows = slice(int(begin * 60 / step_s), int(end * 60 / step_s))
            true = true.copy()
            minute = np.minimum(
                (np.arange(len(true))[rows] * step_s / 60).astype(int), scene.minutes - 1
            )
            true[rows] = scene.drivers.cellar_c[minute] + 0.04 * (
                true[rows] - scene.drivers.cellar_c[minute]
            )
    return true


def _contact(scene: Scene, clip: Clip, minute: NDArray[np.int64]) -> Array:
    contact = np.full(len(minute), clip.contact)
    for what, name, begin, end, factor in scene.service:
        if what == "sensor_slipped" and name == clip.channel:
            contact[(minute >= begin) & (minute < end)] = factor
    return contact


def _meter_readings(scene: Scene, trajectory: Trajectory, meter: Meter) -> Readings:
    clock, rng = _clock(scene, meter.device)
    seconds = (clock.time_ms - scene.origin_ms) / SECOND_MS
    rows = np.arange(len(trajectory.table)) * trajectory.step_s
    if meter.quantity == "pressure":
        value = np.interp(seconds, rows, pressure_bar(scene, trajectory))
        value = value + 0.004 * rng.standard_normal(len(value))
        return _arrived(clock.time_ms, np.round(value, 2), clock.heard, meter.device, rng)
    spec = scene.spec
    per_row = trajectory.stem("level") * spec.body.input_w * trajectory.step_s / 3.6e6
    volume = np.cumsum(per_row, dtype=float) / NET_KWH_PER_M3[spec.fuel]
    value = 1000.0 + np.interp(seconds, rows, volume)
    shown = np.round(np.floor(value / meter.step) * meter.step, 6)
    return _arrived(clock.time_ms, shown, clock.heard, meter.device, rng)


def _sensor_faults(scene: Scene, channel: str, readings: Readings) -> Readings:
    """Freeze or silence a channel for as long as that fault lasts."""
    for what, name, begin, end, _ in scene.service:
        if name != channel or what not in ("repeats", "unheard"):
            continue
        a, b = np.searchsorted(readings.time_ms, (scene.time_ms(begin), scene.time_ms(end)))
        if what == "repeats" and a > 0:
            value = readings.value.copy()
            value[a:b] = value[a - 1]
            readings = Readings(readings.time_ms, value)
        elif what == "unheard":
            keep = np.ones(len(readings), bool)
            keep[a:b] = False
            readings = Readings(readings.time_ms[keep], readings.value[keep])
    return readings
