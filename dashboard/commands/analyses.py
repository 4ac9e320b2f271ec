"""One analysis each, over the store or straight from a log: cycles, energy, health."""

import argparse
from typing import Any

from analysis.cycles import BoilerCycles, boiler_cycles
from analysis.energy import EnergyUse, energy_use
from analysis.estimate import Estimate
from analysis.faults import FAULTS, examine
from analysis.finding import Finding
from analysis.timebase import format_rfc3339
from analysis.watch import Situation
from dashboard.command import (
    DONE,
    TOLD,
    Asked,
    Command,
    answer_each,
    asked_records,
    record_arguments,
    say,
)


def _head(asked: Asked) -> dict[str, Any]:
    return {
        "plant": asked.plant.name,
        "from": format_rfc3339(asked.span.start_ms),
        "to": format_rfc3339(asked.span.end_ms),
    }


def _status(found: list[Asked]) -> int:
    return TOLD if any(a.had_bad_rows for a in found) else DONE


# cycles


def run_cycles(arguments: argparse.Namespace) -> int:
    """Burner cycles of every boiler."""
    found = asked_records(arguments)
    results = [
        (a, [boiler_cycles(a.plant, b, a.record, a.span) for b in a.plant.boilers]) for a in found
    ]
    if arguments.json:
        answer_each([_head(a) | {"boilers": [b.document() for b in bs]} for a, bs in results])
    else:
        for asked, boilers in results:
            say(f"{asked.plant.name}, {asked.span.days:.1f} days")
            for boiler in boilers:
                _say_cycles(boiler)
    return _status(found)


def _say_cycles(boiler: BoilerCycles) -> None:
    s = boiler.summary
    if boiler.method is None:
        say(f"  {boiler.boiler}: cannot be judged, {s.short_cycling.why}")
        return
    say(f"  {boiler.boiler}: {s.starts} firings seen in {boiler.channel} ({boiler.method})")
    say(
        f"    {s.starts_per_day or 0:.1f} starts a day, {s.on_hours:.1f} h firing, "
        f"median {_minutes(s.median_on_s)} on and {_minutes(s.median_off_s)} off, "
        f"{boiler.coverage:.0%} of the time covered"
    )
    word = {True: "yes", False: "no", None: "cannot be said"}[s.short_cycling.is_short]
    say(f"    short cycling: {word}; {s.short_cycling.why}")


def _minutes(seconds: float | None) -> str:
    return "unknown" if seconds is None else f"{seconds / 60:.1f} min"


# energy


def run_energy(arguments: argparse.Namespace) -> int:
    """Electric energy of every pump and boiler."""
    found = asked_records(arguments)
    if arguments.json:
        answer_each([_energy_document(a) for a in found])
        return _status(found)
    for asked in found:
        say(f"{asked.plant.name}, {asked.span.days:.1f} days")
        for machine in asked.plant.machines:
            _say_energy(energy_use(asked.plant, machine, asked.record, asked.span))
    return _status(found)


def _energy_document(asked: Asked) -> dict[str, Any]:
    plant, record, span = asked.plant, asked.record, asked.span
    return _head(asked) | {
        "pumps": [energy_use(plant, p, record, span).document("pump") for p in plant.pumps],
        "boilers": [energy_use(plant, b, record, span).document("boiler") for b in plant.boilers],
    }


def _say_energy(use: EnergyUse) -> None:
    if use.covered_hours == 0:
        say(f"  {use.subject}: not measured")
        return
    say(
        f"  {use.subject}: {use.measured_kwh:.2f} kWh measured over {use.covered_hours:.1f} h "
        f"({use.coverage:.0%} of the time), {use.mean_power_w or 0:.1f} W on average"
    )
    say(f"    a year: {in_words(use.per_year)}; {in_words(use.cost_per_year)}")


def in_words(estimate: Estimate) -> str:
    """An estimate as a person reads it."""
    if estimate.value is None or estimate.low is None or estimate.high is None:
        return f"unknown, {estimate.reason}"
    unit = estimate.unit.replace(".", "")
    return (
        f"{estimate.value:.0f} {unit} ({estimate.low:.0f} to {estimate.high:.0f}, {estimate.basis})"
    )


# health


def health_arguments(parser: argparse.ArgumentParser) -> None:
    """Those of every analysis, and whether a finding sets the exit status."""
    record_arguments(parser)
    parser.add_argument(
        "--fail-on-finding", action="store_true", help="exit with status 1 if there is a finding"
    )


def run_health(arguments: argparse.Namespace) -> int:
    """Everything that is or was wrong."""
    found = asked_records(arguments)
    results = [(a, examine(Situation(plant=a.plant, record=a.record, span=a.span))) for a in found]
    if arguments.json:
        answer_each([_head(a) | health.document() for a, health in results])
    else:
        for asked, health in results:
            say(f"{asked.plant.name}, {asked.span.days:.1f} days, {len(health.findings)} findings")
            for finding in health.findings:
                _say_finding(finding)
            for unknown in health.cannot_judge:
                say(f"  cannot judge {unknown.fault} of {unknown.subject}: needs {unknown.needs}")
    any_finding = any(health.findings for _, health in results)
    return TOLD if arguments.fail_on_finding and any_finding else _status(found)


def _say_finding(finding: Finding) -> None:
    fault = FAULTS[finding.fault]
    until = "still" if finding.end_ms is None else f"to {format_rfc3339(finding.end_ms)}"
    say(f"  [{finding.urgency}] {finding.subject}: {fault.title}")
    say(f"    from {format_rfc3339(finding.start_ms)} {until}, sure to {finding.confidence:.0%}")
    for sign in finding.evidence:
        value = "unknown" if sign.value is None else f"{sign.value:.4g} {sign.unit}"
        say(f"    {sign.channel}: {sign.what} {value}, expected {sign.expected}")
    say(f"    may be: {', '.join(finding.possible)}")
    say(f"    check first: {finding.first_check}")
    say(f"    who: {finding.who}")
    say(f"    caution: {fault.caution}")


COMMANDS = (
    Command("cycles", "burner cycles of every boiler", record_arguments, run_cycles),
    Command("energy", "electric energy of pumps and boilers", record_arguments, run_energy),
    Command("health", "what is or was wrong", health_arguments, run_health),
)
