"""Faults of the water's way through a pump's circuit, judged each night."""

from analysis.alarms.states import Timing
from analysis.faults.air import judge_air
from analysis.faults.circulation import judge_ghost, judge_reversed, judge_standstill
from analysis.faults.fault import HOT_AND_LIVE, Fault

FLOW_FAULTS: tuple[Fault, ...] = (
    Fault(
        name="air",
        title="Air in the pump",
        of="pump",
        needs="power of the pump at least every two minutes",
        judge=judge_air,
        urgency="soon",
        timing=Timing(),
        possible=(
            "air in pump or circuit, not vented",
            "system pressure too low, so that air is drawn in",
            "dry run beginning: less and less water",
        ),
        first_check="Does it gurgle? Read the pressure gauge; vent the highest radiator.",
        who="Owner: vent radiators, top up to the mark. Heating firm: if it comes back, a leak or "
        "a failed expansion vessel lets air in.",
        caution=HOT_AND_LIVE + " Water from a vent can scald.",
        pace="day",
    ),
    Fault(
        name="reversed_flow",
        title="Water flows the wrong way round",
        of="pump",
        needs="temperatures of the pump's flow and return pipes",
        judge=judge_reversed,
        urgency="soon",
        timing=Timing(),
        possible=(
            "reversed flow: the pump was fitted the wrong way round",
            "flow and return sensors exchanged",
            "another pump pushes water back through this circuit",
        ),
        first_check="Does the arrow on the pump's body point away from the boiler's flow?",
        who="Owner: look at the arrow. Heating firm: turn the pump.",
        caution=HOT_AND_LIVE,
        pace="day",
    ),
    Fault(
        name="ghost_flow",
        title="Warm water flows although the pump stands",
        of="pump",
        needs="a temperature of the pump's flow or return pipe, and when the boiler fires",
        judge=judge_ghost,
        urgency="soon",
        timing=Timing(),
        possible=(
            "ghost flow: a check valve that stays open",
            "no check valve where one is needed",
            "a mixing valve that leaks",
        ),
        first_check="Feel a radiator of this circuit while only hot water is made: is it warm? Is "
        "the check valve's lever set to open?",
        who="Owner: feel, close the lever. Heating firm: clean or exchange the check valve.",
        caution=HOT_AND_LIVE,
        pace="day",
    ),
    Fault(
        name="standstill_risk",
        title="Pump has stood for weeks and may stick",
        of="pump",
        needs="power of the pump",
        judge=judge_standstill,
        urgency="note",
        timing=Timing(),
        possible=("standstill in summer", "a controller without a weekly run of its pumps"),
        first_check="Let it run for a few minutes, and see whether its power comes to the usual.",
        who="Owner: by the controller's or the pump's own switch.",
        caution=HOT_AND_LIVE,
        pace="day",
    ),
)
