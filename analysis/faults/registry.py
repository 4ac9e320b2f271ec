"""The registry of faults: a row each, with what it needs, who judges it and what a person reads.

Adding a fault is adding a row to one of the lists below and a function that judges it. Pages,
alarms, documents and scoring read this table and know no fault by name.
"""

from collections.abc import Sequence
from dataclasses import replace

from analysis.faults.data_quality import departed_channels
from analysis.faults.fault import Fault, Pace
from analysis.faults.rows_boiler import BOILER_FAULTS
from analysis.faults.rows_flow import FLOW_FAULTS
from analysis.faults.rows_plant import PLANT_FAULTS
from analysis.faults.rows_pump import PUMP_FAULTS
from analysis.faults.rows_setting import SETTING_FAULTS
from analysis.faults.rows_wear import WEAR_FAULTS
from analysis.faults.sensor_faults import doubts
from analysis.plant.finding import CannotJudge, DataProblem, Finding, Health
from analysis.plant.plant import Plant
from analysis.readings.situation import Situation

FAULTS: dict[str, Fault] = {
    f.name: f
    for f in (
        *PUMP_FAULTS,
        *WEAR_FAULTS,
        *FLOW_FAULTS,
        *SETTING_FAULTS,
        *BOILER_FAULTS,
        *PLANT_FAULTS,
    )
}


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
    for fault in FAULTS.values() if faults is None else faults:
        for subject in subjects(situation.plant, fault):
            verdict = fault.judge(replace(situation, subject=subject))
            findings += [_worded(f, fault) for f in verdict.findings]
            if verdict.needs:
                unknown.append(CannotJudge(subject, fault.name, verdict.needs))
    findings.sort(key=lambda f: ("now soon note".index(f.urgency), f.start_ms))
    return Health(
        tuple(findings), tuple(unknown), (*doubts(tuple(findings)), *_doubts(situation, faults))
    )


def _doubts(situation: Situation, faults: Sequence[Fault] | None) -> tuple[DataProblem, ...]:
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
