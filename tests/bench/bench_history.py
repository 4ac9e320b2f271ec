"""Server time of the history page, one year of eight channels, against reading one of them raw.

Both from the same SQLite file in one run: the page's whole answer, as the browser gets it, over
the time to read one channel-year of 3.15 million readings. Target 0.2.
Run: python tests/bench/bench_history.py
"""

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import numpy as np

from analysis.base.time import DAY_MS
from analysis.plant.plant import Channel, Plant, Pump
from analysis.readings.readings import Readings
from collector.files.settings import Settings
from collector.installation.site import Site
from collector.store.protocol import ALL_TIME, address, clock_ms
from dashboard.web.app import create_app

YEAR = 365 * 8640
CHANNELS = 8
PLANT = Plant(
    name="bench",
    timezone="Europe/Dublin",
    pumps=tuple(Pump(id=f"p{i}", drive="electronic") for i in range(CHANNELS)),
    channels=tuple(
        Channel(id=f"p{i}.power", of=f"p{i}", quantity="power", unit="W", interval_s=10)
        for i in range(CHANNELS)
    ),
)


def readings(end_ms: int, seed: int) -> Readings:
    """A plug's year up to a moment: jittered times, tenths of a watt, runs."""
    rng = np.random.default_rng(seed)
    time_ms = end_ms - (YEAR - np.arange(YEAR)) * 10_000 + rng.integers(-200, 200, YEAR)
    power = np.where(
        (np.arange(YEAR) % 160) < 55, rng.normal(48, 3, YEAR), rng.normal(4, 0.3, YEAR)
    )
    return Readings.of(time_ms, np.round(power, 1))


def best(call: Callable[[], object], times: int = 15) -> float:
    """Least processor time of several runs [s], which other work on the machine disturbs less."""
    took = []
    for _ in range(times):
        began = time.process_time()
        call()
        took.append(time.process_time() - began)
    return min(took)


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as text:
        site = Site.open([PLANT], Settings(folder=Path(text)))
        midnight = clock_ms() // DAY_MS * DAY_MS
        for i, channel in enumerate(PLANT.channels):
            site.store.load(address(PLANT, channel), readings(midnight, i))
        site.store.tend(midnight + DAY_MS)
        client = create_app(site).server.test_client()
        asked = {
            "output": "..page.children...top.children...tick.interval...tick.disabled"
            "...said.children..",
            "outputs": [
                {"id": i, "property": p}
                for i, p in (
                    ("page", "children"), ("top", "children"), ("tick", "interval"),
                    ("tick", "disabled"), ("said", "children"),
                )
            ],
            "inputs": [
                {"id": "address", "property": "pathname", "value": "/history"},
                {"id": "address", "property": "search", "value": "?span=year"},
                {"id": "tick", "property": "n_intervals", "value": None},
            ],
            "changedPropIds": ["address.pathname"],
            "state": [],
        }  # fmt: skip

        def page(encoding: str = "") -> None:
            headers = {"Accept-Encoding": encoding}
            answer = client.post("/_dash-update-component", json=asked, headers=headers)
            assert answer.status_code == 200
            assert encoding or answer.data.count(b"hour summaries") == 1

        name = address(PLANT, PLANT.channels[0])
        raw = best(lambda: site.store.read(name, ALL_TIME))
        print(f"{'one year of 8 channels':<34}{'page':>9}{'raw':>9}{'ratio':>8}  target")
        for what, encoding in (("history page", ""), ("the same, compressed", "br")):
            ours = best(lambda encoding=encoding: page(encoding))  # type: ignore[misc]
            print(f"{what:<34}{ours:>9.4f}{raw:>9.4f}{ours / raw:>8.2f}    0.20")
        site.close()


main()
