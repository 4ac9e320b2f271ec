"""Electric energy of pumps and boilers."""

import argparse
from typing import Any

from analysis.energy import EnergyUse, energy_use
from dashboard.command import (
    Asked,
    answer_each,
    asked_records,
    head,
    in_words,
    record_arguments,
    say,
    status,
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Those of every analysis."""
    record_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Electric energy of every pump and boiler."""
    found = asked_records(arguments)
    if arguments.json:
        answer_each([_energy_document(a) for a in found])
        return status(found)
    for asked in found:
        say(f"{asked.plant.name}, {asked.span.days:.1f} days")
        for machine in asked.plant.machines:
            _say_energy(energy_use(asked.plant, machine, asked.record, asked.span))
    return status(found)


def _energy_document(asked: Asked) -> dict[str, Any]:
    plant, record, span = asked.plant, asked.record, asked.span
    return head(asked) | {
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
