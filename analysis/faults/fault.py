"""What a row of the registry of faults holds, and the cautions that several rows share."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from analysis.alarms.states import Timing
from analysis.plant.finding import Urgency
from analysis.readings.situation import Situation, Verdict

Pace = Literal["minute", "day"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault.

    Attributes
    ----------
    name : str
        Name in findings.
    title : str
        What a person reads first.
    of : str
        Kind of part it can befall: ``pump``, ``boiler``, ``store`` or ``plant``.
    needs : str
        Channels and sampling without which it cannot be judged.
    judge : callable
        Gives a `Verdict` for one part of a plant.
    urgency : str
        ``now`` wakes somebody, ``soon`` waits for the morning, ``note`` for the week.
    timing : Timing
        Delays of its alarm.
    possible : tuple of str
        Causes, likeliest first, where the judge knows no better order.
    first_check : str
        What a person can look at without tools.
    who : str
        Who may act.
    caution : str
        What can hurt.
    pace : str
        ``minute``: judged live over the last hours. ``day``: judged each night over the
        whole history; its alarm moves then.
    """

    name: str
    title: str
    of: str
    needs: str
    judge: Callable[[Situation], Verdict]
    urgency: Urgency
    timing: Timing
    possible: tuple[str, ...]
    first_check: str
    who: str
    caution: str
    pace: Pace = "minute"


HOT_AND_LIVE = (
    "Pump bodies and pipes can scald and the pump is on mains voltage: isolate it, prove it dead "
    "and let it cool before you touch it; follow local rules on who may do this."
)
