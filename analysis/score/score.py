"""Score what a program says about rehearsed plants against the truth.

A part is what stands before the first point of a subject, so ``heating`` and ``heating.flow``
are one part. A finding *names* a fault where part and fault name agree and it overlaps the
fault's time, stretched by a grace after its end; it *notices* it where the part agrees. A finding
that overlaps no fault of its part, nor names a known consequence of a fault elsewhere, is a false
alarm. Delay runs from ``detectable_from`` to ``raised`` where the finding tells when it was
raised, else to its ``from``; a finding that began earlier counts as no delay.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.base.estimate import Estimate
from analysis.base.time import DAY_MS, HOUR_MS, YEAR_H, Span, parse_rfc3339
from analysis.faults.registry import FAULTS
from analysis.rehearsal.faults.negatives import NEGATIVES
from analysis.savings.claim import judge_claim
from analysis.score.tally import CycleTally, FaultTally, Mistake, Tally

GRACE_MS = DAY_MS


@dataclass(frozen=True, slots=True)
class _Told:
    """A finding or a true fault as a stretch of time on a part."""

    part: str
    fault: str
    start_ms: int
    end_ms: int
    row: Mapping[str, Any]

    def overlaps(self, other: "_Told") -> bool:
        return self.start_ms < other.end_ms and other.start_ms < self.end_ms


def score_findings(tally: Tally, truth: Mapping[str, Any], health: Mapping[str, Any]) -> None:
    """Count the findings of one rehearsal.

    Parameters
    ----------
    tally : Tally
        Counted into, in place.
    truth : mapping
        Truth document, with ``from`` and ``to`` of the record.
    health : mapping
        Health document of any program.
    """
    span = Span(parse_rfc3339(truth["from"]), parse_rfc3339(truth["to"]))
    findings = [_finding(row, span) for row in health["findings"]]
    faults = [_fault(row, span) for row in truth["faults"]]
    unjudged = {(_part(row["subject"]), row["fault"]) for row in health.get("cannot_judge", ())}
    tally.plants += 1
    tally.plant_years += span.hours / YEAR_H
    for fault in faults:
        if fault.row["detectable_from"] is None:
            continue
        if not _score_fault(tally.faults[fault.fault], fault, findings):
            tally.faults[fault.fault].unjudged += (fault.part, fault.fault) in unjudged
            tally.mistakes.append(_mistake(truth, "missed", fault))
    gaps = [(row["what"], _stretch(row)) for row in truth.get("negatives", ())]
    for finding in findings:
        if not _is_explained(finding, faults) and not _is_true_though_sound(finding, gaps):
            tally.false_alarms[finding.fault][finding.row["urgency"]] += 1
            tally.mistakes.append(_mistake(truth, "false", finding))


def _mistake(truth: Mapping[str, Any], what: str, told: _Told) -> Mistake:
    row = told.row
    time = row["from"] if what == "false" else row["detectable_from"]
    return Mistake(
        truth.get("case", ""),
        truth.get("seed", 0),
        what,
        told.part,
        told.fault,
        row.get("urgency"),
        time,
    )


def _finding(row: Mapping[str, Any], span: Span) -> _Told:
    start = parse_rfc3339(row["from"])
    end = span.end_ms if row["to"] is None else parse_rfc3339(row["to"])
    return _Told(_part(row["subject"]), row["fault"], start, max(end, start + 1), row)


def _fault(row: Mapping[str, Any], span: Span) -> _Told:
    known = FAULTS.get(row["fault"])
    grace = GRACE_MS if known is None else round(known.grace_days * DAY_MS)
    end = span.end_ms if row["end"] is None else parse_rfc3339(row["end"])
    return _Told(_part(row["subject"]), row["fault"], parse_rfc3339(row["onset"]), end + grace, row)


def _part(subject: str) -> str:
    return subject.partition(".")[0]


def _score_fault(one: FaultTally, fault: _Told, findings: Iterable[_Told]) -> bool:
    """Count a fault that is there; whether it was named."""
    separable = fault.row.get("separable_from")
    one.present += 1
    one.separable += separable is not None
    near = [f for f in findings if f.part == fault.part and f.overlaps(fault)]
    if not near:
        return False
    one.noticed += 1
    named = [f for f in near if f.fault == fault.fault]
    ranked = sorted(near, key=lambda f: (-(f.row.get("confidence") or 0.0), f.start_ms))
    names = list(dict.fromkeys(f.fault for f in ranked))
    one.first += names[0] == fault.fault
    possible = [_words(cause) for cause in ranked[0].row.get("possible", ())[:2]]
    spoken = any(cause.startswith(_words(fault.fault)) for cause in possible)
    one.second += fault.fault in names[:2] or spoken
    if named:
        one.found += 1
        shown = parse_rfc3339(fault.row["detectable_from"])
        raised = min(parse_rfc3339(f.row.get("raised") or f.row["from"]) for f in named)
        one.delays_h.append(max(raised - shown, 0) / 3.6e6)
        if separable is not None:
            one.separable_found += 1
            one.beyond_h.append((raised - parse_rfc3339(separable)) / 3.6e6)
    return bool(named)


def _words(cause: str) -> str:
    return cause.lower().replace("_", " ")


def _is_explained(finding: _Told, faults: Iterable[_Told]) -> bool:
    return any(
        finding.overlaps(fault)
        and (finding.part == fault.part or _may_follow(finding.fault, fault.fault))
        for fault in faults
    )


def _stretch(row: Mapping[str, Any]) -> tuple[int, int]:
    return parse_rfc3339(row["start"]), parse_rfc3339(row["end"])


def _may_follow(fault: str, cause: str) -> bool:
    """Whether one fault may rightly be brought about by another on another part of the plant."""
    told, there = FAULTS.get(fault), FAULTS.get(cause)
    return told is not None and there is not None and told.may_follow(there)


def _is_true_though_sound(finding: _Told, gaps: Iterable[tuple[str, tuple[int, int]]]) -> bool:
    """Whether a finding tells what the rehearsal's disturbance truly did to the readings.

    A radio gap or a power cut of many hours is no fault of the house, and hence no row of the
    truth's faults; but the channels are silent, nothing is watched meanwhile, and a person wants to
    hear just that. And a wood fire with a water jacket in summer, when nobody takes its heat,
    drives the model's water to 100 and 130 Cel: that the water is so hot is true, and would have to
    wake somebody; so is that it stays so for hours after the fire, or reaches a pump that starts
    only then. Such a finding is neither a fault found nor a false alarm. Any other finding over a
    disturbance is false as ever.
    """
    row = FAULTS.get(finding.fault)
    true = row.plain_truth if row else None
    if true is None or (true.least and _most(finding, true.least[0]) < true.least[1]):
        return False
    later_ms = round(true.stays_h * HOUR_MS)
    return any(
        what in NEGATIVES
        and NEGATIVES[what].effect == true.after
        and finding.start_ms < end + later_ms
        and start < finding.end_ms
        for what, (start, end) in gaps
    )


def _most(finding: _Told, unit: str) -> float:
    """Highest value in a unit that a finding's evidence shows; differences have another unit."""
    values = [e["value"] for e in finding.row.get("evidence", ()) if e.get("unit") == unit]
    return max((v for v in values if v is not None), default=-np.inf)


