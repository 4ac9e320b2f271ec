"""A judge's mind about one pump minute by minute, and the stretches of faults in it."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from analysis.readings.minute_grid import trailing
from analysis.readings.readings import IntArray
from analysis.readings.two_levels import BoolArray

NONE, DEAD, STALL, DRY = 0, 1, 2, 3
CAUSES = (STALL, DRY, DEAD)
"""What a minute may show; the greater number overrules the less."""


@dataclass(frozen=True, slots=True, eq=False)
class Minded:
    """The judge's mind minute by minute: cause seen, whether it wakes, what looks wrong or well.

    `cause` is NONE where nothing is concluded in that minute; `suspect` marks minutes that may
    belong to a fault, `well` those that end one, by cause.
    """

    cause: IntArray
    wakes: BoolArray
    suspect: BoolArray
    well: dict[int, BoolArray]

    @classmethod
    def joined(cls, parts: list["Minded"]) -> "Minded":
        """One after another."""
        return cls(
            np.concatenate([p.cause for p in parts]),
            np.concatenate([p.wakes for p in parts]),
            np.concatenate([p.suspect for p in parts]),
            {c: np.concatenate([p.well[c] for p in parts]) for c in CAUSES},
        )

    def part(self, rows: slice) -> "Minded":
        """Some of the minutes."""
        well = {c: flag[rows] for c, flag in self.well.items()}
        return Minded(self.cause[rows], self.wakes[rows], self.suspect[rows], well)

    def where(self, rows: BoolArray, other: "Minded") -> "Minded":
        """Another mind in some of the minutes."""
        return Minded(
            np.where(rows, other.cause, self.cause),
            np.where(rows, other.wakes, self.wakes),
            np.where(rows, other.suspect, self.suspect),
            {c: np.where(rows, other.well[c], flag) for c, flag in self.well.items()},
        )

    def silenced(self, unknown: BoolArray) -> "Minded":
        """Nothing concluded in minutes in which the pump is not known."""
        return Minded(
            np.where(unknown, NONE, self.cause),
            self.wakes & ~unknown,
            self.suspect & ~unknown,
            {c: flag | unknown for c, flag in self.well.items()},
        )

    def patient(self, least_min: float) -> "Minded":
        """Nothing concluded before what looks wrong has gone on for longer than this."""
        age = np.arange(len(self.suspect)) - _began(self.suspect)
        early = age <= least_min
        return Minded(
            np.where(early, NONE, self.cause), self.wakes & ~early, self.suspect, self.well
        )


@dataclass(frozen=True, slots=True)
class Spell:
    """A fault's stretch in minutes: first row, row of the conclusion, end row or None."""

    cause: int
    first: int
    raised: int
    end: int | None
    wakes: int | None


def spells(minded: Minded) -> Iterator[Spell]:
    """Walk through the minutes: a fault lasts from its conclusion until the pump is seen well."""
    size, at = len(minded.cause), 0
    since = _began(minded.suspect)
    stirs = np.flatnonzero(minded.cause)
    while at < size:
        place = np.searchsorted(stirs, at)
        if place >= len(stirs):
            return
        raised = int(stirs[place])
        cause = int(minded.cause[raised])
        other = _after(minded.cause > cause, raised)
        well = _after(minded.well[cause], raised)
        end = min(other, well, size)
        wakes = _after(minded.wakes & (minded.cause == cause), raised)
        yield Spell(
            cause,
            max(int(since[raised]), at),
            raised,
            None if end >= size else end,
            wakes if wakes < end else None,
        )
        # What ended well must be seen sound before it can begin anew.
        at = end if other <= well else _after(minded.cause == NONE, end - 1)


def _after(flag: BoolArray, row: int) -> int:
    """First row after this one with the flag, or far beyond."""
    rest = flag[row + 1 :]
    at = int(np.argmax(rest)) if len(rest) else 0
    return row + 1 + at if len(rest) and rest[at] else 1 << 60


def _began(suspect: BoolArray) -> IntArray:
    """Where the stretch of suspect minutes began, short pauses of up to 15 min included."""
    at = np.arange(len(suspect))
    paused = trailing(suspect, 16) == 0
    begin = np.maximum.accumulate(np.where(paused, at + 1, 0))
    first_after = np.minimum(begin, at)
    # The pause's end is not yet the first suspect minute.
    where = np.append(np.flatnonzero(suspect), [len(suspect)])
    return np.asarray(np.minimum(where[np.searchsorted(where, first_after)], at), np.int64)
