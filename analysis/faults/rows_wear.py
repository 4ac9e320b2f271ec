"""Faults of wear, judged each night from daily rows."""

from analysis.alarms.states import Timing
from analysis.faults.fault import HOT_AND_LIVE, Fault
from analysis.faults.sludge import judge_sludge
from analysis.faults.wear import judge_bearing, judge_capacitor

WEAR_FAULTS: tuple[Fault, ...] = (
    Fault(
        name="bearing_drag",
        title="Bearing drags: the pump takes more power for the same water",
        of="pump",
        needs="power of the pump for two weeks; voltage and power factor make it surer, "
        "flow and return temperatures tell it from sludge",
        judge=judge_bearing,
        urgency="soon",
        timing=Timing(),
        possible=(
            "bearing drag: a worn bearing",
            "sludge or magnetite in the rotor's gap",
            "thicker water, such as antifreeze just filled in",
        ),
        first_check="Listen beside it without touching it: does it grind, whine or knock? Hold a "
        "hand near the motor: is it much hotter than the pipe?",
        who="Owner: listen. Heating firm: turn the shaft, exchange the pump before winter.",
        caution=HOT_AND_LIVE,
        pace="day",
    ),
    Fault(
        name="capacitor_ageing",
        title="Run capacitor ages",
        of="pump",
        needs="power factor, or current and voltage, of an induction pump's plug",
        judge=judge_capacitor,
        urgency="soon",
        timing=Timing(),
        possible=(
            "capacitor ageing: its capacitance has fallen",
            "a plug that now reads the power factor otherwise",
            "bearing drag along with a low mains voltage",
        ),
        first_check="Does the pump start at once after being switched off and on, or does it hum?",
        who="Electrically competent person: measure and exchange the capacitor, a cheap part.",
        caution=HOT_AND_LIVE + " A capacitor holds a charge after it is cut off.",
        pace="day",
    ),
    Fault(
        name="sludge",
        title="Less and less water flows: sludge or magnetite",
        of="pump",
        needs="temperatures of the pump's flow and return and its power for two weeks; "
        "the outdoor temperature makes it surer",
        judge=judge_sludge,
        urgency="soon",
        timing=Timing(),
        possible=(
            "sludge or magnetite in pump, strainer or pipes",
            "valves or an isolator turned down",
            "bearing drag: a pump that slows down",
        ),
        first_check="Are all isolating valves fully open? Is the water from a radiator's vent "
        "black? Which radiators stay cooler than they were?",
        who="Owner: look and feel. Heating firm: clean the strainer, flush, treat the water.",
        caution=HOT_AND_LIVE,
        pace="day",
    ),
)
