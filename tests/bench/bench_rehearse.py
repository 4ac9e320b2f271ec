"""How fast the rehearsal plant plays: half a year of one plant at 10 s with at least 12 channels.

Told as seconds of one core, as times faster than the plant itself, and against writing the same
readings to a log, which whoever rehearses pays as well. Target: 60 s of one core, compiled before;
the twins that date each fault are left out, they cost the same again for every fault.
Run: python tests/bench/bench_rehearse.py [DAYS]
"""

import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT)]

from analysis.rehearsal.plan.cases import CASES
from analysis.rehearsal.rehearse import Rehearsal, perform, stage
from collector.files.rehearsal_folder import write_rehearsal

DAYS = float(sys.argv[1]) if len(sys.argv) > 1 else 182.5


def rehearse_wide(days: float, seed: int) -> Rehearsal:
    """A plant with plugs at 10 s and most of its pipes measured."""
    case = CASES["mixed"]
    pipes = ("heating.flow", "heating.return", "boiler.power", "boiler.flow", "boiler.return")
    wish = replace(case.wish, plug_s=10.0, store=True, sensed=(*pipes, "voltage", "power_factor"))
    return perform(stage(replace(case, wish=wish), days, seed), year=False, twins=False)


def main() -> None:
    """Print the table."""
    rehearse_wide(2.0, 1)
    began = time.process_time()
    made = rehearse_wide(DAYS, 2)
    played_s = time.process_time() - began
    began = time.process_time()
    with tempfile.TemporaryDirectory() as folder:
        rows = write_rehearsal(Path(folder), made)
    written_s = time.process_time() - began
    channels = len(made.plant.channels)
    print(f"{DAYS:.1f} days, {channels} channels, {rows:,} readings")
    print(f"played in {played_s:.1f} s of one core (target 60 s for 182.5 days)")
    print(f"{DAYS * 86400 / played_s:,.0f} times as fast as the plant itself")
    print(f"{played_s / written_s:.2f} times the time of writing the log ({written_s:.1f} s)")


if __name__ == "__main__":
    main()
