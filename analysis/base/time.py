"""The only place with calendar arithmetic: spans, RFC 3339 and the plant's local days."""

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

SECOND_MS = 1_000
MINUTE_MS = 60_000
HOUR_MS = 3_600_000
DAY_MS = 86_400_000
EARLIEST_MS, LATEST_MS = 946_684_800_000, 4_102_444_800_000
"""Readings are dated from 2000 to 2100; anything else is a clock that was never set."""
YEAR_H = 8_766.0
"""Hours of a mean Julian year."""


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time, `start_ms` included, `end_ms` not [ms since 1970, UTC]."""

    start_ms: int
    end_ms: int

    @property
    def hours(self) -> float:
        """Length [h]."""
        return (self.end_ms - self.start_ms) / HOUR_MS

    @property
    def days(self) -> float:
        """Length in days of 24 h."""
        return (self.end_ms - self.start_ms) / DAY_MS


_RFC3339 = re.compile(r"\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}:\d{2}(\.\d+)?([Zz]|[+-]\d{2}:\d{2})")


def parse_rfc3339(text: str) -> int:
    """Milliseconds since 1970 of an RFC 3339 time, which must carry its offset.

    Raises
    ------
    ValueError
        Not such a time, or one without offset.
    """
    if not _RFC3339.fullmatch(text):
        raise ValueError(f"{text!r} is no RFC 3339 time with offset, like 2026-03-14T10:30:00Z")
    moment = datetime.fromisoformat(text.upper())
    return to_ms(moment)


def to_ms(moment: datetime) -> int:
    """Milliseconds since 1970 of an aware datetime, rounded down."""
    if moment.tzinfo is None:
        raise ValueError(f"{moment} bears no time zone")
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)


def from_ms(time_ms: int) -> datetime:
    """Aware UTC datetime of milliseconds since 1970."""
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=int(time_ms))


def format_rfc3339(time_ms: int) -> str:
    """RFC 3339 UTC text with ``Z``; milliseconds only where there are any."""
    text = (
        from_ms(time_ms)
        .replace(tzinfo=None)
        .isoformat(timespec="milliseconds" if time_ms % SECOND_MS else "seconds")
    )
    return text + "Z"


def local_day_edges(span: Span, timezone: str) -> NDArray[np.int64]:
    """Edges of the local calendar days that touch a span.

    Days of 23 and 25 hours come out as such.

    Parameters
    ----------
    span : Span
        Any stretch of time.
    timezone : str
        IANA name of the plant's zone.

    Returns
    -------
    ndarray of int64, shape (days + 1,)
        Midnights [ms since 1970]; the first at or before the span's start, the
        last at or after its end.
    """
    zone = ZoneInfo(timezone)
    day = from_ms(span.start_ms).astimezone(zone).date()
    edges = []
    while True:
        midnight = to_ms(datetime(day.year, day.month, day.day, tzinfo=zone))
        edges.append(midnight)
        if midnight >= span.end_ms:
            return np.asarray(edges, dtype=np.int64)
        day += timedelta(days=1)


def local_day(time_ms: int, timezone: str) -> Span:
    """The plant's calendar day in which a moment lies."""
    edges = local_day_edges(Span(time_ms, time_ms + 1), timezone)
    return Span(int(edges[0]), int(edges[1]))


def local_minute_of_day(time_ms: NDArray[np.int64], timezone: str) -> NDArray[np.int64]:
    """Minutes since local midnight by the clock on the wall, for each moment [min]."""
    zone = ZoneInfo(timezone)
    hours, place = np.unique(time_ms // HOUR_MS, return_inverse=True)
    offset = [
        (from_ms(int(hour) * HOUR_MS).astimezone(zone).utcoffset() or timedelta())
        // timedelta(minutes=1)
        for hour in hours
    ]
    local = time_ms // MINUTE_MS + np.asarray(offset, np.int64)[place.ravel()]
    return np.asarray(local % 1440, np.int64)
