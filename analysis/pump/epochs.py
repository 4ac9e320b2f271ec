"""A pump's past: daily rows, and the epochs in which it was one and the same."""

from dataclasses import dataclass, fields, replace
from typing import Any, Literal, TypeVar

import numpy as np

from analysis.base.estimate import plain
from analysis.base.time import DAY_MS, Span, format_rfc3339
from analysis.plant.installed_pump import placed_pumps
from analysis.plant.plant import Drive, Plant, Pump
from analysis.pump.daily_rows import Days, days_of, quantiles
from analysis.pump.hours import Hours, hours_of, voltage_exponent
from analysis.pump.minutes import Minutes, pump_minutes
from analysis.pump.setting_steps import SettingStep, steps_of_one
from analysis.readings.readings import FloatArray, IntArray, Record
from analysis.readings.worked_once import Keeper, once

Why = Literal["first readings", "pump exchanged", "setting changed", "another plug", "refilled"]

_Rows = TypeVar("_Rows", Days, Hours)

LEARNING_DAYS = 7
"""Days of running after which a baseline counts as learned: a working week and its week-end."""
BASELINE_DAYS = 14
"""Days of running that make a baseline."""
_NEAR_H = 12
_LEAST_STEP = {"induction": 0.025, "electronic": 0.06}
"""Sudden lasting change of level, as a share, that no wear makes within an hour."""
_PLUG_STEP = 0.085
"""Plugs of one kind differ by a few per cent, neighbouring settings by 20 % and more."""
_REFILL_BAR = 0.15
"""Warmth moves the daily median of the pressure less than this; common practice, no source."""
_SAME_PUMP = ("refilled", "another plug")
_WATTS = ("level_w", "low_w", "high_w", "floor_w", "ceiling_w", "start_w", "peak_w")
_PLUG_DAYS = 3
_SAG = -0.025
"""A power factor that falls this far at a small step of power is no turned knob."""
_VALVES_H, _LEAST_WATER = 24, 0.2
_FLOW = 0.06
"""Change of `Hours.share` from half a day to the next that valves make and a plug does not."""
_STIR = 0.01
"""Restlessness that a sound pump does not take on from one hour to the next [share]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Epoch:
    """A stretch of rows `first` to `last` in which pump, setting and plug were the same.

    `ratio` is the level after its beginning over that before; `start_ms` the moment.
    """

    first: int
    last: int
    start_ms: int
    why: Why
    drive: Drive
    exponent: float
    ratio: float = float("nan")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PumpHistory(Keeper):
    """Everything the slow judges know of a pump.

    `epoch_of` holds each row's place in `epochs`; `has` which quantities were measured.
    A refill or another plug leaves the pump as it was: `chains` joins the epochs they part,
    `even` holds the daily rows as the first plug of each chain would have read them. It
    keeps what several judges work out of it.
    """

    pump: Pump
    days: Days
    even: Days
    hours: Hours
    epochs: tuple[Epoch, ...]
    chains: tuple[Epoch, ...]
    epoch_of: IntArray
    has: frozenset[str]
    step_s: float
    quantum_w: float
    is_coarse: bool
    reports: Literal["periodic", "change"]

    def __post_init__(self) -> None:
        """Begin to keep."""
        Keeper.__init__(self)

    def rows(self, epoch: Epoch) -> IntArray:
        """Rows of an epoch in which the pump ran long enough to tell its level."""
        rows = np.arange(epoch.first, epoch.last + 1)
        return rows[np.isfinite(self.days.level_w[rows])]

    def document(self) -> dict[str, Any]:
        """Return the JSON form for a page: daily rows and epochs."""
        return {
            "pump": self.pump.id,
            "sampling_s": plain(self.step_s, 3),
            "is_coarse": self.is_coarse,
            "measured": sorted(self.has),
            "days": self.days.document(),
            "epochs": [self._epoch_document(e) for e in self.epochs],
        }

    def chain_of(self, epoch: Epoch) -> Epoch:
        """The chain an epoch belongs to."""
        return next(c for c in self.chains if c.first <= epoch.first <= c.last)

    def as_read(self, epoch: Epoch, sign: str) -> float:
        """Ratio of what an epoch's plug reads to what its chain's first plug would have read."""
        part = slice(epoch.first, epoch.last + 1)
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = getattr(self.days, sign)[part] / getattr(self.even, sign)[part]
        ratio = ratio[np.isfinite(ratio)]
        return float(np.median(ratio)) if len(ratio) else 1.0

    def _epoch_document(self, epoch: Epoch) -> dict[str, Any]:
        rows = self.rows(self.chain_of(epoch))
        ran = int((rows <= epoch.last).sum())
        learned = rows[: min(BASELINE_DAYS, ran)]
        watts = self.even.level_w[learned] * self.as_read(epoch, "level_w")
        level = quantiles(watts, (0.5, 0.05, 0.95), 1)
        return {
            "from": format_rfc3339(epoch.start_ms),
            "why": epoch.why,
            "drive": epoch.drive,
            "voltage_exponent": plain(epoch.exponent, 3),
            "ratio": plain(epoch.ratio, 4),
            "is_learning": ran < LEARNING_DAYS,
            "days_learned": len(learned),
            "baseline_w": plain(level[0], 4),
            "low_w": plain(level[1], 4),
            "high_w": plain(level[2], 4),
        }


@once
def pump_history(plant: Plant, pump: Pump, record: Record, span: Span) -> PumpHistory | None:
    """Daily rows and epochs of a pump.

    Returns
    -------
    PumpHistory or None
        None where the pump's power was not measured.
    """
    pieces = []
    for part, one in placed_pumps(plant, pump, span):
        minutes = pump_minutes(plant, one, record, part)
        if minutes is not None and np.isfinite(minutes.power_w).any():
            turned = one.drive == "electronic" and steps_of_one(plant, one, record, part)
            pieces.append(_Piece.of(minutes, one, part, turned or []))
    if not pieces:
        return None
    return _joined(pump, pieces)


@dataclass(frozen=True, slots=True, eq=False)
class _Piece:
    """The rows of one pump between two swaps."""

    minutes: Minutes
    days: Days
    hours: Hours
    drive: Drive
    exponent: float
    span: Span
    turned: list[SettingStep]

    @classmethod
    def of(cls, minutes: Minutes, pump: Pump, span: Span, turned: list[SettingStep]) -> "_Piece":
        exponent = voltage_exponent(minutes, pump.drive)
        hours = hours_of(minutes, exponent)
        days = days_of(minutes, hours, exponent)
        return cls(minutes, days, hours, pump.drive, exponent, span, turned)


def _joined(pump: Pump, pieces: list[_Piece]) -> PumpHistory:
    epochs: list[Epoch] = []
    offset = 0
    for k, piece in enumerate(pieces):
        epochs += _epochs(piece, offset, "pump exchanged" if k else "first readings")
        offset += len(piece.days)
    of = np.zeros(offset, np.int64)
    for k, epoch in enumerate(epochs):
        of[epoch.first : epoch.last + 1] = k
    last = pieces[-1].minutes
    days = _stacked(Days, [p.days for p in pieces])
    return PumpHistory(
        pump=pump,
        days=days,
        even=_evened(days, epochs),
        chains=_chains(epochs),
        hours=_stacked(Hours, [p.hours for p in pieces]),
        epochs=tuple(epochs),
        epoch_of=of,
        has=frozenset().union(*(p.minutes.has for p in pieces)),
        step_s=last.step_s,
        quantum_w=last.quantum_w,
        is_coarse=last.is_coarse,
        reports=last.reports,
    )


def _chains(epochs: list[Epoch]) -> tuple[Epoch, ...]:
    """Epochs joined over what leaves the pump as it was."""
    found: list[Epoch] = []
    for epoch in epochs:
        if found and epoch.why in _SAME_PUMP:
            found[-1] = replace(found[-1], last=epoch.last)
        else:
            found.append(epoch)
    return tuple(found)


def _evened(days: Days, epochs: list[Epoch]) -> Days:
    """Daily rows with every plug's readings brought to those of its chain's first plug."""
    scale, shift = np.ones(len(days)), np.zeros(len(days))
    ratio, factor = 1.0, 0.0
    for epoch in epochs:
        if epoch.why == "another plug":
            ratio, factor = ratio * epoch.ratio, factor + _factor_step(days, epoch.first)
        elif epoch.why not in _SAME_PUMP:
            ratio, factor = 1.0, 0.0
        rows = slice(epoch.first, epoch.last + 1)
        scale[rows], shift[rows] = ratio, factor
    watts = {name: getattr(days, name) / scale for name in _WATTS}
    return replace(days, factor=days.factor - shift, **watts)


def _factor_step(days: Days, row: int) -> float:
    """Change of the power factor from the days before another plug to those after; 0 unknown."""
    before = days.factor[max(row - _PLUG_DAYS, 0) : row]
    after = days.factor[row + 1 : row + 1 + _PLUG_DAYS]
    if not np.isfinite(before).any() or not np.isfinite(after).any():
        return 0.0
    return float(np.nanmedian(after) - np.nanmedian(before))


def _stacked(kind: type[_Rows], parts: list[_Rows]) -> _Rows:
    names = [f.name for f in fields(kind)]
    return kind(**{n: np.concatenate([getattr(p, n) for p in parts]) for n in names})


def _epochs(piece: _Piece, offset: int, why: Why) -> list[Epoch]:
    """Epochs of one pump: they close where its level changes suddenly, and at a refill."""
    start = piece.days.start_ms
    found = [(0, piece.span.start_ms, why, float("nan"))]
    for at_ms, kind, ratio in _closings(piece):
        row = int(np.searchsorted(start, at_ms, side="right")) - 1
        if row > found[-1][0]:
            found.append((row, at_ms, kind, ratio))
    lasts = [row - 1 for row, *_ in found[1:]] + [len(start) - 1]
    return [
        Epoch(
            first=offset + row,
            last=offset + last,
            start_ms=at_ms,
            why=kind,
            drive=piece.drive,
            exponent=piece.exponent,
            ratio=ratio,
        )
        for (row, at_ms, kind, ratio), last in zip(found, lasts, strict=True)
    ]


def _closings(piece: _Piece) -> list[tuple[int, Why, float]]:
    """Moments that close an epoch, with the reason and the ratio of levels, in order."""
    quantum_w = piece.minutes.quantum_w
    steps = level_steps(piece.hours, piece.drive, quantum_w)
    if piece.drive == "electronic":
        # Its level follows the valves; only a step of both ends of its curve is a hand's.
        steps = [
            (s.time_ms, s.floor_after_w / s.floor_before_w)
            for s in piece.turned
            if not is_of_valves(piece.hours, s.time_ms)
        ]
        steps += ceiling_jumps(piece.days, quantum_w)
    found: list[tuple[int, Why, float]] = [
        (
            at,
            "another plug"
            if piece.drive == "induction" and abs(np.log(ratio)) < _PLUG_STEP
            else "setting changed",
            ratio,
        )
        for at, ratio in steps
    ]
    return sorted(found + [(at, "refilled", 1.0) for at in refills(piece.days)])


def refills(days: Days) -> list[int]:
    """Beginnings of days on which the system's pressure was higher than before, and stayed."""
    rows = np.flatnonzero(np.isfinite(days.pressure_bar))
    bar = days.pressure_bar[rows]
    found: list[int] = []
    for k in range(2, len(rows) - 2):
        if bar[k : k + 3].min() - bar[k - 2 : k].max() < _REFILL_BAR:
            continue
        if not found or days.start_ms[rows[k]] - found[-1] > 3 * DAY_MS:
            found.append(int(days.start_ms[rows[k]]))
    return found


