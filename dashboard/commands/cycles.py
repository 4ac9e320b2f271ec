"""Burner cycles of every boiler."""

import argparse

from analysis.firing.burner_cycles import BoilerCycles, boiler_cycles, brief_words
from dashboard.command_line.command import (
    answer_each,
    asked_records,
    head,
    record_arguments,
    say,
    status,
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Those of every analysis."""
    record_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Burner cycles of every boiler."""
    found = asked_records(arguments)
    results = [
        (a, [boiler_cycles(a.plant, b, a.record, a.span) for b in a.plant.boilers]) for a in found
    ]
    if arguments.json:
        answer_each([head(a) | {"boilers": [b.document() for b in bs]} for a, bs in results])
    else:
        for asked, boilers in results:
            say(f"{asked.plant.name}, {asked.span.days:.1f} days")
            for boiler in boilers:
                _say_cycles(boiler)
    return status(found)


def _say_cycles(boiler: BoilerCycles) -> None:
    s = boiler.summary
    if boiler.method is None:
        say(f"  {boiler.boiler}: cannot be judged, {s.short_cycling.why}")
        return
    if boiler.tells == "running":
        say(f"  {boiler.boiler}: runs seen in {boiler.channel} ({boiler.method})")
        say(f"    {s.on_hours:.1f} h running, {s.duty or 0:.0%} of {boiler.covered_h:.0f} h seen")
        say(f"    {boiler.note}")
        return
    beside = f", and {s.incomplete} that touch a gap and are left out" if s.incomplete else ""
    say(f"  {boiler.boiler}: {s.starts} firings seen in {boiler.channel} ({boiler.method}){beside}")
    say(
        f"    {s.starts_per_day or 0:.1f} starts a day, {s.on_hours:.1f} h firing, "
        f"median {_minutes(s.median_on_s)} on and {_minutes(s.median_off_s)} off, "
        f"{boiler.coverage:.0%} of the time covered"
    )
    if boiler.edge_s is not None:
        note = f"; {boiler.note}" if boiler.note else ""
        say(f"    each begin and end is known to {boiler.edge_s:.0f} s{note}")
    if words := brief_words(boiler.brief_share, boiler.step_s):
        say(f"    {words}")
    if boiler.check:
        say(f"    second source: {boiler.check.words}")
    word = {True: "yes", False: "no", None: "cannot be said"}[s.short_cycling.is_short]
    say(f"    short cycling: {word}; {s.short_cycling.why}")


def _minutes(seconds: float | None) -> str:
    return "unknown" if seconds is None else f"{seconds / 60:.1f} min"
