"""Faults of boilers and stores."""

from analysis.alarms.states import Timing
from analysis.faults.fault import Fault
from analysis.faults.ignition_trouble import judge_ignition
from analysis.faults.return_too_warm import judge_return_too_warm
from analysis.faults.short_cycling import judge_short_cycling
from analysis.faults.store_faults import judge_standing_loss, judge_store_too_cool

SEALED = (
    "Gas, oil, flue and a sealed boiler case belong to those who may do it under local rules. "
    "Smell of gas, or a carbon monoxide alarm: leave, air the rooms, call the emergency line. "
    "This program is no carbon monoxide alarm."
)

BOILER_FAULTS: tuple[Fault, ...] = (
    Fault(
        name="short_cycling",
        title="Burner starts too often",
        of="boiler",
        needs="power, a fuel counter or the flow temperature of the boiler over a week of heating",
        judge=judge_short_cycling,
        urgency="note",
        timing=Timing(),
        possible=("boiler larger than the load", "thermostat's band too narrow"),
        first_check="Was the flow temperature, the room thermostat or the pump's setting changed? "
        "Are most radiator valves shut?",
        who="Owner: user settings, valves, pump setting. Heating firm: hysteresis, range rating.",
        caution=SEALED,
        pace="day",
    ),
    Fault(
        name="ignition_trouble",
        title="Burner fails to light",
        of="boiler",
        needs="power of the boiler every ten seconds or on change, and its flow temperature",
        judge=judge_ignition,
        urgency="soon",
        timing=Timing(),
        possible=(
            "electrodes, flame sensor or nozzle dirty or worn",
            "fuel short: tank, valve, filter or gas pressure",
            "preheater or ignition transformer failing",
            "air in the oil line",
        ),
        first_check="Read the boiler's display or lamp. Is there oil in the tank, is the gas valve "
        "open, do other gas appliances burn?",
        who="Owner: look, and reset at most once. Heating firm: burner, nozzle, electrodes, gas.",
        caution="Reset at most once, then call: unburnt fuel gathers with every try. " + SEALED,
        pace="day",
    ),
    Fault(
        name="return_too_warm",
        title="Condensing boiler condenses less than it could",
        of="boiler",
        needs="return temperature of the boiler, and what shows its firing",
        judge=judge_return_too_warm,
        urgency="note",
        timing=Timing(),
        possible=(
            "flow temperature set higher than the house needs",
            "pump too strong, or an open bypass",
            "radiators too small, or not balanced",
        ),
        first_check="Lower the heating curve by a step and see for a week whether rooms stay warm.",
        who="Owner: heating curve, pump setting. Heating firm: balancing, bypass.",
        caution="Keep hot water hygienic: lower the heating circuit, not the store. " + SEALED,
        pace="day",
    ),
    Fault(
        name="store_too_cool",
        title="Hot-water store too cool for hygiene",
        of="store",
        needs="temperature at the top of the store",
        judge=judge_store_too_cool,
        urgency="soon",
        timing=Timing(),
        possible=(
            "store thermostat set too low",
            "charging pump or boiler stops too early",
            "scale on the coil",
            "sensor slipped",
        ),
        first_check="What is the store's thermostat set to? Compare with the store's own dial.",
        who="Owner: setting. Heating firm: coil, sensor, mixing valve.",
        caution="Legionella grow between about 20 and 45 °C; guidance asks for 60 °C in the "
        "store and local rules decide. Hot water above 50 °C scalds: have a mixing valve.",
        pace="day",
    ),
    Fault(
        name="standing_loss_high",
        title="Store loses much heat at rest",
        of="store",
        needs="temperature of the store over undisturbed hours; surroundings make it sharper",
        judge=judge_standing_loss,
        urgency="note",
        timing=Timing(),
        possible=(
            "insulation loose, wet or missing",
            "a check valve open: water circulates by itself",
            "recirculation running all night",
        ),
        first_check="Feel the jacket and the pipes an hour after a charge: what is warm that "
        "should not be?",
        who="Owner: jacket, pipe insulation. Heating firm: check valve.",
        caution="Pipes scald. Never stop or throttle a hot-water recirculation pump without "
        "looking at the hygiene rules that apply.",
        pace="day",
    ),
)
