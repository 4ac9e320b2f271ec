"""The cases that can be rehearsed, as one table: what each needs and what befalls it."""

from dataclasses import dataclass

from analysis.rehearsal.faults.air import FAULT as AIR
from analysis.rehearsal.faults.fault import Season
from analysis.rehearsal.faults.night_reduction_misfit import FAULT as NIGHT_MISFIT
from analysis.rehearsal.faults.registry import FAULTS
from analysis.rehearsal.faults.reversed_flow import FAULT as REVERSED_FLOW
from analysis.rehearsal.house.draw import ANYTHING, Wish


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One kind of rehearsal.

    `faults` are named; `subject` the pump they befall, "any" one of them;
    `events` hard negatives that must be there, `others` how many more are drawn;
    `shown_days` the length of a record that shows it well.
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
    shown_days: float = 30.0


_PAIR = ("heating.flow", "heating.return")

_FAULT_CASES = tuple(
    Case(
        name=row.name,
        tells=row.tells,
        wish=row.wish,
        season=row.season,
        faults=(row.name,),
        subject=row.subject,
        shown_days=row.shown_days,
    )
    for row in FAULTS.values()
)

_MISTAKES = (
    Case(
        name="swap_reversed",
        tells="after a swap: the new pump sits the wrong way round",
        swap=True,
        mistake="reversed",
        faults=(REVERSED_FLOW.name,),
        others=1,
        wish=Wish(drive="induction", sensed=_PAIR),
    ),
    Case(
        name="swap_air",
        tells="after a swap: not vented, air in the pump for days",
        swap=True,
        mistake=AIR.name,
        faults=(AIR.name,),
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
        mistake=NIGHT_MISFIT.name,
        faults=(NIGHT_MISFIT.name,),
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
