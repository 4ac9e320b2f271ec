"""Figures as a person reads them."""

import pytest

from analysis.estimate import Estimate
from analysis.timebase import DAY_MS, HOUR_MS, MINUTE_MS, parse_rfc3339
from dashboard import words


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
    [(0, "0"), (0.0512, "0.051"), (6.7, "6.7"), (45.3, "45"), (1234.5, "1 234"), (None, "\u2013")],
)
def test_figure(value: float | None, said: str) -> None:
    """Two significant digits, whole numbers whole, unknown a dash."""
    assert words.figure(value, 2) == said


def test_estimate_always_bears_its_interval_or_its_reason() -> None:
    """No bare figure, no bare dash."""
    known = Estimate(163.0, 151.0, 178.0, "kW.h", "measured").document()
    assert words.estimate(known, 3) == "163 kWh (151 to 178)"
    unknown = Estimate.unknown("kW.h", "less than a week measured").document()
    assert words.estimate(unknown) == "unknown: less than a week measured"


def test_date_is_the_plants_own() -> None:
    """A day that begins in Auckland at 11:00 UTC bears the date of Auckland."""
    midnight = parse_rfc3339("2026-11-24T11:00:00Z")
    assert words.local_date(midnight, "Pacific/Auckland").isoformat() == "2026-11-25"
    assert words.local_date(midnight, "America/Vancouver").isoformat() == "2026-11-24"
