"""Mistakes of rehearsed swaps found within their windows, and what is told of sound ones.

Run: python tests/bench/bench_commissioning.py FIRST_SEED HOUSES [DAYS]
Each house is rehearsed once sound and once with each mistake; some ten seconds a rehearsal.
"""

import sys
from collections import Counter
from importlib import import_module
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.commissioning import BY_NAME, checks
from analysis.fitting import Swapped, fitting
from analysis.rehearsal.cases import CASES
from analysis.rehearsal.telling import _misfits
from analysis.timebase import DAY_MS

rehearse = import_module("analysis.rehearsal.rehearse")
SHOWN_MS = 4 * DAY_MS
"""A night reduction that misfits later than this after the swap is not asked of the first week."""


def found(played, *, days: float, night: bool) -> set[str]:
    """Mistakes found by the readings up to so many days after the swap."""
    (swap,) = played.plant.swaps
    swapped = Swapped("heating", played.truth.swap.time_ms, swap.new.rated_power_w[1])
    until = swapped.time_ms + round(days * DAY_MS)
    told = checks(
        fitting(played.plant, swapped, played.record, until), night_reduction=night or None
    )
    return {check.mistake.name for check in told if check.judged.state == "found"}


def shows(staging, played) -> bool:
    """Whether the mistake shows at all within the window: night reduction often fits by chance."""
    if staging.swap.mistake != "night_reduction_misfit":
        return True
    (plan,) = staging.faults
    misfits = _misfits(played.scene, played.trajectory, plan)
    return any(m.onset_ms < played.truth.swap.time_ms + SHOWN_MS for m in misfits)


def main(first: int, houses: int, days: float) -> None:
    """Rehearse, judge, count."""
    present, right, beside, sound = Counter(), Counter(), Counter(), Counter()
    swaps = [case for case in CASES.values() if case.swap]
    for seed in range(first, first + houses):
        for case in swaps:
            staging = rehearse.stage(case, days, seed)
            played = rehearse.perform(staging, year=False, twins=False)
            mistake = staging.swap.mistake
            night = mistake == "night_reduction_misfit"
            week = found(played, days=7, night=night)
            if mistake is None:
                at_top = staging.swap.new.settings[0].label == "III"
                sound.update(f"{name}{' (left at III)' if at_top else ''}" for name in week)
                sound["swaps"] += 1
                continue
            if shows(staging, played):
                window = found(played, days=BY_NAME[mistake].window_days, night=night)
                present[mistake] += 1
                right[mistake] += mistake in window
            beside.update(f"{mistake}: {name}" for name in week - {mistake})
    for mistake, count in present.items():
        print(f"{mistake:24s} found {right[mistake]} of {count}")
    print(f"all {sum(right.values())} of {sum(present.values())}")
    print("told of sound swaps:", dict(sound))
    print("told beside the mistake:", dict(beside))


if __name__ == "__main__":
    asked = [float(word) for word in sys.argv[1:]]
    main(int(asked[0]), int(asked[1]), asked[2] if len(asked) > 2 else 26.0)
