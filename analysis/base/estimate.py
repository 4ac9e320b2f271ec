"""A figure with its interval, the only form in which an estimate leaves the analyses."""

import math
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with the interval that should contain the truth.

    `basis` says in words what it rests on. Where no figure can be had, `value`
    is None and `reason` says why.
    """

    value: float | None
    low: float | None
    high: float | None
    unit: str
    basis: str = ""
    confidence: float = 0.95
    reason: str | None = None

    @classmethod
    def unknown(cls, unit: str, reason: str) -> "Estimate":
        """Return the estimate that says why there is none."""
        return cls(None, None, None, unit, reason=reason)

    def times(self, factor: float, unit: str, basis: str | None = None) -> "Estimate":
        """Return this estimate in another unit, by an exact non-negative factor."""
        if self.value is None or self.low is None or self.high is None:
            return Estimate.unknown(unit, self.reason or "")
        return Estimate(
            self.value * factor,
            self.low * factor,
            self.high * factor,
            unit,
            self.basis if basis is None else basis,
            self.confidence,
        )

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        row: dict[str, Any] = {
            "value": plain(self.value),
            "low": plain(self.low),
            "high": plain(self.high),
            "confidence": self.confidence,
            "unit": self.unit,
            "basis": self.basis,
        }
        if self.reason is not None:
            row["reason"] = self.reason
        return row


def plain(value: float | None, digits: int = 6) -> float | None:
    """Round to significant digits for output; what is not finite becomes None."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{digits}g}")
