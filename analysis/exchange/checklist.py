"""The guided list of a swap: what is done in which order, what can hurt, and who may do it.

Order and cautions are common practice; sources where there are any stand beside the step. Local
rules decide who may work on fixed wiring, gas, oil and heating water.
"""

from collections.abc import Collection, Iterable
from typing import NamedTuple

_OWNER = "owner"
_ELECTRICAL = "electrically competent person, or the licensed trade where local rules require it"
_FITTER = "owner who can isolate and drain the loop, or a heating firm"


class Step(NamedTuple):
    """One step; `after` names those that must be done before it."""

    name: str
    words: str
    caution: str = ""
    who: str = _OWNER
    after: tuple[str, ...] = ()


STEPS: tuple[Step, ...] = (
    Step(
        "before",
        "Measure the old pump at each of its settings, ten minutes each (stokehold trial), and "
        "let it run at its usual one for a week or two with a cold spell.",
    ),
    Step(
        "photos",
        "Photograph the old pump: plate, arrow on the body, wiring in the box, the isolators.",
        "Photograph the wiring only once the pump is dead.",
    ),
    Step(
        "dead",
        "Switch the circuit off, take the fuse with you or lock it off, and prove with a tester "
        "that all wires are dead. Do not rely on a smart plug's relay.",
        "Mains voltage kills. Test the tester before and after.",
        _ELECTRICAL,
    ),
    Step(
        "cool",
        "Switch the boiler off and let boiler, pump and pipes cool to hand-warm.",
        "Heating water and pipes scald; an old boiler stays hot for hours.",
    ),
    Step(
        "isolated",
        "Shut the isolating valve on both sides; without valves drain the loop.",
        "Do not force an old valve. Never shut off the way to the safety valve or the expansion "
        "vessel while the boiler can fire.",
        _FITTER,
        ("dead", "cool"),
    ),
    Step(
        "relieved",
        "Open the pump's vent or loosen a union slowly and let the pressure go, bucket and cloth "
        "ready.",
        "Hot water and steam can spurt from vent and union: eyes and hands away, gloves on.",
        _FITTER,
        ("dead", "cool", "isolated"),
    ),
    Step(
        "wires",
        "Note which colour sits on live, neutral and earth, then take the wires out.",
        "Prove dead once more before touching a terminal.",
        _ELECTRICAL,
        ("dead",),
    ),
    Step(
        "seals",
        "Put the new pump in with new flat seals on clean faces; never use the old ones again.",
        "",
        _FITTER,
        ("relieved", "wires"),
    ),
    Step(
        "arrow",
        "Arrow on the body along the flow, like the old pump's on the photo.",
        "",
        _FITTER,
        ("seals",),
    ),
    Step(
        "shaft",
        "Shaft level: an upright shaft loads the bearings and holds air.",
        "",
        _FITTER,
        ("seals",),
    ),
    Step(
        "box",
        "Terminal box not below (dripping water gets in) and not under insulation.",
        "",
        _FITTER,
        ("seals",),
    ),
    Step(
        "filled",
        "Connect the wires as noted, close the box. Open one isolator slowly, look for drops, "
        "then the other; top up to the plant's cold pressure, often 1.0 to 1.5 bar.",
        "Earth first. The box must be closed before the fuse goes back.",
        _ELECTRICAL,
        ("arrow", "shaft", "box"),
    ),
    Step(
        "vented",
        "Vent the loop at its high points and the pump at its screw, if it has one, until water "
        "comes without bubbles.",
        "The pump must never run dry: its bearings live on the water. What comes from a vent can "
        "be scalding water and steam.",
        _FITTER,
        ("filled",),
    ),
    Step(
        "powered",
        "Fuse in, pump on; run its venting function for some ten minutes if it has one.",
        "Nothing wet near the box; switch off at once if it drips.",
        _ELECTRICAL,
        ("vented",),
    ),
    Step(
        "tight",
        "Look for drops cold, then again when the loop is hot.",
        "Hot pipes: look, do not touch.",
        _OWNER,
        ("powered",),
    ),
    Step(
        "mode",
        "Set the mode: radiators with thermostatic valves mostly proportional pressure, floor "
        "heating and one-pipe loops constant pressure, store charging constant speed; start low. "
        "Night reduction only with the pump in the flow and a boiler that sets back by itself.",
        "",
        _OWNER,
        ("powered",),
    ),
    Step(
        "after",
        "Measure the new pump at each setting, ten minutes each (stokehold trial).",
        "",
        _OWNER,
        ("powered",),
    ),
    Step(
        "day",
        "After a day: read the commissioning report, listen for gurgling, look for drops.",
        "",
        _OWNER,
        ("mode",),
    ),
    Step(
        "week",
        "After a week: read the commissioning report, ask in every room whether it gets warm.",
        "",
        _OWNER,
        ("mode",),
    ),
)
"""Every step, in order."""

BY_NAME: dict[str, Step] = {step.name: step for step in STEPS}


def next_step(done: Collection[str], passed: Collection[str] = ()) -> Step | None:
    """First step neither done nor passed over whose conditions are met, or None at the end."""
    return next(
        (
            step
            for step in STEPS
            if step.name not in done and step.name not in passed and not missing(step.name, done)
        ),
        None,
    )


def missing(step: str, done: Iterable[str]) -> list[str]:
    """Steps that must be done before this one and are not."""
    there = set(done)
    return [name for name in BY_NAME[step].after if name not in there]