def level_steps(hours: Hours, drive: Drive, quantum_w: float) -> list[tuple[int, float]]:
    """Moments at which the level changed within an hour and stayed, and by which ratio.

    A step must stand out from what this pump's level does from half a day to the next
    anyway, and be complete within an hour; wear and seasons take days. A fall of the
    power factor, or unrest, at a small step is left to the judges of capacitors and of air.
    """
    known = np.flatnonzero(np.isfinite(hours.level_w))
    if len(known) < 4 * _NEAR_H:
        return []
    level = np.log(hours.level_w[known])
    change = _window_change(level, _NEAR_H)
    scale = 1.4826 * float(np.nanmedian(np.abs(change)))
    least = max(_LEAST_STEP[drive], 5.0 * scale, 1.2 * quantum_w / float(np.exp(np.median(level))))
    at_once = _window_change(level, 3)
    found: list[tuple[int, float]] = []
    candidates = np.flatnonzero(
        (np.abs(change) > least) & (at_once * np.sign(change) > 0.7 * np.abs(change))
    )
    for group in _groups(candidates, _NEAR_H):
        k = int(group[np.argmax(np.abs(change[group]) + np.abs(at_once[group]))])
        long = 3 * _NEAR_H
        stays = np.median(level[k : k + long]) - np.median(level[max(k - long, 0) : k])
        if stays / change[k] < 0.6 or _is_of_pump(hours, known, k, float(change[k])):
            continue
        found.append((int(hours.start_ms[known[k]]), float(np.exp(change[k]))))
    return found


