"""What a row of the registry of faults holds, and the cautions that several rows share."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, get_args

from analysis.alarms.states import Timing
from analysis.plant.effects import Effect
from analysis.plant.finding import DataProblem, Finding, Urgency
from analysis.readings.situation import Situation, Verdict

Pace = Literal["minute", "day"]
Group = Literal["pump", "wear", "flow", "setting", "boiler", "plant"]
GROUPS: tuple[Group, ...] = get_args(Group)
"""In the order of tables: what shows in a pump within minutes, its wear, its water, its setting;
boiler and store; the plant with its sensors."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """What a finding says of the readings themselves.

    Attributes
    ----------
    problem : str
        Words for what is wrong with the channel.
    of_every_channel : bool
        Whether all channels of its evidence are in doubt, or the first alone.
    """

    problem: str
    of_every_channel: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainTruth:
    """When a finding is no false alarm though the house is sound: something harmless made it true.

    Attributes
    ----------
    after : Effect
        What the harmless event did.
    stays_h : float
        Hours after the event in which the finding may still begin.
    least : tuple of str and float, optional
        Unit and value that its evidence must reach for it.
    """

    after: Effect
    stays_h: float = 0.0
    least: tuple[str, float] | None = None


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
    group : str
        Where it stands in tables, see `GROUPS`.
    place : int
        Its place within the group, from 1 on.
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
    effects : tuple of Effect
        What it does to the plant.
    follows : tuple of Effect
        What may bring it about: a finding of it is then no false alarm, wherever the cause sits.
    told_with : str, optional
        Faults whose score is also told together: ``urgent`` ones, or those that come ``slow``.
    grace_days : float
        Days after its end in which a finding of it still counts as found [d].
    explains_alarms : bool
        Whether alarms that come with it are not told beside it: a lost supply is one message.
    is_silence : bool
        Whether it is the silence that a lost supply makes.
    doubt : Doubt, optional
        What it says of the readings themselves.
    plain_truth : PlainTruth, optional
        When it is true of a sound house.
    """

    name: str
    title: str
    of: str
    group: Group
    place: int
    needs: str
    judge: Callable[[Situation], Verdict]
    urgency: Urgency
    timing: Timing
    possible: tuple[str, ...]
    first_check: str
    who: str
    caution: str
    pace: Pace = "minute"
    effects: tuple[Effect, ...] = ()
    follows: tuple[Effect, ...] = ()
    told_with: Literal["urgent", "slow"] | None = None
    grace_days: float = 1.0
    explains_alarms: bool = False
    is_silence: bool = False
    doubt: Doubt | None = None
    plain_truth: PlainTruth | None = None

    def may_follow(self, cause: "Fault") -> bool:
        """Whether another fault may rightly bring this one about."""
        return bool(set(self.follows) & set(cause.effects))

    def doubted(self, finding: Finding) -> tuple[DataProblem, ...]:
        """Stretches of channels that one of its findings says are not to be trusted."""
        if self.doubt is None:
            return ()
        problem = self.doubt.problem
        signs = finding.evidence if self.doubt.of_every_channel else finding.evidence[:1]
        return tuple(
            DataProblem(sign.channel, problem, finding.start_ms, finding.end_ms) for sign in signs
        )


HOT_AND_LIVE = (
    "Pump bodies and pipes can scald and the pump is on mains voltage: isolate it, prove it dead "
    "and let it cool before you touch it; follow local rules on who may do this."
)
SEALED = (
    "Gas, oil, flue and a sealed boiler case belong to those who may do it under local rules. "
    "Smell of gas, or a carbon monoxide alarm: leave, air the rooms, call the emergency line. "
    "This program is no carbon monoxide alarm."
)
SENSOR_ONLY = (
    "Nothing here can hurt by itself; mind hot pipes and moving parts when you look at a sensor."
)
