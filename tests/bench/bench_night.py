"""What a night costs by the age of a plant, and whether it finds what its whole log shows.

A sample log of a week is laid in again and again, so that each age shows the same plant. Prints
seconds of processor a night, of what looks at the last month and of what looks at all days, and
the memory it grew to. Run: python tests/bench/bench_night.py [DAYS ...]
"""

import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import numpy as np

from analysis.base.time import DAY_MS
from analysis.faults.registry import examine, paced
from analysis.plant.plant import Plant
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation
from collector.files.log_file import Report, load_log
from collector.files.plant_file import load_plant
from collector.files.settings import Settings
from collector.installation.site import Site
from collector.nightly.jobs import work_at_night
from collector.nightly.results import RESULTS, Night
from collector.store.protocol import address, clock_ms

WEEK = ROOT / "sample_logs" / "healthy_week"
OF_A_MONTH = ("normal_w", "runs_above_w", "learned", "firing_w", "cycles", "mode", "departures")


def laid_out(days: int, plant: Plant) -> dict[str, Readings]:
    """The week again and again, up to days gone by, which a store has sealed; counters count on."""
    week = load_log(WEEK / "log.csv.gz", {c.id: c for c in plant.channels}, Report())
    first_ms = min(int(one.time_ms[0]) for one in week.values())
    back_ms = max(-(-(first_ms + (days + 7) * DAY_MS - clock_ms()) // (7 * DAY_MS)), 0) * 7 * DAY_MS
    found = {}
    for channel in plant.channels:
        one = week[channel.id]
        times = range(-(-days // 7))
        grows = float(one.value[-1] - one.value[0]) if channel.quantity == "energy" else 0.0
        time_ms = np.concatenate([one.time_ms - back_ms + k * 7 * DAY_MS for k in times])
        value = np.concatenate([one.value + k * grows for k in times])
        end = np.searchsorted(time_ms, time_ms[0] // DAY_MS * DAY_MS + days * DAY_MS)
        found[channel.id] = Readings(time_ms[:end], value[:end])
    return found


def spent_s(work: Callable[[], object]) -> float:
    """Processor time of a piece of work [s]."""
    begun = time.process_time()
    work()
    return time.process_time() - begun


def night_of(days: int) -> None:
    """Lay in so many days, work one night, and compare with the log."""
    plant = load_plant(WEEK / "plant.toml")
    readings = laid_out(days, plant)
    now_ms = max(int(one.time_ms[-1]) for one in readings.values())
    with tempfile.TemporaryDirectory() as folder:
        site = Site.open([plant], Settings(folder=Path(folder)))
        for channel in plant.channels:
            site.store.load(address(plant, channel), readings[channel.id])
        whole_s = spent_s(lambda: work_at_night(site, now_ms))
        night = Night.of(site, plant, now_ms)
        assert night is not None
        reading_s = spent_s(lambda: [night.record[c.id] for c in plant.channels])
        month_s = spent_s(lambda: [r.make(night) for r in RESULTS if r.name in OF_A_MONTH])
        kept = site.journal.result(plant.key, "slow")
        site.close()
    log = Situation(plant=plant, record=readings, span=night.span)
    same = kept is not None and kept[1] == examine(log, paced("day")).document()
    grown_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{days:5d} days: {whole_s:6.1f} s a night: {reading_s:5.1f} s reading, {month_s:5.1f} s "
        f"of the last month, {max(whole_s - reading_s - month_s, 0.0):5.1f} s of all days; "
        f"{grown_mb:5.0f} MB; as its log: {'yes' if same else 'NO'}"
    )


if __name__ == "__main__":
    for age in [int(word) for word in sys.argv[1:]] or [30, 365, 1500]:
        night_of(age)
