"""Dry run: a pump that runs without water."""

from collections.abc import Iterator

import numpy as np

from analysis.alarms.states import Timing
from analysis.faults.fault import HOT_AND_LIVE, Fault
from analysis.faults.pump_state.demand_evidence import Signs
from analysis.faults.pump_state.episodes import DRY, Spell
from analysis.faults.pump_state.pump_watch import Watched
from analysis.faults.pump_state.spell_findings import (
    Account,
    Concluded,
    never_a_knob,
    never_the_readings,
    spell_verdict,
    strength_confidence,
)
from analysis.faults.stall import FAULT as STALL
from analysis.plant.plant import Pump
from analysis.readings.situation import Situation, Verdict


def judge_dry_run(situation: Situation) -> Verdict:
    """A pump that runs without water: less power than ever, with low pressure or standing pipes."""
    return spell_verdict(situation, _ACCOUNT)


def _not_beside_another(seen: Watched, pump: Pump, spells: list[Spell]) -> Iterator[Spell]:
    """Spells but those of a pump that merely stopped where another runs dry.

    One loss of water is one message.
    """
    for spell in spells:
        signs, row = seen.signs(pump.id, spell.raised)
        if not signs.idle[row] or not _runs_dry_beside(seen, pump.id, spell):
            yield spell


def _runs_dry_beside(seen: Watched, pump: str, spell: Spell) -> bool:
    dry = (s for p in seen.minded if p != pump for s in seen.spells_of(p) if s.cause == DRY)
    return any(
        s.wakes is not None and s.first <= spell.raised and (s.end is None or s.end > spell.first)
        for s in dry
    )


def _sensor_missing(signs: Signs, seen: Watched, pump: Pump) -> str:
    del pump
    if not signs.has_pipe and np.isnan(seen.minutes.pressure_bar).all():
        return "the system pressure, or flow temperatures of loop and boiler"
    return ""


def _ruled_out(at: Concluded) -> Iterator[str]:
    yield from never_the_readings(at)
    yield from never_a_knob(at)


_ACCOUNT = Account(
    fault="dry_run",
    cause=DRY,
    chosen=_not_beside_another,
    sensor_missing=_sensor_missing,
    meanwhile="running without any system pressure",
    confidence=strength_confidence,
    possible=lambda _: ("dry run: no water in the pump", "air lock", STALL.name),
    ruled_out=_ruled_out,
    shows_pressure=True,
)

FAULT = Fault(
    name="dry_run",
    title="Pump runs without water",
    of="pump",
    group="pump",
    place=2,
    needs="power of the pump at least every two minutes, and the system pressure or the flow "
    "temperatures of loop and boiler",
    judge=judge_dry_run,
    urgency="now",
    timing=Timing(on_delay_s=0, off_delay_s=300),
    possible=("water lost: leak or open drain", "air lock", "pressure vessel failed"),
    first_check="Read the pressure gauge: 1.0 to 1.5 bar cold is usual. Is water on the floor?",
    who="Owner: switch boiler and pump off and let them cool, then top up and vent by the "
    "boiler's manual. Heating firm: the leak.",
    caution=HOT_AND_LIVE + " Cold water let into a hot boiler can crack it or turn to steam.",
    effects=("less water moves", "water stands"),
    told_with="urgent",
)
