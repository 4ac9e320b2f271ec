"""Reading a channel-year from each store against the plainest way to do it, and what it costs.

The SQLite store against a plain (channel, ts, value) table read through the Arrow driver, in a
process of its own (two copies of SQLite on one machine must not share a file); the server store
against its bare CSV export; cycles against reading, of one channel and of a boiler's three (power
and two temperatures, with the second source). Targets: time 0.3, size 0.2, server 1.2, cycles 1.0.
Needs the extra 'bench'. Run: python tests/bench/bench_read.py [CHANNELS]
"""

import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import numpy as np
from scipy.signal import lfilter

from analysis.base.time import DAY_MS, Span
from analysis.firing.burner_cycles import boiler_cycles
from analysis.plant.plant import Boiler, Channel, Plant
from analysis.readings.readings import Readings
from collector.files.settings import StoreSettings
from collector.store.protocol import ALL_TIME, clock_ms
from collector.store.server import ServerStore
from collector.store.sqlite import SqliteStore
from servers import TimeSeriesServer

YEAR = 365 * 8640
START = (clock_ms() // DAY_MS - 366) * DAY_MS
PLANT = Plant(
    name="bench",
    timezone="UTC",
    boilers=(Boiler(id="boiler", fuel="gas"),),
    channels=(Channel(id="power", of="boiler", quantity="power", unit="W", interval_s=10),),
)
PIPES = tuple(
    Channel(id=place, of="boiler", quantity="temperature", place=place, unit="Cel", interval_s=10)
    for place in ("flow", "return")
)
BOILER = replace(PLANT, channels=(*PLANT.channels, *PIPES))
ARROW = """
import sqlite3, sys, time
import numpy as np
import adbc_driver_sqlite.dbapi as adbc
path, data, channels = sys.argv[1], np.load(sys.argv[2]), int(sys.argv[3])
plain = sqlite3.connect(path)
plain.execute(
    "CREATE TABLE reading(channel INTEGER, ts INTEGER, value REAL, PRIMARY KEY(channel, ts))"
    " WITHOUT ROWID"
)
for c in range(channels):
    rows = zip([c] * len(data["t"]), data["t"].tolist(), data["v"].tolist())
    plain.executemany("INSERT INTO reading VALUES (?, ?, ?)", rows)
plain.commit()
plain.execute("VACUUM")
plain.close()
best = 1e9
with adbc.connect(path) as connection, connection.cursor() as cursor:
    for _ in range(3):
        began = time.perf_counter()
        cursor.execute("SELECT ts, value FROM reading WHERE channel = 0 ORDER BY ts")
        table = cursor.fetch_arrow_table()
        assert len(table["ts"].to_numpy()) == len(table["value"].to_numpy()) == len(data["t"])
        best = min(best, time.perf_counter() - began)
print(best)
"""


def readings() -> Readings:
    """A boiler's plug over a year: jittered times, tenths of a watt, cycles."""
    rng = np.random.default_rng(1)
    time_ms = START + np.arange(YEAR) * 10_000 + rng.integers(-200, 200, YEAR)
    firing = (np.arange(YEAR) % 160) < 55
    power = np.where(firing, rng.normal(85, 5, YEAR), rng.normal(4, 0.3, YEAR))
    return Readings.of(time_ms, np.round(power, 1))


def pipes(year: Readings) -> dict[str, Readings]:
    """Flow and return of the same boiler: water that lags its firing, in tenths of a kelvin."""
    rng = np.random.default_rng(2)
    warm = lfilter([0.02], [1.0, -0.98], year.value > 40.0)
    found = {}
    for name, low, swing in (("flow", 45.0, 20.0), ("return", 38.0, 10.0)):
        value = low + swing * warm + rng.normal(0.0, 0.06, YEAR)
        found[name] = Readings.of(year.time_ms, np.round(value, 1))
    return found


def boiler_row(store: SqliteStore, year: Readings) -> None:
    """A boiler's year of three channels: cycles and their second source against reading them."""
    record = {"power": year} | pipes(year)
    for name, readings_of in record.items():
        store.load(f"boiler/{name}", readings_of)
    store.tend(clock_ms())
    clock = time.process_time  # both are this process's own work; other programs do not count
    read = best(lambda: [store.read(f"boiler/{name}", ALL_TIME) for name in record], 5, clock)
    span = Span(int(year.time_ms[0]), int(year.time_ms[-1]) + 1)
    found = best(lambda: boiler_cycles(BOILER, BOILER.boilers[0], record, span), 5, clock)
    row("cycles of a boiler's three channels, checked", found, read, 1.0, "s")


def best(
    call: Callable[[], object], times: int = 5, clock: Callable[[], float] = time.perf_counter
) -> float:
    """Shortest of several runs [s]."""
    took = []
    for _ in range(times):
        began = clock()
        call()
        took.append(clock() - began)
    return min(took)


def row(what: str, ours: float, plain: float, target: float, unit: str) -> None:
    """One line of the table."""
    print(f"{what:<44}{ours:>10.3f}{plain:>10.3f} {unit:<3}{ours / plain:>7.2f}{target:>8.2f}")


def main(channels: int) -> None:
    """Print the table."""
    year = readings()
    head = "one channel-year, 3.15 million readings"
    print(f"{head:<44}{'ours':>10}{'plain':>10}{'ratio':>11}  target")
    with tempfile.TemporaryDirectory() as text:
        folder = Path(text)
        store = SqliteStore(folder / "s.sqlite")
        for c in range(channels):
            store.load(f"bench/{c}", year)
        store.tend(clock_ms())
        ours = best(lambda: store.read("bench/0", ALL_TIME))
        np.savez(folder / "year.npz", t=year.time_ms, v=year.value)
        plain = folder / "plain.sqlite"
        told = subprocess.run(
            [sys.executable, "-c", ARROW, plain, folder / "year.npz", str(channels)],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        row("SQLite store, read", ours, float(told.stdout), 0.3, "s")
        sizes = [(folder / f"{n}.sqlite").stat().st_size / 1e6 for n in ("s", "plain")]
        row(f"SQLite store, size of {channels} channels", *sizes, 0.2, "MB")  # type: ignore[misc]
        span = Span(int(year.time_ms[0]), int(year.time_ms[-1]) + 1)
        cycles = best(lambda: boiler_cycles(PLANT, PLANT.boilers[0], {"power": year}, span), 3)
        row("cycles, against reading", cycles, ours, 1.0, "s")
        boiler_row(store, year)
        store.close()
        server_row(folder, year)


def server_row(folder: Path, year: Readings) -> None:
    """The server store against its own bare export."""
    server = TimeSeriesServer(folder / "server")
    settings = StoreSettings(kind="server", url=server.url, bucket="bench")
    store = ServerStore(settings, folder / "spool.sqlite")
    store.load("bench/0", year)
    server.flush()
    selector = "bench_reading_value%7Bchannel%3D%22bench%2F0%22%7D"
    url = (
        f"{server.url}/api/v1/export/csv?match[]={selector}&format=__timestamp__:unix_ms,__value__"
    )

    def bare() -> None:
        with urllib.request.urlopen(url) as answer:
            assert answer.read().count(b"\n") == len(year)

    plain = best(bare, 3)
    row(
        "server store, read, against bare export",
        best(lambda: store.read("bench/0", ALL_TIME), 3),
        plain,
        1.2,
        "s",
    )
    store.close()
    server.stop()


main(int(sys.argv[1]) if len(sys.argv) > 1 else 2)
