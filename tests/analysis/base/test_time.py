"""Times: RFC 3339 and local days over clock changes."""

import numpy as np
import pytest

from analysis.base.time import (
    HOUR_MS,
    Span,
    format_rfc3339,
    local_day,
    local_day_edges,
    parse_rfc3339,
)


@pytest.mark.parametrize(
    ("text", "ms"),
    [
        # the leap second example is left out, as POSIX time has none
        ("1985-04-12T23:20:50.52Z", 482_196_050_520),
        ("1996-12-19T16:39:57-08:00", 851_042_397_000),
        ("1937-01-01T12:00:27.87+00:20", -1_041_337_172_130),
    ],
)
def test_parse_rfc3339_examples_of_the_rfc(text: str, ms: int) -> None:
    """The examples of RFC 3339 section 5.8, epoch values by GNU date."""
    assert parse_rfc3339(text) == ms


@pytest.mark.parametrize(
    "text", ["2026-01-01T00:00:00", "2026-01-01", "1.1.2026", "", "2026-13-01T00:00:00Z"]
)
def test_parse_rfc3339_refuses(text: str) -> None:
    """A time without offset is no time."""
    with pytest.raises(ValueError, match=r".+"):
        parse_rfc3339(text)


def test_format_parses_back() -> None:
    """Seconds stay short, milliseconds are kept."""
    assert format_rfc3339(482_196_050_520) == "1985-04-12T23:20:50.520Z"
    assert format_rfc3339(0) == "1970-01-01T00:00:00Z"


def test_local_days_have_23_and_25_hours() -> None:
    """In Rome the days of the 2026 clock changes have 23 and 25 hours (IANA tz database)."""
    for day, hours in (("2026-03-29", 23), ("2026-10-25", 25), ("2026-06-01", 24)):
        noon = parse_rfc3339(f"{day}T12:00:00Z")
        assert local_day(noon, "Europe/Rome").hours == hours


def test_local_day_edges_enclose_the_span() -> None:
    """Edges reach from before the start to after the end, without a gap."""
    span = Span(parse_rfc3339("2026-03-27T22:30:00Z"), parse_rfc3339("2026-03-30T10:00:00Z"))
    edges = local_day_edges(span, "Europe/Rome")
    assert edges[0] <= span.start_ms < edges[1]
    assert edges[-2] < span.end_ms <= edges[-1]
    assert (np.diff(edges) / HOUR_MS).tolist() == [24, 24, 23, 24]
