"""Faults of setting: nothing is broken, but a knob stands where it should not."""

from analysis.alarms.states import Timing
from analysis.faults.fault import HOT_AND_LIVE, Fault
from analysis.faults.settings import judge_night, judge_setting

SETTING_FAULTS: tuple[Fault, ...] = (
    Fault(
        name="night_reduction_misfit",
        title="Night reduction engages by day",
        of="pump",
        needs="power of an electronic pump at 60 s or faster; its flow temperature makes it surer",
        judge=judge_night,
        urgency="soon",
        timing=Timing(),
        possible=(
            "night reduction misfit: thermostat or store charging lets the flow fall by day",
            "setting changed: night reduction was switched on where it does not suit",
            "the boiler stops by day for another reason",
        ),
        first_check="Do rooms stay cool by day, and is the pump's night or moon lamp lit then? "
        "Its leaflet says how to switch night reduction off.",
        who="Owner: the setting on the pump's face. Heating firm: the boiler's schedule.",
        caution=HOT_AND_LIVE,
        pace="day",
    ),
    Fault(
        name="setting_changed",
        title="The pump's setting was changed",
        of="pump",
        needs="power of the pump over a day of running before and after",
        judge=judge_setting,
        urgency="note",
        timing=Timing(),
        possible=(
            "setting changed: somebody turned the knob",
            "the pump or its plug was exchanged",
            "a valve in the circuit was opened or shut",
        ),
        first_check="Look at the pump's knob or lamp and at the logbook: was the change meant?",
        who="Owner: look, and set it back if the change was not meant.",
        caution=HOT_AND_LIVE,
        pace="day",
    ),
)
