"""The cases that can be rehearsed, as one table: what each needs and what befalls it."""

from dataclasses import dataclass
from typing import Literal

from analysis.rehearsal.house.draw import ANYTHING, Wish

Season = Literal["winter", "autumn", "summer", "any"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One kind of rehearsal.

    `faults` are named; `subject` the pump they befall, "any" one of them;
    `events` hard negatives that must be there, `others` how many more are drawn.
    """

    name: str
    tells: str
    wish: Wish = ANYTHING
    season: Season = "winter"
    faults: tuple[str, ...] = ()
    subject: str = "heating"
    events: tuple[str, ...] = ()
    others: int = 2
    swap: bool = False
    mistake: str | None = None


_PAIR = ("heating.flow", "heating.return")
_FACTOR = (*_PAIR, "power_factor", "voltage")

_FAULT_CASES = (
    Case(
        name="stall",
        tells="a pump's rotor seizes while heat is wanted",
        faults=("stall",),
        subject="any",
        wish=Wish(sensed=_PAIR),
    ),
    Case(
        name="dry_run",
        tells="the heating pump loses its water",
        faults=("dry_run",),
        wish=Wish(sensed=(*_PAIR, "plant.pressure")),
    ),
    Case(
        name="air",
        tells="air gathers in the heating pump and leaves within days",
        faults=("air",),
        wish=Wish(sensed=_PAIR),
    ),
    Case(
        name="dead_head",
        tells="a pump runs against a shut valve while heat is wanted",
        faults=("dead_head",),
        wish=Wish(sensed=_PAIR),
    ),
    Case(
        name="overheating",
        tells="a pump's winding fails and its body grows too hot",
        faults=("overheating",),
        wish=Wish(sensed=(*_PAIR, "heating.body")),
    ),
    Case(
        name="bearing_drag",
        tells="a bearing wears over weeks",
        faults=("bearing_drag",),
        wish=Wish(sensed=_FACTOR),
    ),
    Case(
        name="capacitor_ageing",
        tells="the run capacitor of an induction pump loses capacitance",
        faults=("capacitor_ageing",),
        wish=Wish(drive="induction", sensed=_FACTOR),
    ),
    Case(
        name="sludge",
        tells="magnetite and sludge narrow the loop over weeks",
        faults=("sludge",),
        wish=Wish(sensed=_PAIR),
    ),
    Case(
        name="reversed_flow",
        tells="a pump works against its loop's direction",
        faults=("reversed_flow",),
        wish=Wish(sensed=_PAIR),
    ),
    Case(
        name="ghost_flow",
        tells="a check valve stays open and an idle loop warms by itself",
        faults=("ghost_flow",),
        season="summer",
        wish=Wish(store=True, always_on=False, sensed=(*_PAIR, "plant.ambient")),
    ),
    Case(
        name="standstill_risk",
        tells="a pump stands for weeks out of season",
        faults=("standstill_risk",),
        season="summer",
        wish=Wish(always_on=False),
    ),
    Case(
        name="night_reduction_misfit",
        tells="night reduction engages by day or never",
        faults=("night_reduction_misfit",),
        wish=Wish(
            drive="electronic",
            night=True,
            setting="pp high",
            pump_in_return=False,
            floor=False,
            sensed=_PAIR,
        ),
    ),
    Case(
        name="setting_changed",
        tells="somebody turns the pump's knob",
        faults=("setting_changed",),
        wish=Wish(sensed=_PAIR),
    ),
    Case(
        name="short_cycling",
        tells="a narrow thermostat makes the burner start too often",
        faults=("short_cycling",),
        subject="boiler",
        wish=Wish(sensed=("boiler.power", "boiler.flow")),
    ),
    Case(
        name="ignition_trouble",
        tells="ignition fails more and more often, up to lock-out",
        faults=("ignition_trouble",),
        subject="boiler",
        wish=Wish(sensed=("boiler.power", "boiler.flow")),
    ),
    Case(
        name="return_too_warm",
        tells="a condensing boiler's return stays above the dew point",
        faults=("return_too_warm",),
        subject="boiler",
        wish=Wish(
            condensing=True, floor=False, control="weather", sensed=("boiler.flow", "boiler.return")
        ),
    ),
    Case(
        name="standing_loss_high",
        tells="the store or the boiler loses heat standing",
        faults=("standing_loss_high",),
        subject="store",
        wish=Wish(store=True, recirculation=False, sensed=("store.top", "plant.ambient")),
    ),
    Case(
        name="frost_risk",
        tells="heating off in frost, pipes near freezing",
        faults=("frost_risk",),
        subject="plant",
        wish=Wish(sensed=(*_PAIR, "plant.ambient", "plant.outdoor")),
    ),
    Case(
        name="store_too_cool",
        tells="the hot-water store stays below hygienic temperature",
        faults=("store_too_cool",),
        subject="store",
        wish=Wish(store=True, sensed=("store.top",)),
    ),
    Case(
        name="supply_lost",
        tells="the boiler loses its mains while the house is cold",
        faults=("supply_lost",),
        subject="boiler",
        wish=Wish(sensed=("boiler.power", "boiler.flow")),
    ),
    Case(
        name="sensor_off_pipe",
        tells="a clip falls off its pipe",
        faults=("sensor_off_pipe",),
        subject="heating.flow",
        wish=Wish(sensed=(*_PAIR, "plant.ambient")),
    ),
    Case(
        name="sensor_stuck",
        tells="a sensor repeats one value",
        faults=("sensor_stuck",),
        subject="heating.return",
        wish=Wish(sensed=_PAIR),
    ),
    Case(
        name="channel_silent",
        tells="a channel is heard no more",
        faults=("channel_silent",),
        subject="heating.power",
        wish=Wish(sensed=_PAIR),
    ),
)

_MISTAKES = (
    Case(
        name="swap_reversed",
        tells="after a swap: the new pump sits the wrong way round",
        swap=True,
        mistake="reversed",
        faults=("reversed_flow",),
        others=1,
        wish=Wish(drive="induction", sensed=_PAIR),
    ),
    Case(
        name="swap_air",
        tells="after a swap: not vented, air in the pump for days",
        swap=True,
        mistake="air",
        faults=("air",),
        others=1,
        wish=Wish(drive="induction", sensed=_PAIR),
    ),
    Case(
        name="swap_too_strong",
        tells="after a swap: the setting is too strong",
        swap=True,
        mistake="too_strong",
        others=1,
        wish=Wish(drive="induction", sensed=_PAIR),
    ),
    Case(
        name="swap_too_weak",
        tells="after a swap: the setting is too weak",
        swap=True,
        mistake="too_weak",
        others=1,
        wish=Wish(drive="induction", sensed=_PAIR),
    ),
    Case(
        name="swap_night_misfit",
        tells="after a swap: night reduction engages by day or never",
        swap=True,
        mistake="night_reduction_misfit",
        faults=("night_reduction_misfit",),
        others=1,
        wish=Wish(drive="induction", floor=False, pump_in_return=False, sensed=_PAIR),
    ),
    Case(
        name="swap_isolator",
        tells="after a swap: an isolating valve is half shut",
        swap=True,
        mistake="isolator_half_shut",
        others=1,
        wish=Wish(drive="induction", sensed=_PAIR),
    ),
)

_NEGATIVE_SEASON: dict[str, Season] = {
    "summer_off": "summer",
    "anti_seize_kick": "summer",
    "clock_change": "autumn",
}
_NEGATIVE_TELLS = {
    "valves_closed": "sound: all radiator valves shut, the pump runs on",
    "store_priority": "sound: the store takes all heat",
    "summer_off": "sound: heating off for the summer",
    "holiday": "sound: nobody at home",
    "overrun": "sound: pumps run on after each firing",
    "anti_seize_kick": "sound: idle pumps run a minute each noon",
    "power_cut": "sound: mains gone for up to three hours",
    "plug_reboot": "sound: plugs restart, counters forget",
    "wifi_gap": "sound: nothing heard for up to two days",
    "knob_turned": "sound: a hand on the knob",
    "mains_trend": "sound: mains voltage drifts for days",
    "refill_venting": "sound: topped up and vented",
    "new_plug_gain": "sound: a plug replaced by one that reads otherwise",
    "clock_change": "sound: winter time begins",
    "firewood_day": "sound: a stove keeps the burner off",
    "window_open": "sound: windows open on a cold day",
    "sensors_swapped": "sound: flow and return sensors mixed up",
}

_ALL = (
    Case(name="healthy", tells="a sound plant with the usual disturbances of a house", others=6),
    Case(
        name="mixed",
        tells="a fleet's lot: mostly sound, now and then a fault, never quiet",
        season="any",
        others=6,
    ),
    Case(name="any_fault", tells="one fault drawn from all of them, and disturbances", others=2),
    Case(
        name="swap",
        tells="a pump is swapped well; the saving is known",
        swap=True,
        others=2,
        wish=Wish(drive="induction", sensed=_PAIR),
    ),
    *_MISTAKES,
    *_FAULT_CASES,
    *(
        Case(
            name=f"sound_{what}",
            tells=tells,
            events=(what,),
            others=1,
            season=_NEGATIVE_SEASON.get(what, "winter"),
            wish=Wish(store=True) if what == "store_priority" else Wish(),
        )
        for what, tells in _NEGATIVE_TELLS.items()
    ),
)

CASES: dict[str, Case] = {case.name: case for case in _ALL}
"""Every case by name."""
FAULT_CASES: tuple[str, ...] = tuple(case.name for case in _FAULT_CASES)
"""Cases named after the one fault they show."""


def cases() -> dict[str, str]:
    """Name of every case and a sentence about it."""
    return {name: case.tells for name, case in CASES.items()}
