"""Which class of pump a circuit needs, and whether it pays."""

import argparse

from analysis.base.estimate import Estimate
from analysis.energy.design_load import design_heat_kw, spread_k
from analysis.energy.measured import energy_use
from analysis.energy.pump_days import pump_days
from analysis.exchange.pump_choice import Choice, Need, Use, choose, plate_year
from analysis.plant.plant import Pump, PumpPlate
from analysis.savings.claim import YEAR_HOURS
from collector.errors import FormError
from dashboard.command_line.argument_types import HOURS_A_YEAR, POSITIVE, number
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
from dashboard.commands.saving import money_arguments, terms_of
from dashboard.parts.words import years

_COST_WITHIN = 0.15
"""An offer by telephone is held to lie within so much of what it will be (our own setting)."""


def arguments(parser: argparse.ArgumentParser) -> None:
    """Those of every analysis; the circuit's figures; the money."""
    record_arguments(parser)
    parser.add_argument("--pump", default="heating", metavar="ID", help="pump to replace (heating)")
    parser.add_argument(
        "--heat-kw", type=POSITIVE, metavar="KW", help="heat need, where it was not measured"
    )
    parser.add_argument(
        "--spread-k", type=POSITIVE, metavar="K", help="flow less return, where it was not measured"
    )
    parser.add_argument(
        "--loop-m",
        type=POSITIVE,
        default=50.0,
        metavar="M",
        help="length of the longest loop, there and back (50)",
    )
    parser.add_argument(
        "--design-c",
        type=number(-60, 30),
        default=-10.0,
        metavar="C",
        help="outdoor temperature of the coldest day (-10)",
    )
    parser.add_argument("--floor", action="store_true", help="the circuit heats floors")
    parser.add_argument(
        "--hours", type=HOURS_A_YEAR, metavar="H", help="hours that the pump runs in a year"
    )
    money_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Choose a class of pump for each plant asked."""
    found = asked_records(arguments)
    chosen = [(a, _choice(a, arguments)) for a in found]
    if arguments.json:
        answer_each([head(a) | {"pump": arguments.pump} | c.document() for a, c in chosen])
        return status(found)
    for asked, choice in chosen:
        say(f"{asked.plant.name}, pump {arguments.pump}")
        _say_choice(choice, asked.plant.tariff.currency)
    return status(found)


def _choice(asked: Asked, arguments: argparse.Namespace) -> Choice:
    pump = next((p for p in asked.plant.pumps if p.id == arguments.pump), None)
    if pump is None:
        names = ", ".join(p.id for p in asked.plant.pumps) or "none"
        raise FormError([f"--pump: {arguments.pump!r} is not in the plant file; it has {names}"])
    return choose(
        pump,
        _need(asked, pump, arguments),
        _use(asked, pump, arguments),
        tariff=asked.plant.tariff,
        terms=terms_of(arguments, within=_COST_WITHIN),
    )


def _need(asked: Asked, pump: Pump, arguments: argparse.Namespace) -> Need:
    given = arguments.heat_kw
    heat = (
        design_heat_kw(asked.plant, asked.record, asked.span, arguments.design_c)
        if given is None
        else Estimate(given, 0.9 * given, 1.1 * given, "kW", "as given, within a tenth")
    )
    spread = spread_k(asked.plant, pump, asked.record, asked.span)
    if arguments.spread_k is not None:
        spread = (arguments.spread_k, arguments.spread_k)
    usual = (5.0, 8.0) if arguments.floor else (10.0, 20.0)
    return Need(
        heat_kw=heat,
        spread_k=usual if spread is None else spread,
        loop_m=arguments.loop_m,
        heats_floor=arguments.floor,
    )


def _use(asked: Asked, pump: Pump, arguments: argparse.Namespace) -> Use:
    """The old pump's year as measured, else from its plate; its hours from its running power."""
    use = energy_use(asked.plant, pump, asked.record, asked.span)
    hours = _hours(asked, pump, use.per_year, arguments.hours)
    if use.per_year.value is not None and arguments.hours is None:
        return Use(old=use.per_year, hours=hours)
    plate = PumpPlate(drive=pump.drive, rated_power_w=pump.rated_power_w)
    return Use(old=plate_year(plate, hours), hours=hours)


def _hours(asked: Asked, pump: Pump, year: Estimate, given: float | None) -> Estimate:
    if given is not None:
        return Estimate(given, 0.9 * given, 1.1 * given, "h", "as given, within a tenth")
    if pump.always_on:
        return Estimate(YEAR_HOURS, YEAR_HOURS, YEAR_HOURS, "h", "always on")
    watts = pump_days(asked.plant, pump, asked.record, asked.span).mean_running_w
    if year.value is not None and watts > 0:
        hours = year.times(1000.0 / watts, "h", "energy of the year over running power")
        return hours if (hours.high or 0) <= YEAR_HOURS else _within_a_year(hours)
    return Estimate(5000.0, 3000.0, 6500.0, "h", "stipulated, usual for heating (from memory)")


def _within_a_year(hours: Estimate) -> Estimate:
    value, low = (min(end or 0.0, YEAR_HOURS) for end in (hours.value, hours.low))
    return Estimate(value, low, YEAR_HOURS, "h", hours.basis)


def _say_choice(choice: Choice, currency: str) -> None:
    need = choice.need
    for words, figure in (("heat", need.heat_kw), ("flow", need.flow_m3h), ("head", need.head_m)):
        known = figure.value is not None
        said = (
            f"{figure.value:.2f} {figure.unit} ({figure.low:.2f} to {figure.high:.2f})"
            if known
            else f"unknown, {figure.reason}"
        )
        say(f"  {words}: {said}")
    size = (
        "none of the small ones" if choice.head_class is None else f"{choice.head_class.head_m} m"
    )
    thread = "" if choice.thread is None else f", thread {choice.thread.thread}"
    lengths = " or ".join(str(mm) for mm in choice.length_mm)
    say(f"  class: electronic, head class {size}{thread}, {lengths} mm, set to {choice.mode}")
    say(f"  it would use a year: {in_words(choice.new)}")
    say(f"  and save: {in_words(choice.saving)}; {in_words(choice.gain)}")
    if choice.terms is not None:
        money = choice.terms.document(choice.gain)["payback_years"]
        when = years(money["low"], money["high"])
        say(f"  pays back {when}; it costs {choice.terms.annuity():.0f} {currency} a year")
    for name, saving in choice.what_if.items():
        say(f"  what if {name}: saves {in_words(saving)}")
    for why in choice.reasons_not:
        say(f"  against it: {why}")
    for caution in choice.cautions:
        say(f"  caution: {caution}")
