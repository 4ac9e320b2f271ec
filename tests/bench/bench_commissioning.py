"""Mistakes of rehearsed swaps found within their windows, and what is told of sound ones.

Rehearse, then count; `stokehold score` counts findings, this the checks of commissioning:

    for case in swap swap_reversed swap_air swap_isolator swap_too_weak; do
        stokehold rehearse $case --fleet 10 --seed 600 --days 26 --no-year --parquet --out fleet
    done
    python tests/bench/bench_commissioning.py fleet
"""

import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.base.time import DAY_MS, parse_rfc3339, to_ms
from analysis.exchange.commissioning import BY_NAME, checks
from analysis.exchange.windows import Swapped, fitting
from collector.files.rehearsal_folder import TRUTH_FILE, Rehearsed, read_rehearsal

NIGHT = "night_reduction_misfit"
TOP_SPEED = "III"
SHOWN_MS = 4 * DAY_MS
"""A night reduction that misfits later than this after the swap is not asked of the first week."""


def found(read: Rehearsed, *, days: float, night: bool) -> set[str]:
    """Mistakes found by the readings up to so many days after the swap."""
    (swap,) = read.plant.swaps
    rated = swap.new.rated_power_w
    swapped = Swapped(swap.pump, to_ms(swap.time), rated[1] if rated else None)
    seen = fitting(read.plant, swapped, read.record, swapped.time_ms + round(days * DAY_MS))
    told = checks(seen, night_reduction=night or None)
    return {check.mistake.name for check in told if check.judged.state == "found"}


def shows(read: Rehearsed, mistake: str) -> bool:
    """Whether the mistake shows at all within the window: night reduction often fits by chance."""
    until = to_ms(read.plant.swaps[0].time) + SHOWN_MS
    onsets = [parse_rfc3339(f["onset"]) for f in read.truth["faults"] if f["fault"] == NIGHT]
    return mistake != NIGHT or any(onset < until for onset in onsets)


def stands_at_top(read: Rehearsed) -> bool:
    """Whether the new pump was left at its highest speed, by the truth: that is too strong."""
    return bool(read.truth["settings"].get(read.plant.swaps[0].pump) == TOP_SPEED)


def main(folders: list[Path]) -> None:
    """Judge and count."""
    present, right, beside, sound, top = (Counter[str]() for _ in range(5))
    for folder in folders:
        read = read_rehearsal(folder)
        mistake = (read.truth.get("swap") or {"mistake": ""})["mistake"]
        if mistake == "" or len(read.plant.swaps) != 1:
            continue
        week = found(read, days=7, night=mistake == NIGHT)
        if mistake is None:
            kind = top if stands_at_top(read) else sound
            kind["swaps"] += 1
            kind["blamed"] += bool(week)
            kind.update(week)
            continue
        if shows(read, mistake):
            window = found(read, days=BY_NAME[mistake].window_days, night=mistake == NIGHT)
            present[mistake] += 1
            right[mistake] += mistake in window
        beside.update(f"{mistake}: {name}" for name in week - {mistake})
    for mistake, count in present.items():
        print(f"{mistake:24s} found {right[mistake]} of {count}")
    print(f"all {sum(right.values())} of {sum(present.values())}")
    print("told of sound swaps:", dict(sound))
    print("told of swaps that pass for sound, at the highest speed:", dict(top))
    print("told beside the mistake:", dict(beside))


if __name__ == "__main__":
    main(sorted(p.parent for name in sys.argv[1:] for p in Path(name).glob(f"**/{TRUTH_FILE}")))
