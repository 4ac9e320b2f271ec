"""The present as the pages see it."""

from collector.mqtt.live import Live
from collector.store.protocol import clock_ms

YEAR_MS = 365 * 86_400_000


def test_reading_of_the_future_gives_way_to_the_next() -> None:
    """A clock that was ahead must not leave its last number on the pages until that day comes."""
    live, now = Live(), clock_ms()
    live.resume({"quay/heating.power": (now + 12 * YEAR_MS, 55.0)})
    live.took([("quay/heating.power", now - 1000, 0.0)])
    live.took([("quay/heating.power", now - 5000, 7.0)])
    assert live.latest["quay/heating.power"] == (now - 1000, 0.0)
