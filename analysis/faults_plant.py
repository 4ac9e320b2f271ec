"""Faults of the plant as a whole and of its sensors."""

from analysis.alarms import Timing
from analysis.fault import Fault
from analysis.judge_hot import judge_overheating

PLANT_FAULTS: tuple[Fault, ...] = (
    Fault(
        name="overheating",
        title="Temperature above its limit",
        of="plant",
        needs="a temperature channel",
        judge=judge_overheating,
        urgency="now",
        timing=Timing(on_delay_s=0, off_delay_s=600),
        possible=("no circulation", "boiler thermostat failed", "sensor wrong"),
        first_check="Read the boiler's own thermometer; does it agree?",
        who="Owner: turn the boiler off at its own switch. Heating firm: find the cause.",
        caution="Scalding water and steam: do not open vents or drains. Never defeat a limit "
        "thermostat; reset it at most once, then call the heating firm.",
    ),
)
