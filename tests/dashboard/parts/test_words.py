"""Figures as a person reads them."""

import pytest

from analysis.base.estimate import Estimate
from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, parse_rfc3339
from dashboard.parts import words


@pytest.mark.parametrize(
    ("age_ms", "said"),
    [
        (400, "0 s"), (14_000, "14 s"), (90_000, "1 min"), (14 * MINUTE_MS, "14 min"),
        (3 * HOUR_MS, "3 h"), (30 * HOUR_MS, "30 h"), (3 * DAY_MS, "3 days"),
    ],
)  # fmt: skip
def test_age(age_ms: int, said: str) -> None:
    """In the largest unit that says it well."""
    assert words.age(age_ms) == said


def test_moment_is_the_plants_clock() -> None:
    """Local time; the day where it is another, across midnight too."""
    now = parse_rfc3339("2026-07-02T10:00:00Z")
    assert words.moment(parse_rfc3339("2026-07-02T06:05:00Z"), "Europe/Dublin", now) == "07:05"
    late = parse_rfc3339("2026-07-01T22:30:00Z")
    assert words.moment(late, "Europe/Dublin", now) == "Wed 1 Jul 23:30"
    assert words.moment(late, "Europe/Berlin", now) == "00:30"
    old = parse_rfc3339("2024-01-05T00:00:00Z")
    assert words.moment(old, "Europe/Dublin", now) == "5 Jan 2024 00:00"


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0, "0"),
        (0.0512, "0.051"),
        (6.7, "6.7"),
        (45.3, "45"),
        (1234.5, "1\N{NO-BREAK SPACE}234"),
        (None, "\u2013"),
    ],
)
def test_figure(value: float | None, said: str) -> None:
    """Two significant digits, whole numbers whole, unknown a dash."""
    assert words.figure(value, 2) == said


def test_estimate_always_bears_its_interval_or_its_reason() -> None:
    """No bare figure, no bare dash."""
    known = Estimate(163.0, 151.0, 178.0, "kW.h", "measured").document()
    assert words.estimate(known) == "163 kWh (151 to 178)"
    unknown = Estimate.unknown("kW.h", "less than a week measured").document()
    assert words.estimate(unknown) == "unknown: less than a week measured"


@pytest.mark.parametrize(
    ("figures", "said"),
    [
        (
            (36178.0, 5877.0, 67260.0),
            "36\N{NO-BREAK SPACE}000 kWh (6\N{NO-BREAK SPACE}000 to 67\N{NO-BREAK SPACE}000)",
        ),
        ((7.24, 6.93, 7.42), "7.24 kWh (6.93 to 7.42)"),
        ((28.51, 28.1, 28.93), "28.51 kWh (28.10 to 28.93)"),
        ((-17.3, -64.6, 30.0), "-17 kWh (-65 to 30)"),
        ((0.2, -0.4, 31.0), "0 kWh (0 to 31)"),
        ((5.0, 5.0, 5.0), "5 kWh (5 to 5)"),
    ],
)
def test_digits_go_as_far_as_the_interval_leaves_sure(
    figures: tuple[float, float, float], said: str
) -> None:
    """Two digits of the interval's width (GUM 7.2.6), so that it never closes."""
    assert words.estimate(Estimate(*figures, "kW.h", "measured").document()) == said


def test_date_is_the_plants_own() -> None:
    """A day that begins in Auckland at 11:00 UTC bears the date of Auckland."""
    midnight = parse_rfc3339("2026-11-24T11:00:00Z")
    assert words.local_date(midnight, "Pacific/Auckland").isoformat() == "2026-11-25"
    assert words.local_date(midnight, "America/Vancouver").isoformat() == "2026-11-24"


@pytest.mark.parametrize(
    ("confidence", "word"),
    [
        (0.95, "very likely"),
        (0.9, "very likely"),
        (0.7, "likely"),
        (0.4, "possible"),
        (None, "possible"),
    ],
)
def test_a_finding_is_as_likely_as_the_published_scale_says(
    confidence: float | None, word: str
) -> None:
    """IPCC guidance note 2010, table 1: very likely 90 to 100 %, likely 66 to 100 %."""
    assert words.likelihood(confidence) == word


def test_years_to_pay_back_may_never_end() -> None:
    """No figure stands beside "never"."""
    assert words.years(1.7, 3.5) == "in 1.7 to 3.5 years"
    assert words.years(107.3, None) == "in 107.3 years at the earliest, or never"
    assert words.years(None, None) == "never"
