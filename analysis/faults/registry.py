"""The registry of faults: the rows that the modules of this room end in.

Adding a fault is adding a module with a row named `FAULT`; it is found by being here. Pages,
alarms, documents and scoring read this table and know no fault by name.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from importlib import import_module
from pkgutil import iter_modules

from analysis import faults as room
from analysis.faults.data_quality import departed_channels
from analysis.faults.fault import GROUPS, Fault, Group, Pace
from analysis.plant.finding import CannotJudge, DataProblem, Finding, Health
from analysis.plant.plant import Plant
from analysis.readings.situation import Situation


def _rows() -> Iterator[Fault]:
    """Rows of the room's modules; one without a row is a help to others."""
    for module in iter_modules(room.__path__):
        row = getattr(import_module(f"{room.__name__}.{module.name}"), "FAULT", None)
        if isinstance(row, Fault):
            yield row


FAULTS: dict[str, Fault] = {
    row.name: row for row in sorted(_rows(), key=lambda f: (GROUPS.index(f.group), f.place))
}
"""Every fault by its name, in the order of groups and of places within them."""


def grouped(group: Group) -> tuple[Fault, ...]:
    """Rows of one group."""
    return tuple(f for f in FAULTS.values() if f.group == group)


def examine(situation: Situation, faults: Sequence[Fault] | None = None) -> Health:
    """Judge every fault for every part of a plant.

    Parameters
    ----------
    situation : Situation
        Plant, readings and span; its subject is replaced by each part in turn.
    faults : sequence of Fault, optional
        Rows to judge; all by default.
    """
    findings: list[Finding] = []
    unknown: list[CannotJudge] = []
    rows = {f.name: f for f in (FAULTS.values() if faults is None else faults)}
    for fault in rows.values():
        for subject in subjects(situation.plant, fault):
            verdict = fault.judge(replace(situation, subject=subject))
            findings += [_worded(f, fault) for f in verdict.findings]
            if verdict.needs:
                unknown.append(CannotJudge(subject, fault.name, verdict.needs))
    findings.sort(key=lambda f: ("now soon note".index(f.urgency), f.start_ms))
    doubted = [doubt for f in findings for doubt in rows[f.fault].doubted(f)]
    return Health(tuple(findings), tuple(unknown), (*doubted, *_departed(situation, faults)))


def _departed(situation: Situation, faults: Sequence[Fault] | None) -> tuple[DataProblem, ...]:
    """Channels that left what they had shown; a matter of days, not of the live watch."""
    if faults is not None and not any(fault.pace == "day" for fault in faults):
        return ()
    return departed_channels(situation.plant, situation.record, situation.span)


def paced(pace: Pace) -> tuple[Fault, ...]:
    """Rows that are judged by the minute, or each night."""
    return tuple(f for f in FAULTS.values() if f.pace == pace)


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
