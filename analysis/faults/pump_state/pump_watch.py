"""Pumps watched minute by minute, each day with what the days before it had taught.

The live watch brings what was learned last night and looks at the last hours. Over a long record
the same is done day after day: what is usual is learned from the fortnight before, leaving out
the minutes in which a fault was found, so nothing is judged by what came after it, but for the
first days, which are judged by themselves.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, Span, to_ms
from analysis.faults.pump_state.decide import mind
from analysis.faults.pump_state.decide_unlearned import mind_fresh
from analysis.faults.pump_state.demand_evidence import Signs
from analysis.faults.pump_state.episodes import DEAD, Minded, Spell, spells
from analysis.faults.pump_state.learned import learn_plant
from analysis.plant.installed_pump import placed_pumps
from analysis.plant.plant import Plant
from analysis.pump.recurring_rests import own_rests
from analysis.readings.learned import PlantLearned, PumpLearned
from analysis.readings.minute_grid import lasting, trailing
from analysis.readings.plant_minutes import PlantMinutes, PumpMinutes
from analysis.readings.readings import IntArray, Record
from analysis.readings.situation import Situation
from analysis.readings.two_levels import BoolArray
from analysis.readings.worked_once import once

DAY_MIN = 1440
LEARN_DAYS = 14
FIRST_DAYS = 2
"""Days a new plant, or a new pump after a swap, is in its learning state."""
_LEAD_MIN = 180
_DOUBT_MIN = 60
_BEYOND_PLATE = 1.25
"""Mains 10 % high drive a capacitor motor to 1.17 of its power (model of the exponent)."""
_SHUT_MIN = 5 * DAY_MIN
_RECURS_DAYS = 3
_RECURS_MOST_MIN = 180
_WORK_MS = 6 * HOUR_MS
"""Hands are at the plant for so long before the time of a swap that was written down."""
_AFTER_WORK_MS = 2 * HOUR_MS
LEARN_MS = LEARN_DAYS * DAY_MS


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """Some rows of the minutes, and what was known when they were judged."""

    rows: slice
    learned: PlantLearned

    @property
    def begin(self) -> int:
        """First row that its judges look back to."""
        return max(int(self.rows.start) - _LEAD_MIN, 0)

    @property
    def own(self) -> slice:
        """Where among the rows looked at its own lie."""
        return slice(self.rows.start - self.begin, self.rows.stop - self.begin)

    def signs(self, minutes: PlantMinutes) -> dict[str, Signs]:
        """Signs of every pump over its rows and those it looks back to."""
        part = minutes.part(slice(self.begin, self.rows.stop))
        return {
            name: Signs(
                part,
                _in_place(part, one),
                self.learned.pumps.get(name, PumpLearned()),
                self.learned,
            )
            for name, one in part.pumps.items()
        }


@dataclass(frozen=True, slots=True, eq=False)
class Watched:
    """All pumps of a plant over the minutes of a span.

    The signs of the stage last asked for are kept: each judge of a turn asks for the same.
    """

    minutes: PlantMinutes
    stages: tuple[Stage, ...]
    minded: dict[str, Minded]
    _kept: dict[int, dict[str, Signs]] = field(default_factory=dict, repr=False)

    def spells_of(self, pump: str) -> list[Spell]:
        """Stretches in which a pump shows a fault."""
        return list(spells(self.minded[pump]))

    def signs(self, pump: str, row: int) -> tuple[Signs, int]:
        """Signs of a pump around a row, and the row's place in them."""
        # A record too short for a single minute has one stage, without rows.
        begun = [stage for stage in self.stages if stage.rows.start <= row]
        stage = begun[-1] if begun else self.stages[0]
        return self._signs(stage)[pump], row - stage.begin

    def staged(self, pump: str) -> Iterator[tuple[Stage, slice, Signs]]:
        """Each stage with the pump's signs around it, and where in them its own rows lie."""
        for stage in self.stages:
            yield stage, stage.own, self._signs(stage)[pump]

    def _signs(self, stage: Stage) -> dict[str, Signs]:
        if stage.rows.start not in self._kept:
            self._kept.clear()
            self._kept[stage.rows.start] = stage.signs(self.minutes)
        return self._kept[stage.rows.start]

    def end_ms(self, row: int | None) -> int | None:
        """End of a row's minute [ms], None where there is no row."""
        return None if row is None else int(self.minutes.start_ms[row]) + MINUTE_MS


def watched(situation: Situation) -> Watched:
    """Watch every pump of a situation."""
    return _watched(situation.plant, situation.record, situation.span, situation.learned)


