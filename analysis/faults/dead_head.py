"""Dead head: a pump that runs against a shut valve."""

from collections.abc import Iterator

from analysis.alarms.states import Timing
from analysis.faults.fault import HOT_AND_LIVE, Fault
from analysis.faults.pump_state.demand_evidence import Signs
from analysis.faults.pump_state.episodes import DEAD
from analysis.faults.pump_state.pump_watch import Watched
from analysis.faults.pump_state.spell_findings import (
    Account,
    Concluded,
    both_pipes,
    never_a_knob,
    never_the_readings,
    spell_verdict,
)
from analysis.plant.plant import Pump
from analysis.readings.situation import Situation, Verdict


def judge_dead_head(situation: Situation) -> Verdict:
    """A pump that runs against a shut valve: sound power, and the loop parts from a hot boiler."""
    return spell_verdict(situation, _ACCOUNT)


def _sensor_missing(signs: Signs, seen: Watched, pump: Pump) -> str:
    del seen
    return "" if signs.has_pipe else f"{both_pipes(pump)}, to see standing water"


def _ruled_out(at: Concluded) -> Iterator[str]:
    yield from never_the_readings(at)
    yield from never_a_knob(at)
    yield "mild day or satisfied valves: the pipe was never so cold below a hot boiler"


_ACCOUNT = Account(
    fault="dead_head",
    cause=DEAD,
    sensor_missing=_sensor_missing,
    confidence=lambda _: 0.75,
    possible=lambda _: ("dead head: a valve is shut", "check valve stuck shut", "air lock"),
    ruled_out=_ruled_out,
)

FAULT = Fault(
    name="dead_head",
    title="Pump runs but no water moves",
    of="pump",
    group="pump",
    place=3,
    needs="power of the pump, and flow temperatures of the loop and the boiler",
    judge=judge_dead_head,
    urgency="soon",
    timing=Timing(on_delay_s=0, off_delay_s=300),
    possible=("a valve is shut", "check valve stuck shut", "air lock"),
    first_check="Are both valves beside the pump open, and at least one radiator valve?",
    who="Owner: open valves, vent radiators. Heating firm: a stuck check valve.",
    caution=HOT_AND_LIVE,
    effects=("less water moves", "water stands"),
)
