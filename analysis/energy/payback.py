"""What an exchange costs and brings: payback, annuity, present value.

The annuity is that of EN 15459-1 and VDI 2067-1 (the form from memory).
"""

from dataclasses import dataclass
from math import inf, isfinite, log
from typing import Any

from analysis.base.estimate import Estimate, plain


def capital_recovery_factor(interest: float, years: float) -> float:
    """Share of an investment that repays it in equal yearly parts."""
    if interest == 0:
        return 1.0 / years
    growth = float((1.0 + interest) ** years)
    return interest * growth / (growth - 1.0)


def present_value_factor(interest: float, years: float) -> float:
    """Present value of one a year over so many years."""
    return 1.0 / capital_recovery_factor(interest, years)


def discounted_payback(investment: float, yearly: float, interest: float) -> float:
    """Years until the discounted yearly gain repays the investment; infinite where it never does.

    Interest is reckoned yearly, the fraction of the last year with it.
    """
    if yearly <= 0 or interest * investment >= yearly:
        return inf
    if interest == 0:
        return investment / yearly
    return -log(1.0 - interest * investment / yearly) / log(1.0 + interest)


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """Terms of an investment: what it costs installed, over how many years, at what interest.

    `investment_share` is the half-width of the price as a share of it, 0 for a
    firm offer. `avoided` is what would have been spent anyway, as the old pump
    is near its end.
    """

    investment: float
    years: float = 10.0
    interest: float = 0.03
    investment_share: float = 0.0
    avoided: float = 0.0

    @property
    def net(self) -> float:
        """Investment less what would have been spent anyway."""
        return max(self.investment - self.avoided, 0.0)

    def payback(self, yearly: Estimate) -> Estimate:
        """Simple payback [years]; without an upper end where the gain may be nil."""
        if yearly.value is None or yearly.low is None or yearly.high is None:
            return Estimate.unknown("a", yearly.reason or "the yearly gain is not known")
        if yearly.high <= 0:
            return Estimate.unknown("a", "it gains nothing in a year: it never pays back")
        low = self.net * (1 - self.investment_share) / yearly.high
        high = self.net * (1 + self.investment_share) / yearly.low if yearly.low > 0 else None
        value = self.net / yearly.value if yearly.value > 0 else None
        reason = None if high is not None else "the gain may be nil, then it never pays back"
        return Estimate(value, low, high, "a", "cost over yearly gain", yearly.confidence, reason)

    def annuity(self) -> float:
        """What the investment costs a year."""
        return self.net * capital_recovery_factor(self.interest, self.years)

    def yearly_result(self, yearly: Estimate) -> Estimate:
        """Yearly gain less the annuity: what remains."""
        if yearly.value is None or yearly.low is None or yearly.high is None:
            return Estimate.unknown(yearly.unit, yearly.reason or "the yearly gain is not known")
        annuity, share = self.annuity(), self.investment_share
        return Estimate(
            yearly.value - annuity,
            yearly.low - annuity * (1 + share),
            yearly.high - annuity * (1 - share),
            yearly.unit,
            f"gain less annuity over {self.years:g} years at {self.interest:.1%}",
            yearly.confidence,
        )

    def document(self, yearly: Estimate) -> dict[str, Any]:
        """Return the JSON form for a yearly gain."""
        gain = yearly.value or 0.0
        discounted = discounted_payback(self.net, gain, self.interest)
        worth = gain * present_value_factor(self.interest, self.years) - self.net
        return {
            "investment": plain(self.investment),
            "spent_anyway": plain(self.avoided),
            "years": self.years,
            "interest": self.interest,
            "annuity": plain(self.annuity()),
            "payback_years": self.payback(yearly).document(),
            "discounted_payback_years": plain(discounted) if isfinite(discounted) else None,
            "yearly_result": self.yearly_result(yearly).document(),
            "present_value": plain(worth) if yearly.value is not None else None,
        }