@once
def _watched(plant: Plant, record: Record, span: Span, learned: PlantLearned | None) -> Watched:
    minutes = PlantMinutes.over(plant, record, span)
    if learned is None:
        return _day_by_day(minutes)
    stage = Stage(slice(0, len(minutes)), learned)
    signs = stage.signs(minutes)
    return Watched(minutes, (stage,), _minds(stage, signs, minutes, {}), {0: signs})


def learn(plant_minutes: PlantMinutes) -> PlantLearned:
    """What the last fortnight teaches, the minutes of found faults left out.

    Parameters
    ----------
    plant_minutes : PlantMinutes
        Twice the fortnight at most is of use: the first half to know what the second shows.
    """
    seen = _day_by_day(plant_minutes)
    rows = slice(max(len(plant_minutes) - LEARN_DAYS * DAY_MIN, 0), len(plant_minutes))
    return _learn(plant_minutes, rows, seen.minded)


def learning_span(span: Span) -> Span:
    """Part of a history that `learn` looks at."""
    return Span(max(span.start_ms, span.end_ms - 2 * LEARN_MS), span.end_ms)


def _day_by_day(minutes: PlantMinutes) -> Watched:
    stages: list[Stage] = []
    minded: dict[str, Minded] = {}
    for rows in _days(len(minutes)):
        past = slice(max(rows.start - LEARN_DAYS * DAY_MIN, 0), rows.start)
        if rows.start == 0:
            past = rows
        stage = Stage(rows, _learn(minutes, past, minded))
        stages.append(stage)
        for pump, new in _minds(stage, stage.signs(minutes), minutes, minded).items():
            minded[pump] = Minded.joined([minded[pump], new]) if pump in minded else new
    if not stages:
        stage = Stage(slice(0, 0), PlantLearned())
        return Watched(minutes, (stage,), _minds(stage, stage.signs(minutes), minutes, {}))
    return Watched(minutes, tuple(stages), minded)


def _days(size: int) -> Iterator[slice]:
    """First days in one, then one by one."""
    at = 0
    while at < size:
        end = min(at + (DAY_MIN if at else FIRST_DAYS * DAY_MIN), size)
        yield slice(at, end)
        at = end


def _learn(minutes: PlantMinutes, rows: slice, minded: dict[str, Minded]) -> PlantLearned:
    left_out = {
        pump: _of_old_pump(minutes, pump, rows) | _beyond_plate(one.part(rows))
        for pump, one in minutes.pumps.items()
    }
    told: dict[str, list[Spell]] = {}
    for pump, mind_so_far in minded.items():
        told[pump] = list(spells(mind_so_far))
        left_out[pump] |= _not_usual(told[pump], rows.stop)[rows]
    found = learn_plant(minutes.part(rows), left_out)
    pumps = {
        name: replace(
            _with_rests(minutes, name, one, rows), recurs_min=recurs_min(told.get(name, ()), rows)
        )
        for name, one in found.pumps.items()
    }
    until_ms = int(minutes.start_ms[rows.stop - 1]) + MINUTE_MS if rows.stop else 0
    return replace(found, pumps=pumps, until_ms=until_ms)


def _with_rests(minutes: PlantMinutes, pump: str, one: PumpLearned, rows: slice) -> PumpLearned:
    """What was learned of a pump with the rests that it ended by itself, of twice the time."""
    levels = one.levels
    if levels.split_w is None or levels.low_w is None or levels.high_w is None:
        return one
    wide = slice(max(rows.stop - 2 * LEARN_DAYS * DAY_MIN, 0), rows.stop)
    power = minutes.pumps[pump].drawn.power_w[wide]
    power = np.where(_of_old_pump(minutes, pump, wide), np.nan, power)
    longest = own_rests(power, levels.split_w, (levels.low_w, levels.high_w))
    stands = int(lasting(power <= levels.split_w)[-1]) if len(power) else 0
    since = int(minutes.start_ms[rows.stop - stands]) if stands else None
    return replace(
        one, rest_days=len(longest), rest_most_min=max(longest, default=0), rests_since_ms=since
    )


