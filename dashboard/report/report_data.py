"""What a report is made of: readings analysed as the commands do, and what the journal keeps."""

from dataclasses import dataclass
from typing import Any

from analysis.energy.measured import EnergyUse, energy_use
from analysis.exchange.commissioning import CommissioningReport
from analysis.faults.registry import examine
from analysis.firing.burner_cycles import BoilerCycles, boiler_cycles
from analysis.plant.exchanges import KnownSwap
from analysis.plant.finding import Health
from analysis.readings.situation import Situation
from analysis.savings.result import Saving
from analysis.savings.saving import saving_of
from collector.journal.journal import Entry
from dashboard.command_line.command import Asked
from dashboard.parts.words import moment
from dashboard.report.blocks import Picture


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
