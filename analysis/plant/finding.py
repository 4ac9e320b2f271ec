"""What an examination of a plant tells: findings, what could not be judged, doubtful data."""

from dataclasses import dataclass
from typing import Any, Literal

import pandas as pd

from analysis.base.estimate import plain
from analysis.base.time import format_rfc3339

Urgency = Literal["now", "soon", "note"]
URGENCIES: tuple[Urgency, ...] = ("now", "soon", "note")
"""The most urgent first."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """One sign: what a channel showed, against what was expected of it.

    `expected` is words or a range, such as ``"38 to 46"``, in `unit`.
    """

    channel: str
    what: str
    value: float | None
    expected: str
    unit: str

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "channel": self.channel,
            "what": self.what,
            "value": plain(self.value, 4),
            "expected": self.expected,
            "unit": self.unit,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A fault seen on a part of the plant over a stretch of time.

    `end_ms` is None while it lasts; `confidence` is between 0 and 1; `possible`
    names the causes, likeliest first. `raised_ms` is the earliest moment at which
    what was read until then was enough to tell, where that is later than the start.
    """

    subject: str
    fault: str
    start_ms: int
    end_ms: int | None
    urgency: Urgency
    confidence: float
    evidence: tuple[Evidence, ...]
    ruled_out: tuple[str, ...] = ()
    possible: tuple[str, ...] = ()
    first_check: str = ""
    who: str = ""
    raised_ms: int | None = None

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        raised = {} if self.raised_ms is None else {"raised": format_rfc3339(self.raised_ms)}
        return {
            "subject": self.subject,
            "fault": self.fault,
            "from": format_rfc3339(self.start_ms),
            "to": None if self.end_ms is None else format_rfc3339(self.end_ms),
            "urgency": self.urgency,
            "confidence": plain(self.confidence, 3),
            "evidence": [e.document() for e in self.evidence],
            "ruled_out": list(self.ruled_out),
            "possible": list(self.possible),
            "first_check": self.first_check,
            "who": self.who,
        } | raised


@dataclass(frozen=True, slots=True)
class CannotJudge:
    """A fault that cannot be judged, and the sensor or sampling that would settle it."""

    subject: str
    fault: str
    needs: str

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {"subject": self.subject, "fault": self.fault, "needs": self.needs}


@dataclass(frozen=True, slots=True)
class DataProblem:
    """A stretch over which a channel is not to be trusted; `end_ms` None while it lasts."""

    channel: str
    problem: str
    start_ms: int
    end_ms: int | None

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "channel": self.channel,
            "problem": self.problem,
            "from": format_rfc3339(self.start_ms),
            "to": None if self.end_ms is None else format_rfc3339(self.end_ms),
        }


@dataclass(frozen=True, slots=True)
class Health:
    """Everything an examination tells."""

    findings: tuple[Finding, ...]
    cannot_judge: tuple[CannotJudge, ...]
    data_quality: tuple[DataProblem, ...]

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "findings": [f.document() for f in self.findings],
            "cannot_judge": [c.document() for c in self.cannot_judge],
            "data_quality": [d.document() for d in self.data_quality],
        }

    def to_frame(self) -> pd.DataFrame:
        """One row a finding: subject, fault, UTC ``start`` and ``end``, urgency, confidence."""
        columns = ["subject", "fault", "start", "end", "urgency", "confidence"]
        rows = [
            (f.subject, f.fault, f.start_ms, f.end_ms, f.urgency, f.confidence)
            for f in self.findings
        ]
        frame = pd.DataFrame(rows, columns=columns)
        for name in ("start", "end"):
            frame[name] = pd.to_datetime(frame[name], unit="ms", utc=True)
        return frame
