"""What is or was wrong."""

import argparse

from analysis.base.time import format_rfc3339
from analysis.faults.registry import FAULTS, examine
from analysis.plant.finding import Finding
from analysis.readings.situation import Situation
from dashboard.command_line.command import (
    TOLD,
    answer_each,
    asked_records,
    head,
    record_arguments,
    say,
    status,
)
from dashboard.parts.words import count, evidence, likelihood


def arguments(parser: argparse.ArgumentParser) -> None:
    """Those of every analysis, and whether a finding sets the exit status."""
    record_arguments(parser)
    parser.add_argument(
        "--fail-on-finding", action="store_true", help="end with status 1 if there is a finding"
    )


def run(arguments: argparse.Namespace) -> int:
    """Everything that is or was wrong."""
    found = asked_records(arguments)
    results = [(a, examine(Situation(plant=a.plant, record=a.record, span=a.span))) for a in found]
    if arguments.json:
        answer_each([head(a) | health.document() for a, health in results])
    else:
        for asked, health in results:
            told = count(len(health.findings), "finding")
            say(f"{asked.plant.name}, {asked.span.days:.1f} days, {told}")
            for finding in health.findings:
                _say_finding(finding)
            for unknown in health.cannot_judge:
                say(f"  cannot judge {unknown.fault} of {unknown.subject}: needs {unknown.needs}")
            for doubt in health.data_quality:
                say(f"  {doubt.channel} from {format_rfc3339(doubt.start_ms)}: {doubt.problem}")
    any_finding = any(health.findings for _, health in results)
    return TOLD if arguments.fail_on_finding and any_finding else status(found)


def _say_finding(finding: Finding) -> None:
    fault = FAULTS[finding.fault]
    until = "still" if finding.end_ms is None else f"to {format_rfc3339(finding.end_ms)}"
    say(f"  [{finding.urgency}] {finding.subject}: {fault.title}")
    say(f"    from {format_rfc3339(finding.start_ms)} {until}, {likelihood(finding.confidence)}")
    for sign in finding.evidence:
        say(f"    {evidence(sign.document())}")
    say(f"    may be: {', '.join(finding.possible)}")
    say(f"    check first: {finding.first_check}")
    say(f"    who: {finding.who}")
    say(f"    caution: {fault.caution}")
