"""The registry of faults: a row each, with what it needs, who judges it and what a person reads.

Adding a fault is adding a row here and a function that judges it. Pages, alarms, documents
and scoring read this table and know no fault by name.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from analysis import watch
from analysis.alarms import Timing
from analysis.finding import CannotJudge, Finding, Health, Urgency
from analysis.plant import Plant
from analysis.watch import Verdict


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
    """

    name: str
    title: str
    of: str
    needs: str
    judge: Callable[[watch.Situation], Verdict]
    urgency: Urgency
    timing: Timing
    possible: tuple[str, ...]
    first_check: str
    who: str
    caution: str


HOT_AND_LIVE = (
    "Pump bodies and pipes can scald and the pump is on mains voltage: isolate it, prove it dead "
    "and let it cool before you touch it; follow local rules on who may do this."
)

FAULTS: dict[str, Fault] = {
    f.name: f
    for f in (
        Fault(
            name="stall",
            title="Pump does not run although it should",
            of="pump",
            needs="power of the pump; for a pump that is not always on also the flow temperature "
            "or power of the boiler, to know when it should run",
            judge=watch.judge_stall,
            urgency="now",
            timing=Timing(on_delay_s=120, off_delay_s=300),
            possible=("rotor seized", "supply or controller output off", "electronics failed"),
            first_check="Is the pump's lamp lit, does it hum, and is the pipe after it warm?",
            who="Owner: look and listen. Electrically competent person or heating firm: the pump.",
            caution=HOT_AND_LIVE,
        ),
        Fault(
            name="overheating",
            title="Temperature above its limit",
            of="plant",
            needs="a temperature channel",
            judge=watch.judge_overheating,
            urgency="now",
            timing=Timing(on_delay_s=0, off_delay_s=600),
            possible=("no circulation", "boiler thermostat failed", "sensor wrong"),
            first_check="Read the boiler's own thermometer; does it agree?",
            who="Owner: turn the boiler off at its own switch. Heating firm: find the cause.",
            caution="Scalding water and steam: do not open vents or drains. Never defeat a limit "
            "thermostat; reset it at most once, then call the heating firm.",
        ),
    )
}


def examine(situation: watch.Situation, faults: Iterable[Fault] | None = None) -> Health:
    """Judge every fault for every part of a plant.

    Parameters
    ----------
    situation : Situation
        Plant, readings and span; its subject is replaced by each part in turn.
    faults : iterable of Fault, optional
        Rows to judge; all by default.
    """
    findings: list[Finding] = []
    unknown: list[CannotJudge] = []
    for fault in FAULTS.values() if faults is None else faults:
        for subject in subjects(situation.plant, fault):
            verdict = fault.judge(replace(situation, subject=subject))
            findings += [_worded(f, fault) for f in verdict.findings]
            if verdict.needs:
                unknown.append(CannotJudge(subject, fault.name, verdict.needs))
    findings.sort(key=lambda f: ("now soon note".index(f.urgency), f.start_ms))
    return Health(tuple(findings), tuple(unknown), ())


def subjects(plant: Plant, fault: Fault) -> list[str]:
    """Parts a fault can befall."""
    kinds = {
        "pump": [p.id for p in plant.pumps],
        "boiler": [b.id for b in plant.boilers],
        "store": [s.id for s in plant.stores],
        "plant": ["plant"],
    }
    return kinds[fault.of]


def _worded(finding: Finding, fault: Fault) -> Finding:
    """Fill in the registry's words where the judge gave none."""
    return replace(
        finding,
        possible=finding.possible or fault.possible,
        first_check=finding.first_check or fault.first_check,
        who=finding.who or fault.who,
    )
