"""How each pump is set, whether that suits its place, and what to try for a week."""

import argparse

from analysis.base.estimate import Estimate
from analysis.base.time import format_rfc3339
from analysis.pump.mode_advice import PumpMode, pump_mode
from analysis.pump.night_reduction import NightHabit
from dashboard.command_line.command import (
    Asked,
    answer_each,
    asked_records,
    head,
    record_arguments,
    say,
    status,
)
from dashboard.parts.words import likelihood


def arguments(parser: argparse.ArgumentParser) -> None:
    """Those of every analysis."""
    record_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Setting, night reduction, place and strength of every pump."""
    found = asked_records(arguments)
    told = [(asked, _modes(asked)) for asked in found]
    if arguments.json:
        answer_each([head(a) | {"pumps": [m.document() for m in modes]} for a, modes in told])
        return status(found)
    for asked, modes in told:
        say(f"{asked.plant.name}, {asked.span.days:.1f} days")
        for mode in modes:
            _say_mode(mode)
    return status(found)


def _modes(asked: Asked) -> list[PumpMode]:
    plant = asked.plant
    return [pump_mode(plant, p, asked.record, asked.span) for p in plant.pumps]


def _say_mode(mode: PumpMode) -> None:
    control = mode.control
    if control.behaviour is None:
        say(f"  {mode.pump.id}: setting unknown, {control.why}")
    else:
        say(f"  {mode.pump.id}: {control.behaviour}, {likelihood(control.confidence)}")
        say(f"    {control.why}")
    for step in mode.changes:
        say(
            f"    setting changed {format_rfc3339(step.time_ms)}: "
            f"{step.before_w:.1f} to {step.after_w:.1f} W"
        )
    _say_night(mode.night)
    say(f"    place: {mode.place.words}")
    strength = mode.strength
    say(f"    strength: {strength.verdict}; flow less return {_kelvin(strength.difference)}")
    for words, part in (("cold", strength.cold), ("mild", strength.mild)):
        if part.value is not None:
            say(f"      in {words} weather {_kelvin(part)}")
    for advice in mode.advice:
        say(f"    try for a week: {advice.what}, because {advice.because}")
        say(f"      watch: {'; '.join(advice.watch)}")
        say(f"      {advice.document()['caution']}")


def _say_night(night: NightHabit | None) -> None:
    if night is None:
        return
    if not night.reductions:
        say(f"    night reduction: {night.kind} ({night.chances} falls of the flow would do)")
        return
    say(
        f"    night reduction: {night.kind}; {night.by_night_h:.1f} h a day by night, "
        f"{night.by_day_h:.1f} h by day"
    )


def _kelvin(estimate: Estimate) -> str:
    """A temperature difference as a person reads it."""
    if estimate.value is None or estimate.low is None or estimate.high is None:
        return f"unknown, {estimate.reason}"
    return f"{estimate.value:.1f} K ({estimate.low:.1f} to {estimate.high:.1f})"
