"""Everything about every boiler: starts, firings, condition, service, fuel, findings."""

import argparse
from contextlib import closing
from typing import Any

from analysis.base.time import format_rfc3339
from analysis.energy.costs import FuelPicture, fuel_picture
from analysis.energy.fuel_year import FuelYear
from analysis.faults.registry import examine, grouped
from analysis.firing.burner_cycles import brief_words
from analysis.plant.finding import Health
from analysis.readings.situation import Situation
from analysis.reports.boiler import BoilerReport, Part, boiler_report
from analysis.reports.service_due import Deed
from collector.installation.site import journal_to_read
from collector.journal.journal import Journal
from dashboard.command_line.command import (
    Asked,
    answer_each,
    asked_records,
    head,
    in_words,
    record_arguments,
    say,
    settings_of,
    status,
)
from dashboard.parts.words import count


def arguments(parser: argparse.ArgumentParser) -> None:
    """Those of every analysis."""
    record_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Report on every boiler of every plant."""
    found = asked_records(arguments)
    told = [(asked, _reports(asked, arguments), _health(asked)) for asked in found]
    if arguments.json:
        answer_each([_document(*one) for one in told])
        return status(found)
    for asked, reports, health in told:
        say(f"{asked.plant.name}, {asked.span.days:.1f} days")
        for report in reports:
            _say(asked, report)
        for finding in health.findings:
            say(f"  finding: {finding.fault} of {finding.subject}, see 'stokehold health'")
        for unknown in health.cannot_judge:
            say(f"  cannot judge {unknown.fault} of {unknown.subject}: needs {unknown.needs}")
    return status(found)


def _reports(asked: Asked, arguments: argparse.Namespace) -> list[BoilerReport]:
    plant = asked.plant
    if arguments.log is not None:
        entries: list[tuple[str, Deed]] = []
    else:
        with closing(journal_to_read(settings_of(arguments))) as journal:
            entries = deeds_of(journal, plant.key)
    return [
        boiler_report(
            plant,
            boiler,
            asked.record,
            span=asked.span,
            deeds=[deed for subject, deed in entries if subject in (boiler.id, "plant")],
        )
        for boiler in plant.boilers
    ]


def deeds_of(journal: Journal, plant: str) -> list[tuple[str, Deed]]:
    """Logbook entries of a plant with their subjects."""
    return [(e.subject, Deed(e.time_ms, e.kind, e.words)) for e in journal.logbook(plant)]


def _health(asked: Asked) -> Health:
    situation = Situation(plant=asked.plant, record=asked.record, span=asked.span)
    return examine(situation, grouped("boiler"))


def _document(asked: Asked, reports: list[BoilerReport], health: Health) -> dict[str, Any]:
    boilers = [
        report.document()
        | {
            "fuel": fuel_picture(
                asked.plant, report.fired.boiler.id, asked.record, asked.span
            ).document()
        }
        for report in reports
    ]
    return head(asked) | {"boilers": boilers} | health.document()


def _fuel(asked: Asked, boiler: str) -> FuelPicture:
    return fuel_picture(asked.plant, boiler, asked.record, asked.span)


def _say(asked: Asked, report: BoilerReport) -> None:
    found = report.fired.found
    if found.method is None:
        say(f"  {found.boiler}: cannot be judged, {found.summary.short_cycling.why}")
        return
    if found.tells == "running":
        _say_running(report)
        return
    say(f"  {found.boiler}: firings seen in {found.channel} ({found.method})")
    if found.note:
        say(f"    {found.note}")
    if words := brief_words(found.brief_share, found.step_s):
        say(f"    {words}")
    if found.check:
        say(f"    second source: {found.check.words}")
    for level in found.levels:
        say(f"    level {level.name}: {level.power_w:.1f} W, {level.share:.1%} of the time")
    _say_part("heating", report.heating)
    _say_part("charging the store", report.charging)
    say(f"    starts a year: {in_words(report.per_year)}")
    for cell in report.by_outdoor:
        say(
            f"      {cell.from_c:5.0f} to {cell.to_c:3.0f} °C outdoors: {cell.per_day:5.0f} "
            f"starts a day ({cell.low:.0f} to {cell.high:.0f}, {count(cell.days, 'day')})"
        )
    judged = found.summary.short_cycling
    say(f"    short cycling by rule of thumb: {_yes(judged.is_short)}; {judged.why}")
    for cause in report.causes[:3]:
        say(f"      may be: {cause}")
    _say_condition(report)
    _say_fuel(asked, found.boiler)


def _say_running(report: BoilerReport) -> None:
    """What is told of a boiler whose single firings are not seen."""
    found = report.fired.found
    s = found.summary
    say(f"  {found.boiler}: runs seen in {found.channel} ({found.method})")
    say(f"    {s.on_hours:.0f} h running, {s.duty or 0:.0%} of the {found.covered_h:.0f} h seen")
    say(f"    {found.note}")
    _say_heat(report)


def _say_heat(report: BoilerReport) -> None:
    heat = report.heat
    if isinstance(heat, str):
        say(f"    heat: unknown, {heat}")
        return
    say(f"    heat past {heat.channel}: {in_words(heat.total)}; {heat.note}")
    if heat.kwh_per_m3k is not None:
        say(
            f"      {heat.volume_m3:.0f} m3 and {heat.volume_kelvin:.0f} m3·K in "
            f"{heat.covered_h:.0f} h: {heat.kwh_per_m3k:.3f} kWh a m3·K"
        )
    say(f"      heat over fuel: {in_words(report.efficiency.times(100.0, '%'))}")


def _say_part(name: str, part: Part) -> None:
    if not part.starts:
        return
    often = (
        "" if part.per_demand_hour is None else f", {part.per_demand_hour:.1f} an hour of demand"
    )
    say(
        f"    {name}: {part.starts} firings, {part.starts_per_day or 0:.1f} a day{often}, "
        f"{part.on_hours:.1f} h, median {in_words(part.median_on_min)}"
    )


def _say_condition(report: BoilerReport) -> None:
    if report.fired.boiler.condensing:
        share = report.condensing.times(100.0, "%")
        say(f"    condensing share of firing time: {in_words(share)}")
    say(f"    cooling at rest: {in_words(report.standing.times(100.0, '%/h'))}")
    for one in report.stores:
        say(f"    standing loss of {one.store}: {in_words(one.standing_loss)}")
        hygiene = f"; {one.hygiene}" if one.hygiene else ""
        say(f"    warmest hour of a day in {one.store}: {in_words(one.warmest_hour)}{hygiene}")
    _say_heat(report)
    say(f"    {report.heat_up_note}")
    service = report.service
    due = "" if service.due_ms is None else f", next by {format_rfc3339(service.due_ms)[:10]}"
    say(f"    service due: {_yes(service.is_due)}{due}; {service.why}")
    for effect in service.effects:
        say(
            f"      {effect.what}: {in_words(effect.before)} before, "
            f"{in_words(effect.after)} after; {effect.says}"
        )


def _say_fuel(asked: Asked, boiler: str) -> None:
    year = _fuel(asked, boiler).year
    if isinstance(year, FuelYear):
        say(f"    fuel a year: {in_words(year.per_year)}")
    else:
        say(f"    fuel a year: unknown, {year}")


def _yes(value: bool | None) -> str:  # noqa: FBT001  # a word for a truth value
    return {True: "yes", False: "no", None: "cannot be said"}[value]
