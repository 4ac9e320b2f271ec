"""One turn of the watch of one plant, with a day against a year of history behind it.

The watch reads a bounded stretch and what was learned in the night, so the ratio should be near
1. A plant of twelve channels at ten seconds; both stores side by side in one run, turn by turn.
Run: python tests/bench/bench_watch.py [DAYS]
"""

import statistics
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT)]

import numpy as np

from analysis.base.time import DAY_MS, HOUR_MS
from analysis.plant.plant import Boiler, Channel, Plant, Pump
from analysis.readings.readings import Readings
from collector.files.settings import Settings
from collector.installation.site import Site
from collector.nightly.jobs import watch, work_at_night
from collector.store.protocol import clock_ms

STEP_MS = 10_000
NOW = clock_ms() // DAY_MS * DAY_MS + 12 * HOUR_MS
TURNS = 15
PUMPS = ("heating", "charging", "recirculation")
PLANT = Plant(
    name="bench",
    timezone="Europe/Dublin",
    boilers=(Boiler(id="boiler", fuel="gas"),),
    pumps=tuple(Pump(id=name, drive="electronic") for name in PUMPS),
    channels=tuple(
        Channel(
            id=f"{of}.{place or 'power'}",
            of=of,
            quantity=quantity,
            unit=unit,
            place=place,
            interval_s=10,
        )  # type: ignore[arg-type]
        for of in ("boiler", *PUMPS)
        for quantity, unit, place in (
            ("power", "W", None),
            ("temperature", "Cel", "flow"),
            ("temperature", "Cel", "return"),
        )
    ),
)


def site_with(folder: Path, days: int) -> Site:
    """A site with so many days of readings, sealed but for the last ones."""
    site = Site.open([PLANT], Settings(folder=folder))
    time_ms = np.arange(NOW - days * DAY_MS, NOW, STEP_MS)
    rng = np.random.default_rng(1)
    for channel in PLANT.channels:
        level = 12.0 if channel.quantity == "power" else 50.0
        value = np.round(level + 0.2 * rng.standard_normal(len(time_ms)), 1)
        site.store.load(f"bench/{channel.id}", Readings.of(time_ms, value))
    site.store.tend(NOW)
    return site


def turn_ms(site: Site) -> float:
    """Processor time of one turn of the watch [ms]; others on the machine do not count."""
    began = time.process_time()
    watch(site, NOW)
    return 1000.0 * (time.process_time() - began)


def main() -> None:
    """Print milliseconds a turn and the ratio."""
    days = int(sys.argv[1]) if len(sys.argv) > 1 else 365
    with tempfile.TemporaryDirectory() as one, tempfile.TemporaryDirectory() as two:
        day, year = site_with(Path(one), 1), site_with(Path(two), days)
        work_at_night(day, NOW)
        learned = day.journal.result("bench", "learned")
        assert learned is not None
        year.journal.save_result("bench", "learned", NOW, learned[1])
        pairs = [(turn_ms(day), turn_ms(year)) for _ in range(TURNS)][2:]
        a, b = (statistics.median(column) for column in zip(*pairs, strict=True))
        print(f"one day behind it {a:7.1f} ms a turn")
        print(f"{days} days behind it {b:7.1f} ms a turn")
        print(f"ratio {b / a:.2f}, target near 1; target 50 ms a turn")
        day.close()
        year.close()


if __name__ == "__main__":
    main()
