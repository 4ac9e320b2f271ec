"""Stall: a pump that should run and does not turn."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from analysis.alarms.states import Timing
from analysis.faults.fault import HOT_AND_LIVE, Fault
from analysis.faults.pump_state.demand_evidence import LONGER_MIN, MUCH_LONGER, Signs
from analysis.faults.pump_state.episodes import STALL, Spell
from analysis.faults.pump_state.pump_watch import Watched
from analysis.faults.pump_state.spell_findings import (
    Account,
    Concluded,
    both_pipes,
    never_a_knob,
    never_the_readings,
    spell_verdict,
    strength_confidence,
)
from analysis.plant.plant import Pump
from analysis.readings.situation import Situation, Verdict

_TOLD_RESTS = 2
"""Rests of an always-on pump that are told before they are known as its habit; common practice, no
source."""
_FILE_CHECK = (
    "Does a room thermostat, a timer or the store's charge stop this pump? Then write always_on = "
    "false in the plant file. If nothing does, have its supply and relay looked at."
)


def judge_stall(situation: Situation) -> Verdict:
    """A pump that should run and does not turn: too little power, tries, or a locked rotor's."""
    return spell_verdict(situation, _ACCOUNT)


def _news(watch: Watched, pump: Pump, spells: list[Spell]) -> Iterable[Spell]:
    """Stalls without the rests from which an always-on pump came back as it did twice before.

    Of a pump that its plug alone tells of, a rest is one sign. Who was told of two, or that the
    plant file is wrong, has no use for the next of the same day; one much longer is told late.
    """
    return _beyond_habit(watch, pump.id, spells) if pump.always_on else spells


def _beyond_habit(watch: Watched, pump: str, spells: list[Spell]) -> Iterator[Spell]:
    told: list[int] = []
    known = False
    for spell in spells:
        signs, row = watch.signs(pump, spell.raised)
        if signs.sensed[row] or not (signs.idle[row] or signs.odd[row]):
            yield spell
            continue
        end = len(watch.minutes) if spell.end is None else spell.end
        usual = MUCH_LONGER * max(told, default=0) + LONGER_MIN
        by_habit = bool(signs.rests_by_habit[row])
        if not known and (by_habit or len(told) < _TOLD_RESTS):
            yield spell
        elif end - spell.first > usual:
            yield replace(spell, raised=max(spell.raised, spell.first + round(usual)))
        known = known or by_habit
        if spell.end is not None:
            told.append(end - spell.first)


def _sensor_missing(signs: Signs, seen: Watched, pump: Pump) -> str:
    del seen
    if not _has_demand(signs):
        return "power or flow temperature of the boiler, to know when the pump should run"
    if not signs.has_pipe and signs.usual.levels.rests_alike:
        return f"{both_pipes(pump)}: by its power the pump at work cannot be told from one at rest"
    return ""


def _has_demand(signs: Signs) -> bool:
    pump = signs.one.pump
    if pump.always_on or pump.duty not in ("heating", "other"):
        return True
    return not bool(np.isnan(signs.heat).all())


def _is_habit(at: Concluded) -> bool:
    """Whether a rest is told that the pump ended by itself on days before."""
    return not at.is_urgent and at.had("rests_by_habit")


def _possible(at: Concluded) -> tuple[str, ...]:
    if _is_habit(at):
        return (
            "stall only by the plant file: it says always on, but the pump rests of its own",
            "no power from controller or relay at times",
            "rotor sticks at times",
        )
    if at.signs.is_induction and any(map(at.had, ("high", "cut_out", "seized"))):
        return ("stall: rotor seized", "run capacitor failed", "setting changed")
    if at.had("tries") or at.had("odd"):
        return ("stall: rotor seized", "dry run", "electronics failed")
    return ("stall: no power from controller or relay", "rotor seized", "electronics failed")


def _ruled_out(at: Concluded) -> Iterator[str]:
    yield from never_the_readings(at)
    if at.had("wanted") or at.had("stands"):
        yield "summer, closed valves, pump rightly off: heat is made and not taken away"
    yield from never_a_knob(at)


_ACCOUNT = Account(
    fault="stall",
    cause=STALL,
    chosen=_news,
    sensor_missing=_sensor_missing,
    meanwhile="power above its plate, endless start attempts, a cold pipe below a fired boiler",
    confidence=strength_confidence,
    possible=_possible,
    ruled_out=_ruled_out,
    first_check=lambda at: _FILE_CHECK if _is_habit(at) else "",
)

FAULT = Fault(
    name="stall",
    title="Pump does not run although it should",
    of="pump",
    group="pump",
    place=1,
    needs="power of the pump at least every two minutes; for a pump that is not always on also "
    "the flow temperature or power of the boiler, to know when it should run",
    judge=judge_stall,
    urgency="now",
    timing=Timing(on_delay_s=0, off_delay_s=300),
    possible=("rotor seized", "supply or controller output off", "electronics failed"),
    first_check="Is the pump's lamp lit, does it hum, and is the pipe after it warm?",
    who="Owner: look and listen; let no boiler fire into water that stands. Electrically "
    "competent person or heating firm: the pump.",
    caution=HOT_AND_LIVE,
    effects=("less water moves", "water stands", "pump stands"),
    told_with="urgent",
)
