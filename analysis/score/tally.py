"""What is counted over any number of rehearsals, and the score it makes.

Every count is of whole rehearsals, so tallies of shared-out houses add up; `document` turns the
sums into shares, quantiles and rates a plant-year.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, fields, is_dataclass
from typing import Any

import numpy as np
from scipy.stats import binomtest

from analysis.base.estimate import plain
from analysis.faults.registry import FAULTS
from analysis.plant.finding import URGENCIES

GROUPS = {
    group: frozenset(f.name for f in FAULTS.values() if f.told_with == group)
    for group in ("urgent", "slow")
}
"""Faults whose rows are also told together: those that wake somebody, and those that grow."""


@dataclass(slots=True)
class FaultTally:
    """Counts of one fault over all rehearsals, and the delays [h].

    `separable` counts those that grew to what sets a slow fault apart, `beyond_h` is the
    time from then to telling, negative where it was told before. `unjudged` are the missed
    ones of which it was said that they cannot be judged there.
    """

    present: int = 0
    unjudged: int = 0
    found: int = 0
    noticed: int = 0
    first: int = 0
    second: int = 0
    delays_h: list[float] = field(default_factory=list)
    separable: int = 0
    separable_found: int = 0
    beyond_h: list[float] = field(default_factory=list)


@dataclass(slots=True)
class CycleTally:
    """Counts of burner cycles, and how far the edges of those found lie from the truth [s].

    `sources` counts what they were taken from, `told` those that tell single firings. Of true,
    found and matched ones the `brief_...` are shorter than two readings, which no rule can tell for
    sure: one may fall between two readings, and a reading may be a step late.
    """

    sources: int = 0
    told: int = 0
    true: int = 0
    found: int = 0
    matched: int = 0
    brief_true: int = 0
    brief_found: int = 0
    brief_matched: int = 0
    edges_s: list[float] = field(default_factory=list)

    def document(self) -> dict[str, Any]:
        """Return the JSON form: shares of found and of true ones, and their harmonic mean."""
        precision, recall = _share(self.matched, self.found), _share(self.matched, self.true)
        return {
            "true": self.true,
            "precision": precision,
            "recall": recall,
            "f1": _share(2 * self.matched, self.found + self.true) if self.true else None,
            "brief": _share(self.brief_true, self.true),
            "f1_of_longer": self._f1_of_longer(),
            "edge_error_s": {
                "median": _quantile(self.edges_s, 0.5),
                "p90": _quantile(self.edges_s, 0.9),
            },
        }

    def _f1_of_longer(self) -> float | None:
        """The same of firings that last two readings or more."""
        matched = self.matched - self.brief_matched
        true, found = self.true - self.brief_true, self.found - self.brief_found
        return _share(2 * matched, true + found) if true else None


def _no_alarms() -> defaultdict[str, dict[str, int]]:
    return defaultdict(_by_urgency)


def _by_urgency() -> dict[str, int]:
    return dict.fromkeys(URGENCIES, 0)


def _no_sources() -> defaultdict[str, CycleTally]:
    return defaultdict(CycleTally)


def _no_faults() -> defaultdict[str, FaultTally]:
    return defaultdict(FaultTally)


@dataclass(frozen=True, slots=True)
class Mistake:
    """A fault missed, or a finding without a fault: where to look when a judge is mended."""

    case: str
    seed: int
    what: str
    part: str
    fault: str
    urgency: str | None
    time: str


@dataclass(slots=True)
class Tally:
    """Everything counted over any number of rehearsals."""

    plants: int = 0
    plant_years: float = 0.0
    faults: dict[str, FaultTally] = field(default_factory=_no_faults)
    false_alarms: dict[str, dict[str, int]] = field(default_factory=_no_alarms)
    mistakes: list[Mistake] = field(default_factory=list)
    cycles: CycleTally = field(default_factory=CycleTally)
    sources: dict[str, CycleTally] = field(default_factory=_no_sources)
    energy: list[tuple[float, bool]] = field(default_factory=list)
    starts: list[tuple[float, bool]] = field(default_factory=list)
    fuel: list[tuple[float, bool]] = field(default_factory=list)
    saving: list[tuple[float, bool]] = field(default_factory=list)
    claims: list[tuple[str | None, str | None]] = field(default_factory=list)

    def add(self, other: "Tally") -> None:
        """Count in what another tally counted."""
        _add(self, other)

    def document(self) -> dict[str, Any]:
        """Return the JSON form of the score."""
        total = {u: sum(row[u] for row in self.false_alarms.values()) for u in URGENCIES}
        return {
            "plants": self.plants,
            "plant_years": plain(self.plant_years, 4),
            "faults": {name: _fault_row(one) for name, one in sorted(self.faults.items())},
            "together": self._together(),
            "false_alarms_per_plant_year": {
                "all": {u: _per(n, self.plant_years) for u, n in total.items()},
                "by_fault": {
                    name: {u: _per(n, self.plant_years) for u, n in row.items()}
                    for name, row in sorted(self.false_alarms.items())
                },
            },
            "cycles": self.cycles.document(),
            "energy": _figures(self.energy),
            "starts": _figures(self.starts),
            "fuel": _figures(self.fuel),
            "saving": _figures(self.saving),
            "claims": self._claims(),
            "mistakes": [asdict(one) for one in self.mistakes],
        }

    def _together(self) -> dict[str, Any]:
        """Rows of all faults of a group, and of all there are."""
        pooled = {"all": FaultTally(), **{group: FaultTally() for group in GROUPS}}
        for name, one in self.faults.items():
            for group in ["all", *(g for g, names in GROUPS.items() if name in names)]:
                _add(pooled[group], one)
        return {group: _fault_row(one) for group, one in pooled.items() if one.present}

    def _claims(self) -> dict[str, Any]:
        """How the true saving fares as a claim, and one half as large again."""
        count = len(self.claims)
        true, false = ([pair[k] for pair in self.claims] for k in (0, 1))
        return {
            "count": count,
            "true_confirmed": _share(true.count("confirmed"), count),
            "true_refuted": _share(true.count("refuted"), count),
            "false_confirmed": _share(false.count("confirmed"), count),
            "false_refuted": _share(false.count("refuted"), count),
        }

    def sources_document(self) -> dict[str, Any]:
        """Return the JSON form of cycles by the kind of their source."""
        return {
            kind: {"sources": one.sources, "told": one.told} | one.document()
            for kind, one in sorted(self.sources.items())
        }


def _add(mine: Any, other: Any) -> None:
    """Add counts, lists and tables of one tally to another of its kind, field by field."""
    for one in fields(mine):
        kept, more = getattr(mine, one.name), getattr(other, one.name)
        if isinstance(kept, list):
            kept.extend(more)
        elif is_dataclass(kept):
            _add(kept, more)
        elif isinstance(kept, dict):
            for key, value in more.items():
                _add_entry(kept, key, value)
        else:
            setattr(mine, one.name, kept + more)


def _add_entry(table: dict[str, Any], key: str, value: Any) -> None:
    if isinstance(value, dict):
        for urgency, count in value.items():
            table[key][urgency] += count
    else:
        _add(table[key], value)


def _fault_row(one: FaultTally) -> dict[str, Any]:
    return {
        "present": one.present,
        "recall": _share(one.found, one.present),
        "recall_between": _between(one.found, one.present),
        "unjudged": one.unjudged,
        "recall_of_judged": _share(one.found, one.present - one.unjudged),
        "noticed": _share(one.noticed, one.present),
        "cause_first": _share(one.first, one.noticed),
        "cause_in_first_two": _share(one.second, one.noticed),
        "delay_h": {"median": _quantile(one.delays_h, 0.5), "p90": _quantile(one.delays_h, 0.9)},
        "separable": {
            "present": one.separable,
            "recall": _share(one.separable_found, one.separable),
            "delay_h": {
                "median": _quantile(one.beyond_h, 0.5),
                "p90": _quantile(one.beyond_h, 0.9),
            },
        },
    }


def _share(part: int, whole: int) -> float | None:
    return plain(part / whole, 4) if whole else None


def _between(part: int, whole: int) -> tuple[float, float] | None:
    """95 % interval of a share (Wilson's), as if the cases were independent."""
    if not whole:
        return None
    found = binomtest(part, whole).proportion_ci(method="wilson")
    return float(f"{found.low:.4g}"), float(f"{found.high:.4g}")


def _per(count: int, years: float) -> float | None:
    return plain(count / years, 4) if years else None


def _quantile(values: Sequence[float], level: float) -> float | None:
    return plain(float(np.quantile(values, level)), 4) if values else None


def _figures(rows: Sequence[tuple[float, bool]]) -> dict[str, Any]:
    errors = [abs(error) for error, _ in rows]
    inside = sum(held for _, held in rows)
    return {
        "count": len(rows),
        "median_error": _quantile(errors, 0.5),
        "p90_error": _quantile(errors, 0.9),
        "interval_contains_truth": _share(inside, len(rows)),
        "contains_between": _between(inside, len(rows)),
    }
