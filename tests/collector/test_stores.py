"""One contract for every store, run against each of them."""

import math
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from analysis.base.time import DAY_MS, HOUR_MS, Span
from analysis.plant.plant import Channel
from analysis.readings.readings import Readings, summarise
from collector.files.settings import StoreSettings
from collector.store.protocol import ALL_TIME, Store, clock_ms
from collector.store.server import ServerStore
from collector.store.sqlite import SqliteStore

A = "quay/heating.power"
B = "quay/boiler.flow"
CHANNELS = {
    A: Channel(id="heating.power", of="heating", quantity="power", unit="W", interval_s=10),
    B: Channel(
        id="boiler.flow",
        of="boiler",
        quantity="temperature",
        unit="Cel",
        place="flow",
        interval_s=60,
    ),
}
DAY0 = (clock_ms() // DAY_MS - 40) * DAY_MS

Opener = Callable[[], Store]


@pytest.fixture(params=["sqlite", "server"])
def opener(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Opener]:
    """A function that opens the same store again and again."""
    opened: list[Store] = []
    bucket = "b" + uuid.uuid4().hex[:8]

    def open_again() -> Store:
        if request.param == "sqlite":
            store: Store = SqliteStore(tmp_path / "s.sqlite", CHANNELS)
        else:
            url = request.getfixturevalue("shared_timeseries").url
            store = ServerStore(
                StoreSettings(kind="server", url=url, bucket=bucket),
                tmp_path / "s.spool.sqlite",
                channels=CHANNELS,
            )
        opened.append(store)
        return store

    yield open_again
    for store in opened:
        store.close()


@pytest.fixture
def store(opener: Opener) -> Store:
    """An empty store."""
    return opener()


def rows(address: str, readings: Readings) -> list[tuple[str, int, float]]:
    return [
        (address, int(t), float(v)) for t, v in zip(readings.time_ms, readings.value, strict=True)
    ]


def walk(start_ms: int, n: int, step_ms: int = 10_000, seed: int = 1) -> Readings:
    rng = np.random.default_rng(seed)
    jitter = rng.integers(-300, 300, n)
    return Readings.of(
        start_ms + np.arange(n) * step_ms + 500 + jitter, np.round(40 + rng.normal(0, 2, n), 1)
    )


def same(a: Readings, b: Readings) -> bool:
    return np.array_equal(a.time_ms, b.time_ms) and np.array_equal(a.value, b.value, equal_nan=True)


def test_write_then_read_gives_the_same(store: Store) -> None:
    """What was written is read back to the millisecond and the bit, at once."""
    readings = walk(DAY0, 500)
    store.write(rows(A, readings))
    assert same(store.read(A, ALL_TIME), readings)
    assert not len(store.read(B, ALL_TIME))
    assert not len(store.read("quay/never.seen", ALL_TIME))


def test_write_same_reading_again_doubles_nothing(store: Store) -> None:
    """A repeated delivery leaves one reading, before and after days are closed."""
    for _ in range(2):
        store.write([(A, DAY0, 1.0), (A, DAY0 + 10, 2.0)])
        store.load(A, Readings.of([DAY0 + 10, DAY0 + 20], [2.0, 3.0]))
        store.tend(clock_ms())
    expected = Readings.of([DAY0, DAY0 + 10, DAY0 + 20], [1.0, 2.0, 3.0])
    assert same(store.read(A, ALL_TIME), expected)


def test_unknown_values_come_back_unknown(store: Store) -> None:
    """A value known to be unknown is kept as such, not dropped and not zero."""
    readings = Readings.of([DAY0, DAY0 + 10, DAY0 + 20], [1.0, math.nan, 2.0])
    store.write(rows(A, readings))
    assert same(store.read(A, ALL_TIME), readings)


def test_read_takes_the_start_and_leaves_the_end(store: Store) -> None:
    """A span includes its start and not its end; lead adds the reading before."""
    readings = Readings.of(DAY0 + np.arange(5) * 1000, np.arange(5.0))
    store.write(rows(A, readings))
    span = Span(DAY0 + 2000, DAY0 + 4000)
    assert store.read(A, span).value.tolist() == [2.0, 3.0]
    assert store.read(A, span, lead=True).value.tolist() == [1.0, 2.0, 3.0]
    late = Span(DAY0 + 3 * HOUR_MS, DAY0 + 4 * HOUR_MS)
    assert store.read(A, late, lead=True).value.tolist() == [4.0]


def test_tend_changes_nothing_that_is_read(store: Store) -> None:
    """Closing days, and late readings after that, leave readings and summaries alike."""
    readings = walk(DAY0, 30_000)
    late = Readings.of([DAY0 + 5_000_123], [77.7])
    store.write(rows(A, readings))
    store.tend(clock_ms())
    store.write(rows(A, late))
    whole = readings.joined(late)
    assert same(store.read(A, ALL_TIME), whole)
    before = store.summary(A, Span(DAY0, DAY0 + 3 * DAY_MS), "minute")
    store.tend(clock_ms())
    after = store.summary(A, Span(DAY0, DAY0 + 3 * DAY_MS), "minute")
    assert same(store.read(A, ALL_TIME), whole)
    for one, other in zip(before, after, strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-6, atol=5e-4)


@pytest.mark.parametrize("step", ["minute", "hour"])
@pytest.mark.parametrize("tended", [False, True])
def test_summary_equals_direct_calculation(store: Store, step: str, tended: bool) -> None:
    """Summaries are the time-weighted figures of the raw readings, gaps and all."""
    readings = walk(DAY0 - HOUR_MS, 20_000)
    gap = (readings.time_ms > DAY0 + 5 * HOUR_MS) & (readings.time_ms < DAY0 + 8 * HOUR_MS)
    readings = Readings(readings.time_ms[~gap], readings.value[~gap])
    store.load(A, readings)
    if tended:
        store.tend(clock_ms())
    step_ms = 60_000 if step == "minute" else HOUR_MS
    span = Span(DAY0, DAY0 + DAY_MS)
    expected = summarise(readings, np.arange(span.start_ms, span.end_ms + 1, step_ms), 25_000)
    some = expected.covered_s > 0
    found = store.summary(A, span, step)  # type: ignore[arg-type]
    assert found.start_ms.tolist() == expected.start_ms[some].tolist()
    for name in ("mean", "low", "high", "covered_s"):
        np.testing.assert_allclose(
            getattr(found, name), getattr(expected, name)[some], rtol=3e-7, atol=5e-4, err_msg=name
        )


def test_latest_and_extent(store: Store) -> None:
    """The newest reading by time, not by arrival, and the ends of each channel."""
    store.write([(A, DAY0 + 5000, 5.0), (B, DAY0 + 1, 60.0)])
    store.write([(A, DAY0, 1.0)])
    assert store.latest() == {A: (DAY0 + 5000, 5.0), B: (DAY0 + 1, 60.0)}
    assert store.extent(A) == Span(DAY0, DAY0 + 5001)
    assert store.extent("quay/never.seen") is None


def test_load_and_live_readings_join(store: Store) -> None:
    """A log loaded over readings already there merges with them."""
    store.write([(A, DAY0 + 10, 1.0), (A, DAY0 + 20, 2.0)])
    store.tend(clock_ms())
    store.load(A, Readings.of([DAY0 + 20, DAY0 + 30, clock_ms()], [2.0, 3.0, 4.0]))
    assert store.read(A, ALL_TIME).value.tolist() == [1.0, 2.0, 3.0, 4.0]


def test_everything_is_there_after_reopening(opener: Opener) -> None:
    """Closing and opening again loses neither readings nor the marks of deliveries."""
    first = opener()
    readings = walk(DAY0, 3000)
    first.write(rows(A, readings), marks=[11, 12])
    first.close()
    second = opener()
    assert same(second.read(A, ALL_TIME), readings)
    assert second.latest()[A] == (int(readings.time_ms[-1]), float(readings.value[-1]))
    assert {11, 12} <= set(second.delivered())
