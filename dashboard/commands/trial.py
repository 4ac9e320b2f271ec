"""``trial``: leads a person through a pump's settings, ten minutes each, and tells the watts."""

import argparse
import sys
import time
from contextlib import closing
from dataclasses import dataclass
from typing import Any

from analysis.exchange.trial import Trial, TrialStep, end
from analysis.exchange.trial_results import TrialResult
from analysis.plant.plant import Plant, Pump
from collector.errors import FormError
from collector.files.plant_file import load_plants
from collector.installation.site import journal_to_read, open_journal
from collector.installation.trial_bench import Bench, TrialPlan, fresh_trial
from collector.journal.exchanges import swap_book
from collector.journal.trials import TrialBook
from collector.store.opening import open_to_read
from collector.store.protocol import clock_ms
from dashboard.command_line.argument_types import NOT_NEGATIVE
from dashboard.command_line.command import (
    DONE,
    TOLD,
    answer,
    json_argument,
    plant_argument,
    say,
    settings_of,
)
from dashboard.commands.logbook import one_plant

_LOOK_EVERY_S = 5.0


def arguments(parser: argparse.ArgumentParser) -> None:
    """What to do, of which pump, with which settings."""
    choices = ("guide", "begin", "end", "skip", "show", "drop")
    parser.add_argument(
        "do",
        nargs="?",
        choices=choices,
        default="guide",
        help="guide leads through all steps; begin, end and skip do one; drop forgets the trial",
    )
    plant_argument(parser)
    json_argument(parser)
    parser.add_argument("--pump", metavar="ID", help="pump to try")
    parser.add_argument(
        "--set",
        nargs="+",
        default=[],
        metavar="NAME",
        help="settings of the pump, as its knob names them",
    )
    parser.add_argument("--usual", metavar="NAME", help="setting that the pump stays at afterwards")
    parser.add_argument(
        "--valve",
        action="store_true",
        help="also measure with an isolating valve shut for two minutes",
    )
    parser.add_argument(
        "--no-offset",
        action="store_true",
        help="do not unplug the pump to read what the plug shows with nothing on it",
    )
    parser.add_argument(
        "--display", type=NOT_NEGATIVE, metavar="W", help="with end: the watts that the pump shows"
    )
    parser.add_argument("--who", default="", help="who does it")


@dataclass(slots=True)
class AskedBench(Bench):
    """A bench with what the command was asked."""

    asked: argparse.Namespace


def run(arguments: argparse.Namespace) -> int:
    """Do what is asked with the pump's trial."""
    plant = one_plant(load_plants(arguments.plant), "a trial")
    pump = _pump(plant, arguments.pump)
    settings = settings_of(arguments)
    opened = journal_to_read if arguments.do == "show" else open_journal
    with (
        closing(open_to_read(settings, [plant])) as store,
        closing(opened(settings)) as journal,
    ):
        trials = TrialBook(journal)
        known = trials.load(plant.key, pump.id)
        if arguments.do == "show" and known is None:
            return _show_last(trials, plant, pump, as_json=arguments.json)
        trial = known or _fresh(plant, pump, arguments)
        swaps = swap_book(settings, journal)
        bench = AskedBench(plant, pump, store, trials, swaps, trial, arguments)
        return _MOVES[arguments.do](bench)


def _pump(plant: Plant, name: str | None) -> Pump:
    pumps = {pump.id: pump for pump in plant.pumps}
    if name is None and len(pumps) == 1:
        return next(iter(pumps.values()))
    if name not in pumps:
        raise FormError([f"--pump: '{name}' is no pump of {plant.name}; known: {', '.join(pumps)}"])
    if plant.first(name, "power") is None:
        raise FormError([f"--pump: '{name}' has no power channel; a trial needs its smart plug"])
    return pumps[name]


def _fresh(plant: Plant, pump: Pump, asked: argparse.Namespace) -> Trial:
    wanted = TrialPlan(
        settings=asked.set, valve=asked.valve, offset=not asked.no_offset, usual=asked.usual
    )
    return fresh_trial(plant, pump, wanted, clock_ms())


# single moves


def _begin(bench: AskedBench) -> int:
    bench.begin(clock_ms())
    return _show(bench)


def _end(bench: AskedBench) -> int:
    bench.end(clock_ms(), bench.asked.display)
    return _finish(bench) if bench.trial.next is None else _show(bench)


def _skip(bench: AskedBench) -> int:
    bench.skip(clock_ms())
    return _finish(bench) if bench.trial.next is None else _show(bench)


def _drop(bench: AskedBench) -> int:
    bench.drop()
    say(f"{bench.pump.id}: no trial is under way")
    return DONE


# show