def score_cycles(
    tally: CycleTally,
    truth: Mapping[str, Any],
    cycles: Mapping[str, Any],
    known: Sequence[Span] | None = None,
    *,
    step_s: float | None = None,
) -> None:
    """Count the burner cycles of one rehearsal.

    A cycle found matches the true firing it overlaps, each at most once. The
    start may be that of the flame or of the sequence that led to it, whichever
    is nearer: a plug sees the motor first.

    Parameters
    ----------
    tally : CycleTally
        Counted into, in place.
    truth, cycles : mapping
        Truth document; cycles document of any program.
    known : sequence of Span, optional
        Where the source was heard at all; firings that lie elsewhere do not count,
        neither where they are told nor where they are not.
    step_s : float, optional
        Distance of the source's readings [s]; None of one that reports changes as they happen.
    """
    boilers = [b for b in cycles["boilers"] if b.get("method")]
    if not boilers:
        return
    true = [_firing(row) for row in truth["cycles"] if row["end"] is not None]
    heard = [one for one in true if known is None or _within(one, known)]
    found = [
        (parse_rfc3339(row["start"]), parse_rfc3339(row["end"]))
        for row in boilers[0]["cycles"]
        if row["complete"] and row["end"] is not None
    ]
    tally.true += len(heard)
    tally.found += len(found)
    brief = [one for one in heard if one[2] - one[0] < 2000.0 * (step_s or 0.0)]
    tally.brief_true += len(brief)
    tally.brief_found += _about(brief, found, round(2000.0 * (step_s or 0.0)))
    for start, end, one in _pairs(true, found):
        if known is not None and not _within(one, known):
            tally.found -= 1  # told rightly, of a firing that nobody was asked for
            continue
        tally.matched += 1
        tally.brief_matched += one[2] - one[0] < 2000.0 * (step_s or 0.0)
        tally.edges_s.append(min(abs(start - one[0]), abs(start - one[1])) / 1000.0)
        tally.edges_s.append(abs(end - one[2]) / 1000.0)


