"""What a report is made of: readings analysed as the commands do, and what the journal keeps."""

from dataclasses import dataclass
from typing import Any

from analysis.commissioning import CommissioningReport
from analysis.cycles import BoilerCycles, boiler_cycles
from analysis.energy import EnergyUse, energy_use
from analysis.faults import examine
from analysis.finding import Health
from analysis.saving import saving_of
from analysis.saving_result import Saving
from analysis.swaps import KnownSwap
from analysis.watch import Situation
from collector.journal import Entry
from dashboard.command import Asked
from dashboard.report.blocks import Picture
from dashboard.words import moment


@dataclass(frozen=True, slots=True, kw_only=True)
class Matter:
    """Everything a report is made of, gathered once.

    `trials` holds the last trial's document of each pump, `photos` the
    pictures of the swaps' records, by pump.
    """

    asked: Asked
    health: Health
    energy: tuple[EnergyUse, ...]
    cycles: tuple[BoilerCycles, ...]
    swaps: tuple[KnownSwap, ...]
    savings: tuple[Saving, ...]
    fitted: tuple[CommissioningReport, ...]
    trials: dict[str, Any]
    entries: tuple[Entry, ...]
    photos: dict[str, tuple[Picture, ...]]
    now_ms: int

    def when(self, time_ms: int) -> str:
        """A moment by the plant's clock."""
        return moment(time_ms, self.asked.plant.timezone, self.now_ms)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What comes from the journal rather than from readings."""

    swaps: tuple[KnownSwap, ...] = ()
    fitted: tuple[CommissioningReport, ...] = ()
    trials: dict[str, Any]
    entries: tuple[Entry, ...] = ()
    photos: dict[str, tuple[Picture, ...]]


def gather(asked: Asked, kept: Kept, now_ms: int) -> Matter:
    """Run the analyses over a plant's readings."""
    plant, record, span = asked.plant, asked.record, asked.span
    return Matter(
        asked=asked,
        health=examine(Situation(plant=plant, record=record, span=span)),
        energy=tuple(energy_use(plant, m, record, span) for m in plant.machines),
        cycles=tuple(boiler_cycles(plant, b, record, span) for b in plant.boilers),
        swaps=kept.swaps,
        savings=tuple(saving_of(plant, s.swap, record, span=span) for s in kept.swaps),
        fitted=kept.fitted,
        trials=kept.trials,
        entries=kept.entries,
        photos=kept.photos,
        now_ms=now_ms,
    )