def ceiling_jumps(days: Days, quantum_w: float) -> list[tuple[int, float]]:
    """Days from which an electronic pump reached powers it never had, from one to the next.

    On another curve its power ranges otherwise, though its mean may be the same.
    """
    rows = np.flatnonzero(np.isfinite(days.ceiling_w))
    high = days.ceiling_w[rows]
    found: list[tuple[int, float]] = []
    first = 0
    for k in range(3, len(rows) - 3):
        before, after = high[first:k], high[k + 1 : k + 4]
        if k - first < 3 or after.min() < before.max() * 1.25 + quantum_w:
            continue
        found.append((int(days.start_ms[rows[k]]), float(np.median(after) / before[-3:].max())))
        first = k + 1
    return found


def _window_change(level: FloatArray, width: int) -> FloatArray:
    """Median of the next `width` values less that of the last, at each place."""
    change = np.full(len(level), np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(level, width)
    medians = np.median(windows, axis=1)
    if len(level) >= 2 * width:
        change[width : len(level) - width + 1] = medians[width:] - medians[:-width]
    return change


def _groups(places: IntArray, apart: int) -> list[IntArray]:
    """Places split where they lie more than `apart` from each other."""
    if not len(places):
        return []
    return np.split(places, np.flatnonzero(np.diff(places) > apart) + 1)


def _is_of_pump(hours: Hours, known: IntArray, k: int, change: float) -> bool:
    """Whether a step too small for another setting is no plug's: that changes one factor only.

    The power factor falls with a capacitor, air makes the power restless, and valves change
    the flow of water, which moves an induction pump by 2 to 12 % (a model, no measurement).
    """
    before, after = known[max(k - _NEAR_H, 0) : k], known[k : k + _NEAR_H]
    if abs(change) > 0.2:
        return False
    sag = _median(hours.factor[after]) - _median(hours.factor[before])
    stir = _median(hours.restless[after])
    # Less water raises the share, and a capacitor motor takes less with it: never the other way.
    share = _median(hours.share[after])
    flow = -np.sign(change) * (share - _median(hours.share[before]))
    is_of_water = flow > _FLOW or share < 0.0
    return bool(
        sag < _SAG or is_of_water or stir > max(_STIR, 2.0 * _median(hours.restless[before]))
    )


def is_of_valves(hours: Hours, at_ms: int) -> bool:
    """Whether the flow of water changed at a step by more than another speed makes of it.

    Power goes with the cube of the speed and water with the speed itself (affinity laws), so a
    hand on the knob moves the power by more than the water. Valves shut for a holiday, and opened
    after it, move the water by more than the power.
    """
    at = int(np.searchsorted(hours.start_ms, at_ms))
    before = slice(max(at - 1 - _VALVES_H, 0), max(at - 1, 0))
    after = slice(at + 1, at + 1 + _VALVES_H)
    with np.errstate(invalid="ignore", divide="ignore"):
        units = np.log(-np.log1p(-np.clip(hours.share, 0.0, 0.99)))
        power = np.log(hours.level_w)
    water = _median(units[after]) - _median(units[before])
    moved = _median(power[after]) - _median(power[before])
    return bool(abs(water) > max(abs(moved), _LEAST_WATER) and water * moved < 0)


def _median(value: FloatArray) -> float:
    """Median of what is known; NaN where nothing is."""
    return float(np.nanmedian(value)) if np.isfinite(value).any() else float("nan")