def _show(bench: AskedBench) -> int:
    result = bench.result(clock_ms())
    step = bench.trial.next
    if bench.asked.json:
        view = bench.view(clock_ms())._asdict() if bench.trial.running else None
        answer(
            {
                "plant": bench.plant.name,
                "trial": bench.trial.document(),
                "next": None if step is None else step.label,
                "view": view,
                "result": result.document(),
            }
        )
        return DONE
    _say_result(bench.plant, result.document())
    if step is not None:
        state = bench.view(clock_ms()).words if bench.trial.running else step.words
        say(f"  next: {step.label}: {state}")
    return DONE


def _show_last(trials: TrialBook, plant: Plant, pump: Pump, *, as_json: bool) -> int:
    known = trials.result(plant.key, pump.id)
    if known is None:
        raise FormError([f"trial show: '{pump.id}' was never tried; begin with: stokehold trial"])
    if as_json:
        answer({"plant": plant.name, "trial": None, "result": known[1]})
    else:
        _say_result(plant, known[1])
    return DONE


def _say_result(plant: Plant, result: dict[str, Any]) -> None:
    say(f"{plant.name}, {result['pump']}: trial up to {result['time']}")
    for row in (*result["table"], *([result["valve_shut"]] if result["valve_shut"] else [])):
        power = row["power"]
        if power["value"] is None:
            say(f"  {row['setting']}: unknown, {power['reason']}")
            continue
        interval = f"{power['low']:.1f} to {power['high']:.1f}, {power['basis']}"
        say(f"  {row['setting']}: {power['value']:.1f} W ({interval})")
    for check in result["checks"]:
        mark = {True: "-", False: "!", None: "?"}[check["agrees"]]
        say(f"  {mark} {check['what']}: {check['words']}")


# guide


def _guide(bench: AskedBench) -> int:
    """Lead through every step; stopped at any moment it goes on from there."""
    bench.keep(bench.trial)
    try:
        while step := bench.trial.next:
            if bench.trial.running is None and not _asked_to_begin(bench, step):
                continue
            _watch(bench)
            bench.keep(end(bench.trial, clock_ms(), display_w=_display(bench, step)))
    except (KeyboardInterrupt, EOFError):
        say("\nStopped; the same command goes on from here.")
        return DONE
    return _finish(bench)


def _asked_to_begin(bench: AskedBench, step: TrialStep) -> bool:
    """Whether the step was begun; skipped or objected to otherwise."""
    say(f"{step.label}: {step.words}")
    say(f"    caution: {step.caution}")
    if objection := bench.objection(clock_ms()):
        say(f"    not now: {objection}")
        if _ask("    [Enter = look again, s = skip, q = stop] ") == "s":
            bench.skip(clock_ms())
        return False
    if _ask("    [Enter = it is set, s = skip, q = stop] ") == "s":
        bench.skip(clock_ms())
        return False
    bench.begin(clock_ms())
    return True


def _watch(bench: AskedBench) -> None:
    """Look until there are readings enough; a knob that moved begins the step again."""
    told = ""
    while True:
        view = bench.view(clock_ms())
        if view.words != told:
            power = "" if view.power_w is None else f"{view.power_w:.1f} W, "
            say(f"    {power}{view.left_s / 60:.0f} min to go: {view.words}")
            told = view.words
        if view.is_enough:
            return
        if view.begin_again:
            bench.begin(clock_ms())
        pause(_LOOK_EVERY_S)


def pause(seconds: float) -> None:
    """Wait for new readings."""
    time.sleep(seconds)


def _display(bench: AskedBench, step: TrialStep) -> float | None:
    if step.kind != "setting" or bench.pump.drive != "electronic":
        return None
    reply = _ask("    what does the pump's display show, in W? [Enter = nothing] ")
    try:
        return float(reply.replace(",", "."))
    except ValueError:
        return None


def _ask(question: str) -> str:
    sys.stdout.write(question)
    sys.stdout.flush()
    line = sys.stdin.readline()
    say()
    if not line or line.strip() == "q":
        raise EOFError
    return line.strip()


def _finish(bench: AskedBench) -> int:
    """Keep what the trial gave and tell it."""
    result = bench.finish(clock_ms(), usual=bench.asked.usual, who=bench.asked.who)
    if bench.asked.json:
        answer({"plant": bench.plant.name, "trial": None, "result": result.document()})
    else:
        _say_result(bench.plant, result.document())
        _say_usual(result)
    return TOLD if any(check.agrees is False for check in result.checks) else DONE


def _say_usual(result: TrialResult) -> None:
    if result.usual is None:
        say("  Set the pump back to its usual setting.")
    else:
        say(f"  Set the pump back to '{result.usual}'; its baseline begins with these watts.")


_MOVES = {
    "guide": _guide,
    "begin": _begin,
    "end": _end,
    "skip": _skip,
    "show": _show,
    "drop": _drop,
}