def recurs_min(told: Iterable[Spell], rows: slice) -> int:
    """Longest stretch told as a fault that ended by itself, if days of them make it a habit.

    Parameters
    ----------
    told : iterable of Spell
        Stretches in which the pump showed a fault, rows counted from the first minute on.
    rows : slice
        Minutes that are learned from.

    Returns
    -------
    int
        Minutes; 0 where there is no such habit.
    """
    ended = [
        (spell.first // DAY_MIN, spell.end - spell.first)
        for spell in told
        if spell.end is not None and rows.start <= spell.first < rows.stop
    ]
    days = {day for day, length in ended if length <= _RECURS_MOST_MIN}
    lengths = [length for _, length in ended if length <= _RECURS_MOST_MIN]
    return max(lengths) if len(days) >= _RECURS_DAYS else 0


def _swap_ms(minutes: PlantMinutes, pump: str) -> IntArray:
    return np.array([to_ms(s.time) for s in minutes.plant.swaps if s.pump == pump], np.int64)


def _of_old_pump(minutes: PlantMinutes, pump: str, rows: slice) -> BoolArray:
    """Minutes before the last swap that lies within the rows: they tell of the pump taken out."""
    start = minutes.start_ms[rows]
    swaps = _swap_ms(minutes, pump)
    within = swaps[swaps <= start[-1]] if len(start) else swaps[:0]
    return np.asarray(start < (within.max() if len(within) else np.iinfo(np.int64).min))


def _beyond_plate(one: PumpMinutes) -> BoolArray:
    """Minutes in which a pump that keeps within its plate took far more: it is failing.

    Learned as usual, its power would end its own finding at midnight. One that takes more most of
    the time has another plate than was entered.
    """
    rated, power = one.pump.rated_power_w, np.nan_to_num(one.drawn.power_w)
    if rated is None:
        return np.zeros(len(power), bool)
    over = power > _BEYOND_PLATE * rated[1]
    return np.asarray(over & (2 * over.sum() < (power > 0.5 * rated[0]).sum()))


def _is_new(minutes: PlantMinutes, pump: str) -> BoolArray:
    """Minutes from the work of a swap on in which what is usual for the new pump is learned."""
    new = np.zeros(len(minutes), bool)
    for swap_ms in _swap_ms(minutes, pump):
        since = minutes.start_ms - swap_ms
        new |= (since >= -_WORK_MS) & (since < FIRST_DAYS * DAY_MS)
    return new


def at_work(minutes: PlantMinutes) -> BoolArray:
    """Minutes in which hands are at the plant, by the swaps that were written down."""
    working = np.zeros(len(minutes), bool)
    for swap in minutes.plant.swaps:
        since = minutes.start_ms - to_ms(swap.time)
        working |= (since >= -_WORK_MS) & (since < _AFTER_WORK_MS)
    return working


def _in_spells(minded: Minded, size: int) -> BoolArray:
    flag = np.zeros(max(size, len(minded.cause)), bool)
    for spell in spells(minded):
        flag[spell.first : spell.end] = True
    return flag[:size]


def _not_usual(told: Iterable[Spell], size: int) -> BoolArray:
    """Minutes nothing is learned from: of a fault that woke, and the first days of a shut valve.

    Learned as usual, a pipe that stays cold would end its own finding at midnight. What lasts for
    days without waking anybody becomes usual in the end.
    """
    flag = np.zeros(size, bool)
    for spell in told:
        if spell.wakes is not None:
            flag[spell.first : spell.end] = True
        elif spell.cause == DEAD:
            end = spell.first + _SHUT_MIN
            flag[spell.first : end if spell.end is None else min(spell.end, end)] = True
    return flag


def _in_place(part: PlantMinutes, one: PumpMinutes) -> PumpMinutes:
    """The minutes with the pump that was in place at their end: a swap may change its habit."""
    if not len(part):
        return one
    first, last = int(part.start_ms[0]), int(part.start_ms[-1])
    return replace(one, pump=placed_pumps(part.plant, one.pump, Span(first, last + 1))[-1].pump)


def _minds(
    stage: Stage, signs: dict[str, Signs], minutes: PlantMinutes, before: dict[str, Minded]
) -> dict[str, Minded]:
    """Judge each pump over a stage's rows; store pumps first, for heat may be meant for them."""
    rows, own = stage.rows, stage.own
    doubts = np.zeros(own.stop, bool)
    found: dict[str, Minded] = {}
    for name in sorted(signs, key=lambda n: signs[n].one.pump.duty != "store"):
        whole = mind(signs[name], doubts_store=doubts)
        if recurs := signs[name].usual.recurs_min:
            # Told on days before, and over by itself each time: news is only what lasts longer.
            whole = whole.patient(1.5 * recurs + 5.0)
        found[name] = whole.part(own)
        if (new := _is_new(minutes, name)[rows]).any():
            fresh = mind_fresh(signs[name]).part(own)
            found[name] = found[name].where(new, fresh.silenced(at_work(minutes)[rows]))
        if signs[name].one.pump.duty == "store":
            doubts |= trailing(whole.suspect, _DOUBT_MIN) > 0
            joined = Minded.joined([before[name], found[name]]) if name in before else found[name]
            doubts |= _in_spells(joined, rows.stop)[stage.begin :]
    return found
