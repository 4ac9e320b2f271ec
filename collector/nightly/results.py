"""What is worked out once a night from the whole history: the table of results."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any, NamedTuple, Self

from analysis.base.time import DAY_MS, Span
from analysis.energy.costs import plant_costs
from analysis.exchange.commissioning import newest_reports
from analysis.faults.data_quality import departed_channels
from analysis.faults.pump_state.pump_watch import learn, learning_span
from analysis.firing.burner_cycles import boiler_cycles
from analysis.firing.by_power import firing_threshold_w
from analysis.plant.installed_pump import placed_pumps
from analysis.plant.plant import Plant
from analysis.pump.mode_advice import pump_mode
from analysis.readings.plant_minutes import PlantMinutes
from analysis.readings.power_levels import RunState, pump_state
from analysis.readings.situation import Situation
from analysis.readings.usual_silence import switched_pumps, usual_silences
from analysis.readings.worked_once import KeptRecord, kept, kept_part
from analysis.reports.boiler import boiler_report
from analysis.reports.service_due import Deed
from analysis.savings.burner_starts import cyclings
from analysis.savings.saving import saving_of
from collector.installation.site import Site
from collector.journal.exchanges import known_swaps, swap_book
from collector.store.protocol import StoreRecord, plant_extent


@dataclass(frozen=True, slots=True)
class Night:
    """A plant and its whole history, each channel read once and each thing worked out once.

    `recent` and `month` are the last thirty days of `record` and `span`: what is worked out of
    them costs the same however long the history is.
    """

    site: Site
    plant: Plant
    record: KeptRecord
    span: Span
    recent: KeptRecord
    month: Span
    now_ms: int

    @classmethod
    def of(cls, site: Site, plant: Plant, now_ms: int) -> Self | None:
        """The night of a plant, None before its first reading.

        A clock that was ahead may have left some readings of the future; they are left out.
        """
        whole = plant_extent(site.store, plant)
        if whole is None or whole.start_ms >= now_ms:
            return None
        span = Span(whole.start_ms, min(whole.end_ms, now_ms))
        month = Span(max(span.start_ms, span.end_ms - 30 * DAY_MS), span.end_ms)
        record = kept(StoreRecord(site.store, plant, span))
        # One more, as a span's last moment is not within it.
        part = Span(month.start_ms, month.end_ms + 1)
        recent = record if month == span else kept_part(record, part)
        return cls(site, plant, record, span, recent, month, now_ms)

    @property
    def situation(self) -> Situation:
        """What the judges of days and weeks get to see."""
        return Situation(plant=self.plant, record=self.record, span=self.span)


class Result(NamedTuple):
    """One row: the name pages know it by, and what makes its document."""

    name: str
    make: Callable[[Night], Any]


def _states(night: Night) -> Iterator[tuple[str, RunState]]:
    """What parts running from rest of each pump that is in place, over the last month."""
    for pump in night.plant.pumps:
        placed = placed_pumps(night.plant, pump, night.month)[-1]
        state = pump_state(night.plant, placed.pump, night.recent, placed.span)
        if state is not None:
            yield pump.id, state


def normal_powers(night: Night) -> dict[str, float]:
    """Usual power of each pump while it runs [W]."""
    return {pump: state.usual_w for pump, state in _states(night) if state.usual_w is not None}


def running_powers(night: Night) -> dict[str, float]:
    """Power above which each pump runs, where its power tells [W]."""
    return {pump: state.above_w for pump, state in _states(night) if state.is_told}


def learned_usual(night: Night) -> dict[str, Any]:
    """What is usual for the plant's machines, for the watch by the minute."""
    span = learning_span(night.span)
    learned = learn(PlantMinutes.over(night.plant, night.recent, span))
    heard = {c.id: night.recent[c.id].within(span) for c in night.plant.channels}
    silent_ms, switched = usual_silences(heard, span), switched_pumps(night.plant, heard, span)
    return replace(learned, silent_ms=silent_ms, switched=switched).document()


def firing_powers(night: Night) -> dict[str, float]:
    """Electric power above which each boiler fires, learned over the last month [W]."""
    found = {}
    for boiler in night.plant.boilers:
        if channel := night.plant.first(boiler.id, "power"):
            readings = night.recent[channel.id]
            on_w = firing_threshold_w(boiler, readings, channel=channel, span=night.month)
            if on_w is not None:
                found[boiler.id] = on_w
    return found


def costs(night: Night) -> dict[str, Any]:
    """Electricity and fuel in a year and in money, with the signature's picture."""
    return plant_costs(night.plant, night.record, night.span).document()


def cycles(night: Night) -> list[dict[str, Any]]:
    """Burner cycles of the last month."""
    plant = night.plant
    return [boiler_cycles(plant, b, night.recent, night.month).document() for b in plant.boilers]


def boilers(night: Night) -> list[dict[str, Any]]:
    """Firings, starts, condition and service of every boiler."""
    plant = night.plant
    entries = night.site.journal.logbook(plant.key)
    return [
        boiler_report(
            plant,
            boiler,
            night.record,
            span=night.span,
            deeds=[
                Deed(e.time_ms, e.kind, e.words)
                for e in entries
                if e.subject in (boiler.id, "plant")
            ],
        ).document()
        for boiler in plant.boilers
    ]


def savings(night: Night) -> list[dict[str, Any]]:
    """Saving of every swap, from the whole history."""
    plant, record, span = night.plant, night.record, night.span
    return [
        saving_of(plant, swap, record, span=span).document()
        | {"cycling": [one.document() for one in cyclings(plant, swap, record, span=span)]}
        for swap in plant.swaps
    ]


def commissioning_reports(night: Night) -> list[dict[str, Any]]:
    """Reports a day, a week and a month after each pump's newest swap, as they fall due."""
    known = known_swaps(swap_book(night.site.settings, night.site.journal), night.plant)
    reports = newest_reports(night.plant, known, night.record, night.span.end_ms)
    return [report.document() for report in reports]


def modes(night: Night) -> list[dict[str, Any]]:
    """How each pump is set and whether that suits it, over the last month."""
    plant = night.plant
    return [pump_mode(plant, p, night.recent, night.month).document() for p in plant.pumps]


def departures(night: Night) -> list[dict[str, Any]]:
    """Flow and current of pumps that left what they had been over the last month."""
    found = departed_channels(night.plant, night.recent, night.month)
    return [problem.document() for problem in found]


RESULTS: tuple[Result, ...] = (
    Result("normal_w", normal_powers),
    Result("runs_above_w", running_powers),
    Result("learned", learned_usual),
    Result("firing_w", firing_powers),
    Result("costs", costs),
    Result("cycles", cycles),
    Result("boilers", boilers),
    Result("mode", modes),
    Result("departures", departures),
    Result("saving", savings),
    Result("commissioning", commissioning_reports),
)
