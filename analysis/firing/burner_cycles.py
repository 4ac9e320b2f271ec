"""Burner cycles: firings and rests, from the best source there is, checked against a second."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analysis.base.estimate import plain
from analysis.base.time import DAY_MS, SECOND_MS, Span, format_rfc3339
from analysis.firing.by_coarse_temperature import COARSE_MS, hours_from_temperature
from analysis.firing.by_flow_temperature import firings_from_temperature
from analysis.firing.by_fuel_meter import firings_from_fuel
from analysis.firing.by_power import firings_from_power
from analysis.firing.cycle_statistics import (
    Cycle,
    CycleSummary,
    no_summary,
    summarise_cycles,
    summarise_running,
)
from analysis.firing.firings import Firings, Method, PowerLevel, Tells
from analysis.plant.plant import Boiler, Channel, Plant
from analysis.readings.readings import Readings, Record, usual_step_ms
from analysis.readings.worked_once import once


@dataclass(frozen=True, slots=True)
class CrossCheck:
    """What a second source says of the same time.

    `seen` is the share of the first source's firings that it shows too,
    `starts` and `other_starts` are the counts of both, `agrees` the verdict.
    """

    method: Method
    channel: str
    starts: int
    other_starts: int
    seen: float
    agrees: bool

    @property
    def words(self) -> str:
        """The verdict in a sentence."""
        said = (
            f"{self.channel} shows {self.other_starts} firings against {self.starts}, "
            f"and {self.seen:.0%} of them at the same time"
        )
        if self.agrees:
            return said
        return f"{said}: the sources disagree, look whether the right things are measured"

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "method": self.method,
            "channel": self.channel,
            "starts": self.starts,
            "other_starts": self.other_starts,
            "seen": plain(self.seen, 4),
            "agrees": self.agrees,
            "words": self.words,
        }


@dataclass(frozen=True, slots=True)
class BoilerCycles:
    """Cycles of one boiler; `coverage` is the share of the span with readings.

    Where no source tells single firings, `tells` is ``running``: there are no
    cycles, `running` holds the stretches over which the boiler worked, and
    `note` says why. `brief_share` is the share of firings seen in a single
    reading, as many of which may have fallen between two; None of a source that
    reports changes as they happen.
    """

    boiler: str
    method: Method | None
    channel: str | None
    cycles: tuple[Cycle, ...]
    summary: CycleSummary
    coverage: float
    covered_h: float = 0.0
    step_s: float = 0.0
    levels: tuple[PowerLevel, ...] = ()
    check: CrossCheck | None = None
    tells: Tells = "firings"
    note: str = ""
    running: tuple[Span, ...] = ()
    brief_share: float | None = None

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "boiler": self.boiler,
            "method": self.method,
            "channel": self.channel,
            "cycles": [c.document() for c in self.cycles],
            "summary": self.summary.document(),
            "coverage": plain(self.coverage, 4),
            "cross_check": self.check.document() if self.check else None,
            "edge_uncertainty_s": plain(self.edge_s),
            "tells": self.tells,
            "brief_share": plain(self.brief_share, 3),
            "brief_words": brief_words(self.brief_share, self.step_s),
            "note": self.note,
            "running": [
                {"start": format_rfc3339(one.start_ms), "end": format_rfc3339(one.end_ms)}
                for one in self.running
            ],
        }

    @property
    def edge_s(self) -> float | None:
        """Half the distance of readings, to which edges are known [s]; None for rare reporters."""
        return 0.5 * self.step_s if 0 < self.step_s <= _FINE_S else None

    def to_frame(self) -> pd.DataFrame:
        """One row a cycle: UTC ``start`` and ``end``, ``on_s``, ``off_s``, ``complete``."""
        rows = [(c.start_ms, c.end_ms, c.on_s, c.off_s, c.is_complete) for c in self.cycles]
        frame = pd.DataFrame(rows, columns=["start", "end", "on_s", "off_s", "complete"])
        for name in ("start", "end"):
            frame[name] = pd.to_datetime(frame[name], unit="ms", utc=True)
        return frame


@once
def boiler_cycles(
    plant: Plant, boiler: Boiler, record: Record, span: Span, *, is_checked: bool = True
) -> BoilerCycles:
    """Cycles of a boiler from the best source there is, checked against the next one.

    Parameters
    ----------
    plant : Plant
        Where the boiler's channels are named and the local day is known.
    boiler : Boiler
        Which boiler.
    record : mapping of str to Readings
        What was measured.
    span : Span
        Time to look at.
    is_checked : bool
        Whether to look at a second source, over the last weeks of the span.
    """
    sources = sources_of(plant, boiler, record, span)
    best = next(sources, None)
    if best is None:
        none = no_summary("no channel shows the firing")
        return BoilerCycles(boiler.id, None, None, (), none, 0.0)
    if best.tells == "running":
        return _running(boiler, best, span)
    cycles = cycles_of(best)
    return BoilerCycles(
        boiler.id,
        best.method,
        best.channel,
        cycles,
        summarise_cycles(
            cycles, boiler, best.covered_h, timezone=plant.timezone, rules=plant.rules
        ),
        min(best.covered_h / span.hours, 1.0) if span.hours > 0 else 0.0,
        best.covered_h,
        best.step_s,
        best.levels,
        _check(plant, boiler, record, span, best=best) if is_checked else None,
        note=best.note,
        brief_share=_brief_share(plant, best),
    )


_BRIEF_STEPS = 1.5
_LEAST_BRIEF = 0.005


def _brief_share(plant: Plant, best: Firings) -> float | None:
    """Share of whole firings that are seen in one reading only."""
    channel = next(c for c in plant.channels if c.id == best.channel)
    whole = best.runs.opens & best.runs.closes
    if channel.reports == "change" or best.step_s > _FINE_S or not whole.any():
        return None
    length_s = (best.runs.end_ms - best.runs.start_ms)[whole] / SECOND_MS
    return float(np.mean(length_s < _BRIEF_STEPS * best.step_s))


def brief_words(share: float | None, step_s: float) -> str:
    """What a share of firings seen in one reading only means for their count; empty where none."""
    if share is None or share < _LEAST_BRIEF:
        return ""
    return (
        f"{share:.0%} of firings show in one reading only, {step_s:.0f} s apart: "
        "about as many as that may fall between readings and go unseen"
    )


def _running(boiler: Boiler, best: Firings, span: Span) -> BoilerCycles:
    """What can be said where single firings are not seen: hours of running."""
    pairs = zip(best.runs.start_ms.tolist(), best.runs.end_ms.tolist(), strict=True)
    running = tuple(Span(a, b) for a, b in pairs)
    on_h = sum(one.hours for one in running)
    return BoilerCycles(
        boiler.id,
        best.method,
        best.channel,
        (),
        summarise_running(on_h, best.covered_h, best.note),
        min(best.covered_h / span.hours, 1.0) if span.hours > 0 else 0.0,
        best.covered_h,
        best.step_s,
        tells="running",
        note=best.note,
        running=running,
    )


Finder = Callable[[Boiler, Readings, Channel, Span], Firings | None]

_FINE_S = 90.0
"""Sources that tell less often than this are taken only where there is no finer one."""


def _power(boiler: Boiler, readings: Readings, channel: Channel, span: Span) -> Firings | None:
    return firings_from_power(boiler, readings, channel=channel, span=span)


def _fuel(_boiler: Boiler, readings: Readings, channel: Channel, span: Span) -> Firings | None:
    return firings_from_fuel(readings, channel, span)


def _temperature(
    boiler: Boiler, readings: Readings, channel: Channel, span: Span
) -> Firings | None:
    if usual_step_ms(readings) >= COARSE_MS:
        return hours_from_temperature(readings, channel, span)
    return firings_from_temperature(readings, channel, span, modulates=boiler.condensing)


def sources_of(plant: Plant, boiler: Boiler, record: Record, span: Span) -> Iterator[Firings]:
    """Firings from every source, the best first: fine ones before coarse ones.

    Electric power shows every phase, a counter shows fuel itself, the flow
    temperature only what reaches the pipe. What cannot tell single firings
    comes last.
    """
    coarse: list[Firings] = []
    blind: list[Firings] = []
    for find, channels in (
        (_power, plant.select(boiler.id, "power")),
        (_fuel, plant.select(boiler.id, "fuel_volume")),
        (_temperature, plant.select(boiler.id, "temperature", "flow")),
    ):
        for channel in channels:
            readings = record.get(channel.id)
            if readings is None or len(readings) < 3:
                continue
            found = find(boiler, readings, channel, span)
            if found is None:
                continue
            if found.tells == "running":
                blind.append(found)
            elif found.step_s <= _FINE_S or channel.reports == "change":
                yield found
            else:
                coarse.append(found)
    yield from sorted(coarse, key=lambda f: f.step_s)
    yield from blind


def cycles_of(firings: Firings) -> tuple[Cycle, ...]:
    """Firings with the rests that follow them."""
    columns = (column.tolist() for column in firings.runs)
    return tuple(
        Cycle(
            start,
            end,
            (rest - end) / SECOND_MS if rest > end else None,
            opens and closes,
            opens,
        )
        for start, end, opens, closes, rest in zip(*columns, strict=True)
    )


_CHECK_MS = 28 * DAY_MS
_AGREE = 0.8
_TOLERANCE_MS = 180 * SECOND_MS


def _check(
    plant: Plant, boiler: Boiler, record: Record, span: Span, *, best: Firings
) -> CrossCheck | None:
    """Compare the last weeks of the best source with the next source of another kind."""
    late = Span(max(span.start_ms, span.end_ms - _CHECK_MS), span.end_ms)
    for other in sources_of(plant, boiler, record, late):
        if other.method == best.method or other.tells == "running":
            continue
        if not len(other.runs.start_ms):
            continue
        begin, end = int(other.runs.start_ms[0]), int(other.runs.end_ms[-1])
        start = best.runs.start_ms
        within = (start >= begin - _TOLERANCE_MS) & (start <= end)
        if within.sum() < 3:
            return None
        seen = _overlap(best, other, within)
        count, others = int(within.sum()), len(other.runs.start_ms)
        alike = abs(others - count) <= (1 - _AGREE) * max(count, others)
        agrees = seen >= _AGREE and alike
        return CrossCheck(other.method, other.channel, count, others, seen, agrees)
    return None


def _overlap(best: Firings, other: Firings, within: np.ndarray) -> float:
    """Share of firings of the one during which the other shows one too."""
    start = best.runs.start_ms[within] - _TOLERANCE_MS
    end = best.runs.end_ms[within] + _TOLERANCE_MS
    ended = np.searchsorted(other.runs.end_ms, start)
    begun = np.searchsorted(other.runs.start_ms, end)
    return float(np.mean(begun > ended))
