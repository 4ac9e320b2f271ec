"""Faults of the plant as a whole and of its sensors."""

from analysis.alarms.states import Timing
from analysis.faults.channel_silent import judge_silent
from analysis.faults.fault import Fault
from analysis.faults.overheating import judge_overheating
from analysis.faults.sensor_faults import judge_off_pipe, judge_stuck
from analysis.faults.supply_lost_frost_risk import judge_frost, judge_supply_lost

_LOOK = (
    "Nothing here can hurt by itself; mind hot pipes and moving parts when you look at a sensor."
)

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
    Fault(
        name="supply_lost",
        title="Boiler has no mains",
        of="boiler",
        needs="power of the boiler on a plug that shows its standby",
        judge=judge_supply_lost,
        urgency="now",
        timing=Timing(on_delay_s=0, off_delay_s=300),
        possible=("supply lost: fuse or breaker", "emergency switch off", "plug or cable"),
        first_check="Is the boiler's display lit? Look at its own switch, the emergency switch by "
        "the door, and the fuse.",
        who="Owner: switch and fuse, once. Electrician or heating firm: what trips again.",
        caution="A fuse that trips again points to a fault that can kill: leave it off and call.",
    ),
    Fault(
        name="frost_risk",
        title="Near freezing",
        of="plant",
        needs="a temperature of the cellar, a room or any pipe; better with the outdoor one",
        judge=judge_frost,
        urgency="now",
        timing=Timing(on_delay_s=0, off_delay_s=1800),
        possible=("frost risk: heating off in frost", "door or window open", "boiler in lock-out"),
        first_check="Is the heating on and the boiler without a fault? Are cellar doors shut?",
        who="Owner: turn the heating on, shut doors. Heating firm: a boiler that will not start.",
        caution="Where pipes or the condensate drain may be frozen, leave the boiler off and "
        "call. Thaw pipes slowly and never with a flame; water may spray from a burst pipe.",
    ),
    Fault(
        name="channel_silent",
        title="A channel is heard no more",
        of="plant",
        needs="channels in the plant file",
        judge=judge_silent,
        urgency="soon",
        timing=Timing(on_delay_s=0, off_delay_s=60),
        possible=("battery empty or plug without power", "out of radio reach", "topic changed"),
        first_check="Is the sensor's battery good and the plug's lamp lit? Is the network up?",
        who="Owner: battery, place and plug of the sensor.",
        caution=_LOOK,
    ),
    Fault(
        name="sensor_stuck",
        title="A sensor repeats one value",
        of="plant",
        needs="flow and return temperatures of one loop",
        judge=judge_stuck,
        urgency="note",
        timing=Timing(on_delay_s=0, off_delay_s=600),
        possible=("sensor or its converter hangs", "gateway repeats an old value"),
        first_check="Take the sensor's supply or battery out for a minute; does its value move?",
        who="Owner: battery, place and plug of the sensor.",
        caution=_LOOK,
    ),
    Fault(
        name="sensor_off_pipe",
        title="A sensor fell off its pipe",
        of="plant",
        needs="flow and return temperatures of a loop, while it is warm",
        judge=judge_off_pipe,
        urgency="note",
        timing=Timing(on_delay_s=0, off_delay_s=600),
        possible=("clip slipped or fell off", "pipe insulation moved"),
        first_check="Does the sensor sit tight on bare metal, under the insulation?",
        who="Owner: battery, place and plug of the sensor.",
        caution=_LOOK,
    ),
)
