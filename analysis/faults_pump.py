"""Faults of pumps and of the circuits they serve."""

from analysis.alarms import Timing
from analysis.fault import HOT_AND_LIVE, Fault
from analysis.watch import judge_stall

PUMP_FAULTS: tuple[Fault, ...] = (
    Fault(
        name="stall",
        title="Pump does not run although it should",
        of="pump",
        needs="power of the pump; for a pump that is not always on also the flow temperature "
        "or power of the boiler, to know when it should run",
        judge=judge_stall,
        urgency="now",
        timing=Timing(on_delay_s=120, off_delay_s=300),
        possible=("rotor seized", "supply or controller output off", "electronics failed"),
        first_check="Is the pump's lamp lit, does it hum, and is the pipe after it warm?",
        who="Owner: look and listen. Electrically competent person or heating firm: the pump.",
        caution=HOT_AND_LIVE,
    ),
)
