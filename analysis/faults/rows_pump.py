"""Faults of pumps and of the circuits they serve that show within minutes."""

from analysis.alarms.states import Timing
from analysis.faults.fault import HOT_AND_LIVE, Fault
from analysis.faults.stall_dry_run_dead_head import judge_dead_head, judge_dry_run, judge_stall

_AT_ONCE = Timing(on_delay_s=0, off_delay_s=300)
"""The judges wait by themselves until they have seen enough."""

PUMP_FAULTS: tuple[Fault, ...] = (
    Fault(
        name="stall",
        title="Pump does not run although it should",
        of="pump",
        needs="power of the pump at least every two minutes; for a pump that is not always on also "
        "the flow temperature or power of the boiler, to know when it should run",
        judge=judge_stall,
        urgency="now",
        timing=_AT_ONCE,
        possible=("rotor seized", "supply or controller output off", "electronics failed"),
        first_check="Is the pump's lamp lit, does it hum, and is the pipe after it warm?",
        who="Owner: look and listen; let no boiler fire into water that stands. Electrically "
        "competent person or heating firm: the pump.",
        caution=HOT_AND_LIVE,
    ),
    Fault(
        name="dry_run",
        title="Pump runs without water",
        of="pump",
        needs="power of the pump at least every two minutes, and the system pressure or the flow "
        "temperatures of loop and boiler",
        judge=judge_dry_run,
        urgency="now",
        timing=_AT_ONCE,
        possible=("water lost: leak or open drain", "air lock", "pressure vessel failed"),
        first_check="Read the pressure gauge: 1.0 to 1.5 bar cold is usual. Is water on the floor?",
        who="Owner: switch boiler and pump off and let them cool, then top up and vent by the "
        "boiler's manual. Heating firm: the leak.",
        caution=HOT_AND_LIVE + " Cold water let into a hot boiler can crack it or turn to steam.",
    ),
    Fault(
        name="dead_head",
        title="Pump runs but no water moves",
        of="pump",
        needs="power of the pump, and flow temperatures of the loop and the boiler",
        judge=judge_dead_head,
        urgency="soon",
        timing=_AT_ONCE,
        possible=("a valve is shut", "check valve stuck shut", "air lock"),
        first_check="Are both valves beside the pump open, and at least one radiator valve?",
        who="Owner: open valves, vent radiators. Heating firm: a stuck check valve.",
        caution=HOT_AND_LIVE,
    ),
)
