"""Electric energy of pumps and boilers, and the boilers' fuel, in a year and in money."""

import argparse
from typing import Any

from analysis.base.estimate import Estimate
from analysis.energy.costs import Costs, plant_costs
from analysis.energy.fuel_year import FuelYear
from analysis.energy.measured import EnergyUse
from dashboard.command_line.argument_types import NOT_NEGATIVE
from dashboard.command_line.command import (
    Asked,
    answer_each,
    asked_records,
    head,
    in_words,
    record_arguments,
    say,
    status,
)
from dashboard.parts import words


def arguments(parser: argparse.ArgumentParser) -> None:
    """Those of every analysis, and factors for emissions."""
    record_arguments(parser)
    parser.add_argument(
        "--co2-electricity",
        type=NOT_NEGATIVE,
        metavar="KG",
        help="kg of CO2 for a kWh of your electricity; without it no emissions are given",
    )
    parser.add_argument(
        "--co2-fuel", type=NOT_NEGATIVE, metavar="KG", help="kg of CO2 for a net kWh of your fuel"
    )


def run(arguments: argparse.Namespace) -> int:
    """Electric energy of every pump and boiler, and fuel."""
    found = asked_records(arguments)
    if arguments.json:
        answer_each([_document(a, arguments) for a in found])
        return status(found)
    for asked in found:
        say(f"{asked.plant.name}, {asked.span.days:.1f} days")
        _say_costs(plant_costs(asked.plant, asked.record, asked.span), arguments)
    return status(found)


def _document(asked: Asked, arguments: argparse.Namespace) -> dict[str, Any]:
    """All that the text tells; emissions stand beside the energy where factors are given."""
    costs = plant_costs(asked.plant, asked.record, asked.span)
    document = costs.document()
    for kind, uses in (("pumps", costs.pumps), ("boilers", costs.boilers)):
        for part, use in zip(document[kind], uses, strict=True):
            part.update(_emissions(use.per_year, arguments.co2_electricity))
    for part, fuel in zip(document["fuel"], costs.fuel, strict=True):
        if isinstance(fuel.year, FuelYear):
            part.update(_emissions(fuel.year.per_year, arguments.co2_fuel))
    return head(asked) | document | _emissions(costs.electricity, arguments.co2_electricity)


def _emissions(per_year: Estimate, factor: float | None) -> dict[str, Any]:
    return {} if factor is None else {"co2_per_year": _co2(per_year, factor).document()}


def _co2(per_year: Estimate, factor: float) -> Estimate:
    return per_year.times(factor, "kg", f"with {factor:g} kg a kWh as given")


def _say_costs(costs: Costs, arguments: argparse.Namespace) -> None:
    for use in (*costs.pumps, *costs.boilers):
        _say_energy(use)
        _say_co2(use.per_year, arguments.co2_electricity)
    say(
        f"  electricity in all: {in_words(costs.electricity)}; it costs "
        f"{_money(costs.electricity_cost)}"
    )
    say(f"  each plug's own use, not in these figures: {in_words(costs.plug_own_kwh)}")
    for fuel in costs.fuel:
        if isinstance(fuel.year, str):
            say(f"  {fuel.boiler} fuel: unknown, {fuel.year}")
            continue
        _say_fuel(fuel.year)
        _say_co2(fuel.year.per_year, arguments.co2_fuel)


def _say_energy(use: EnergyUse) -> None:
    if use.covered_hours == 0:
        say(f"  {use.subject}: not measured")
        return
    say(
        f"  {use.subject}: {use.measured_kwh:.2f} kWh measured over {use.covered_hours:.1f} h "
        f"({use.coverage:.0%} of the time), {use.mean_power_w or 0:.1f} W on average"
    )
    say(f"    a year: {in_words(use.per_year)}; it costs {_money(use.cost_per_year)}")


def _say_fuel(fuel: FuelYear) -> None:
    say(
        f"  {fuel.boiler} fuel: {fuel.measured_kwh:.0f} kWh net measured on {fuel.measured_days} "
        f"days, from the {fuel.source} ({fuel.channel})"
    )
    say(f"    a year: {in_words(fuel.per_year)}; it costs {in_words(fuel.cost_per_year)}")
    heating, signature = fuel.heating, fuel.signature
    if heating is None or signature is None:
        say(f"    no signature: {fuel.why_no_signature}")
        return
    limit = heating.limit_c.value
    change = f", none of it above {signature.change_c:.1f} °C" if signature.change_c else ""
    if limit is not None:
        change = f", heating shut off above {limit:.1f} °C ({heating.limit_c.basis})"
    say(
        f"    each kelvin colder adds {signature.slope:.1f} kWh a day{change}; "
        f"{signature.base_use:.1f} kWh a day on warm days (R2 {signature.r_squared:.2f})"
    )
    say(f"    coldest usual day: {_rough(fuel.design_kw)}; boiler size {_rough(fuel.oversize)}")


def _money(cost: Estimate) -> str:
    """A cost with its interval; what it rests on stands with its energy."""
    return words.estimate(cost.document())


def _rough(estimate: Estimate) -> str:
    if estimate.value is None or estimate.low is None or estimate.high is None:
        return f"unknown, {estimate.reason}"
    unit = "times" if estimate.unit == "1" else estimate.unit
    return f"{estimate.value:.1f} {unit} ({estimate.low:.1f} to {estimate.high:.1f})"


def _say_co2(per_year: Estimate, factor: float | None) -> None:
    if factor is not None:
        say(f"    CO2 a year: {in_words(_co2(per_year, factor))}")
