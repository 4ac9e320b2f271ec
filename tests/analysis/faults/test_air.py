"""Judge of air: unrest that stays is told, a pump that vents itself is none."""

import numpy as np

from analysis.faults.air import judge_air
from pumping import Pumping, day_of


def restless(pumping: Pumping, begin: float, *, share: float, decay_h: float) -> None:
    """Bubbles: noise that decays from a day on."""
    since = (pumping.minute / 1440 - begin) * 24
    amount = np.where(since >= 0, share * np.exp(-since / decay_h), 0.0)
    rng = np.random.default_rng(9)
    pumping.power = pumping.power * (1 + amount * rng.standard_normal(len(amount)))


def test_air_that_stays_for_days_is_told() -> None:
    """Restless to four per cent, calming over two days: air, told within a day or two."""
    pumping = Pumping()
    restless(pumping, 30.3, share=0.04, decay_h=48)
    (found,) = judge_air(pumping.situation()).findings
    assert abs(day_of(found.start_ms) - 30.3) < 0.2
    assert day_of(found.raised_ms) <= 32.0
    assert day_of(found.end_ms) < 35.0


def test_venting_after_a_refill_is_none() -> None:
    """The same unrest gone within hours is a pump that vents itself."""
    pumping = Pumping()
    restless(pumping, 30.3, share=0.04, decay_h=3)
    assert judge_air(pumping.situation()).findings == ()
