"""What a judge gets to see and what it answers."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from analysis.base.time import Span
from analysis.plant.finding import Finding
from analysis.plant.plant import Plant
from analysis.readings.learned import PlantLearned
from analysis.readings.readings import Record
from analysis.readings.worked_once import kept


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """What a judge gets to see.

    `learned` holds what is usual for the plant's machines where the span is a window too short to
    show it, empty before the first night; where it is None a whole record is judged, each day by
    what the days before it taught, whether that record is a log or a store's history.
    `last_ms` tells of each channel's last reading ever, where that may lie before the span.
    The record keeps what several judges of one examination work out of it.
    """

    plant: Plant
    record: Record
    span: Span
    subject: str = "plant"
    learned: PlantLearned | None = None
    last_ms: Mapping[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Let the record keep what is worked out of it."""
        object.__setattr__(self, "record", kept(self.record))


@dataclass(frozen=True, slots=True)
class Verdict:
    """Findings of one judge on one part, or what is missing for judging at all."""

    findings: tuple[Finding, ...] = ()
    needs: str = ""
