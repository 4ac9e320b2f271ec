"""Whether a saving is what was claimed, and the ceiling no saving can pass."""

from dataclasses import dataclass
from typing import Any, Literal

from analysis.base.estimate import Estimate, plain

Word = Literal["confirmed", "exceeded", "refuted", "not_proven"]

YEAR_HOURS = 8760.0
CONFIRMED_SHARE = 0.8
"""Share of the claim that must be certain before it counts as confirmed.

Our own setting. A claim half as large again as the truth is then confirmed only if the interval
lies a fifth too high.
"""


@dataclass(frozen=True, slots=True)
class Ceiling:
    """Most that an exchange can save: all that the old pump can have used in a year [kWh]."""

    kwh: float
    sum_in_words: str

    @classmethod
    def of_power(cls, power_w: float, words: str, hours: float = YEAR_HOURS) -> "Ceiling":
        """Ceiling of a pump that drew this power for so many hours a year."""
        kwh = power_w * hours / 1000.0
        return cls(kwh, f"{words}: {power_w:.1f} W x {hours:,.0f} h = {kwh:,.0f} kWh a year")

    def plus(self, other: "Ceiling") -> "Ceiling":
        """Ceiling of two pumps together."""
        words = f"{self.sum_in_words}; {other.sum_in_words}"
        return Ceiling(self.kwh + other.kwh, words)

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {"kwh_per_year": plain(self.kwh), "sum": self.sum_in_words}


@dataclass(frozen=True, slots=True)
class Verdict:
    """What is to be said of a claim; `word` is None where nothing was claimed and it saves."""

    word: Word | None
    why: str


def judge_claim(saving: Estimate, claim: float | None, ceiling: Ceiling | None) -> Verdict:
    """Hold a claim against a saving and its ceiling.

    Parameters
    ----------
    saving : Estimate
        Saving a year [kWh] with its interval.
    claim : float or None
        What was claimed [kWh a year].
    ceiling : Ceiling or None
        All that the old pump can have used.
    """
    if claim is not None and ceiling is not None and claim > ceiling.kwh:
        return Verdict(
            "refuted",
            f"no exchange saves more than the old pump used, and {claim:,.0f} kWh is more "
            f"({ceiling.sum_in_words})",
        )
    low, high = saving.low, saving.high
    if saving.value is None or low is None or high is None:
        return Verdict("not_proven", saving.reason or "the saving is not known")
    return _without_claim(low, high) if claim is None else _with_claim(low, high, claim)


def _with_claim(low: float, high: float, claim: float) -> Verdict:
    between = f"the saving lies between {low:,.0f} and {high:,.0f} kWh a year"
    if claim > high:
        return Verdict("refuted", f"{between}, all below the {claim:,.0f} kWh claimed")
    if claim < low:
        return Verdict("exceeded", f"{between}, all above the {claim:,.0f} kWh claimed")
    share = f"{CONFIRMED_SHARE:.0%} of them"
    if low >= CONFIRMED_SHARE * claim:
        words = f"the {claim:,.0f} kWh claimed are possible, and at least {share} are certain"
        return Verdict("confirmed", f"{between}; {words}")
    words = f"the {claim:,.0f} kWh claimed are possible, but {share} are not certain"
    return Verdict("not_proven", f"{between}; {words}. A longer record narrows it")


def _without_claim(low: float, high: float) -> Verdict:
    if low <= 0 <= high:
        return Verdict(
            "not_proven", f"between {low:,.0f} and {high:,.0f} kWh a year: it may save nothing"
        )
    if high < 0:
        return Verdict("refuted", f"it uses {-high:,.0f} to {-low:,.0f} kWh a year more")
    return Verdict(None, f"it saves {low:,.0f} to {high:,.0f} kWh a year; nothing was claimed")