def _firing(row: Mapping[str, Any]) -> tuple[int, int, int]:
    start = parse_rfc3339(row["start"])
    called = parse_rfc3339(row["called"]) if row.get("called") else start
    return called, start, parse_rfc3339(row["end"])


def _within(one: tuple[int, int, int], known: Sequence[Span]) -> bool:
    return any(span.start_ms <= one[0] and one[2] <= span.end_ms for span in known)


def _pairs(
    true: list[tuple[int, int, int]], found: list[tuple[int, int]]
) -> list[tuple[int, int, tuple[int, int, int]]]:
    """Overlapping pairs in order of time, each member used once."""
    pairs = []
    k = 0
    for start, end in sorted(found):
        while k < len(true) and true[k][2] <= start:
            k += 1
        if k < len(true) and true[k][0] < end:
            pairs.append((start, end, true[k]))
            k += 1
    return pairs


def _about(brief: list[tuple[int, int, int]], found: list[tuple[int, int]], late_ms: int) -> int:
    """How many of those found overlap a brief firing, or come up to two readings after it."""
    ends = [(called, end + late_ms) for called, _, end in brief]
    count = k = 0
    for start, end in sorted(found):
        while k < len(ends) and ends[k][1] <= start:
            k += 1
        count += k < len(ends) and ends[k][0] < end
    return count


def score_energy(tally: Tally, truth: Mapping[str, Any], energy: Mapping[str, Any]) -> None:
    """Count the yearly energy of each pump against the truth."""
    for row in energy["pumps"]:
        true = truth["energy"].get(row["pump"], {}).get("kwh_per_year")
        _count(tally.energy, true, row["per_year"])


def score_boiler_year(
    tally: Tally, truth: Mapping[str, Any], starts: Mapping[str, Any], fuel: Mapping[str, Any]
) -> None:
    """Count a boiler's starts and fuel of a year against the truth, where a year was played.

    Parameters
    ----------
    tally : Tally
        Counted into, in place.
    truth : mapping
        Truth document; its ``year`` has ``starts`` and ``fuel_kwh``.
    starts, fuel : mapping
        Estimates' documents.
    """
    year = truth.get("year") or {}
    _count(tally.starts, year.get("starts"), starts)
    _count(tally.fuel, year.get("fuel_kwh"), fuel)


def score_saving(tally: Tally, truth: Mapping[str, Any], saving: Mapping[str, Any]) -> None:
    """Count a saving a year against the truth, and what becomes of a true and a false claim."""
    true, told = truth.get("saving_kwh_per_year"), saving["saving_per_year"]
    _count(tally.saving, true, told)
    if true is None or told.get("value") is None or true <= 0:
        return
    estimate = Estimate(told["value"], told["low"], told["high"], "kW.h")
    words = (judge_claim(estimate, factor * true, None).word for factor in (1.0, FALSE_CLAIM))
    tally.claims.append((next(words), next(words)))


FALSE_CLAIM = 1.5
"""A false claim is half as large again as the truth."""


def _count(rows: list[tuple[float, bool]], true: float | None, estimate: Mapping[str, Any]) -> None:
    """Enter the relative error, and whether the interval holds the truth."""
    if true is None or estimate.get("value") is None or abs(true) < 1e-9:
        return
    inside = estimate["low"] <= true <= estimate["high"]
    rows.append(((estimate["value"] - true) / abs(true), inside))
