"""What the watch of a pump says: stall, dry run and dead head as findings with their evidence."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from analysis.base.time import SECOND_MS
from analysis.faults.pump_state.demand_evidence import LONGER_MIN, MUCH_LONGER, Signs
from analysis.faults.pump_state.episodes import DEAD, DRY, NAMES, STALL, Spell
from analysis.faults.pump_state.pump_watch import Watched, watched
from analysis.plant.finding import Evidence, Finding
from analysis.plant.plant import Pump
from analysis.readings.minute_grid import is_coarse, lasting
from analysis.readings.readings import FloatArray, Readings, usual_step_ms
from analysis.readings.situation import Situation, Verdict

_LOOK_MIN = 8
_TOLD_RESTS = 2
_BLIND_STEP_W = 2.5
"""Half of what a small electronic pump takes at its floor (common practice, no source)."""


def judge_stall(situation: Situation) -> Verdict:
    """A pump that should run and does not turn: too little power, tries, or a locked rotor's."""
    return _verdict(situation, STALL)


def judge_dry_run(situation: Situation) -> Verdict:
    """A pump that runs without water: less power than ever, with low pressure or standing pipes."""
    return _verdict(situation, DRY)


def judge_dead_head(situation: Situation) -> Verdict:
    """A pump that runs against a shut valve: sound power, and the loop parts from a hot boiler."""
    return _verdict(situation, DEAD)


def _verdict(situation: Situation, cause: int) -> Verdict:
    pump = next(p for p in situation.plant.pumps if p.id == situation.subject)
    if needs := _missing(situation, pump):
        return Verdict(needs=needs)
    seen = watched(situation)
    every = seen.spells_of(pump.id)
    own = [spell for spell in every if spell.cause == cause]
    if cause == DRY:
        own = [spell for spell in own if not _stopped_beside(seen, pump.id, spell)]
    if cause == STALL and pump.always_on:
        own = list(_news(seen, pump.id, own))
    findings = tuple(_finding(situation, seen, spell) for spell in own)
    return Verdict(findings, _unknown(situation, seen, pump, cause))


def _news(watch: Watched, pump: str, spells: Iterable[Spell]) -> Iterator[Spell]:
    """Stalls without the rests from which the pump came back by itself as it did twice before.

    Of a pump that its plug alone tells of, a rest is one sign. Who was told of two, or that the
    plant file is wrong, has no use for the next of the same day; one much longer is told late.
    """
    told: list[int] = []
    known = False
    for spell in spells:
        signs, row = watch.signs(pump, spell.raised)
        if signs.sensed[row] or not (signs.idle[row] or signs.odd[row]):
            yield spell
            continue
        end = len(watch.minutes) if spell.end is None else spell.end
        usual = MUCH_LONGER * max(told, default=0) + LONGER_MIN
        by_habit = bool(signs.rests_by_habit[row])
        if not known and (by_habit or len(told) < _TOLD_RESTS):
            yield spell
        elif end - spell.first > usual:
            yield replace(spell, raised=max(spell.raised, spell.first + round(usual)))
        known = known or by_habit
        if spell.end is not None:
            told.append(end - spell.first)


def _stopped_beside(seen: Watched, pump: str, spell: Spell) -> bool:
    """Whether a pump merely stopped where another runs dry: one loss of water is one message."""
    signs, row = seen.signs(pump, spell.raised)
    if not signs.idle[row]:
        return False
    dry = (s for p in seen.minded if p != pump for s in seen.spells_of(p) if s.cause == DRY)
    return any(
        s.wakes is not None and s.first <= spell.raised and (s.end is None or s.end > spell.first)
        for s in dry
    )


def _missing(situation: Situation, pump: Pump) -> str:
    """What is missing for judging this pump at all."""
    channel = situation.plant.first(pump.id, "power")
    readings = situation.record.get(channel.id, Readings.empty()) if channel else Readings.empty()
    if channel is None or not len(readings.within(situation.span)):
        return f"a power channel of '{pump.id}' with readings within this time"
    if is_coarse(readings, channel):
        every_s = channel.interval_s or usual_step_ms(readings) / SECOND_MS
        return (
            f"too coarse: readings of '{channel.id}' come every {every_s:.0f} s, in which start "
            "attempts and a thermal cut-out hide; at least every two minutes would do, every "
            "10 s tells soonest"
        )
    return ""


def _unknown(situation: Situation, seen: Watched, pump: Pump, cause: int) -> str:
    """What would settle what the record leaves open, in words; empty where nothing does."""
    signs, _ = seen.signs(pump.id, len(seen.minutes) - 1)
    if not signs.usual.is_known:
        return _learning_words(pump, cause)
    if missing := _sensor_missing(signs, seen, pump, cause):
        return missing
    minded = seen.minded[pump.id]
    told = minded.cause.any() or minded.well[cause].any()
    if situation.learned is not None and not told:
        return f"a time when '{pump.id}' runs or should run; it rests"
    return _dead_band(situation, signs, pump)


def _sensor_missing(signs: Signs, seen: Watched, pump: Pump, cause: int) -> str:
    """The sensor without which this pump's fault shows nowhere, in words; empty where it is."""
    both = f"flow temperatures of '{pump.id}' and of the boiler"
    if cause == STALL and not _has_demand(signs):
        return "power or flow temperature of the boiler, to know when the pump should run"
    if signs.has_pipe:
        return ""
    if cause == DEAD:
        return f"{both}, to see standing water"
    if cause == DRY and np.isnan(seen.minutes.pressure_bar).all():
        return "the system pressure, or flow temperatures of loop and boiler"
    if cause == STALL and signs.usual.levels.rests_alike:
        return f"{both}: by its power the pump at work cannot be told from one at rest"
    return ""


def _learning_words(pump: Pump, cause: int) -> str:
    """What is told meanwhile of a pump of which nothing is learned yet."""
    words = f"learning: two hours in which '{pump.id}' was seen running and the night after them"
    meanwhile = {
        STALL: "power above its plate, endless start attempts, a cold pipe below a fired boiler",
        DRY: "running without any system pressure",
    }
    return words + (f"; until then only {meanwhile[cause]} is told" if cause in meanwhile else "")


def _dead_band(situation: Situation, signs: Signs, pump: Pump) -> str:
    """An electronic pump behind a plug that tells only steps of watts, in words."""
    channel = situation.plant.first(pump.id, "power")
    if channel is None or signs.is_induction or signs.usual.step_w < _BLIND_STEP_W:
        return ""
    return (
        f"too coarse: '{channel.id}' tells power in steps of {signs.usual.step_w:.1f} W, in which "
        f"start attempts and dry running of an electronic pump hide; 0.5 W or less would do"
    )


def _has_demand(signs: Signs) -> bool:
    pump = signs.one.pump
    if pump.always_on or pump.duty not in ("heating", "other"):
        return True
    return not bool(np.isnan(signs.heat).all())


# a finding


@dataclass(frozen=True, slots=True)
class _Seen:
    """What the judge looked at when it concluded."""

    signs: Signs
    row: int

    def mean(self, value: FloatArray) -> float | None:
        """Mean over the minutes before the conclusion."""
        look = _LOOK_MIN
        if locked := int(lasting(self.signs.locked)[self.row]):
            # What was before its power leapt, within that minute too, is another state.
            look = min(look, max(locked - 2, 0))
        part = value[max(self.row - look, 0) : self.row + 1]
        part = part[~np.isnan(part)]
        return float(part.mean()) if len(part) else None

    def had(self, sign: str) -> bool:
        """Whether a sign stood when it was concluded."""
        return bool(getattr(self.signs, sign)[self.row])


def _finding(situation: Situation, watch: Watched, spell: Spell) -> Finding:
    pump = situation.subject
    seen = _Seen(*watch.signs(pump, spell.raised))
    wakes = spell.wakes is not None
    start_ms = int(watch.minutes.start_ms[spell.first])
    return Finding(
        subject=pump,
        fault=NAMES[spell.cause],
        start_ms=start_ms,
        end_ms=watch.end_ms(spell.end),
        raised_ms=watch.end_ms(spell.raised),
        urgency="now" if wakes else "soon",
        confidence=_confidence(spell, seen),
        evidence=tuple(_evidence(situation, seen, spell)),
        ruled_out=tuple(_ruled_out(seen, spell)),
        possible=_possible(spell, seen),
        first_check=_FILE_CHECK if _by_habit(spell, seen) else "",
    )


_FILE_CHECK = (
    "Does a room thermostat, a timer or the store's charge stop this pump? Then write always_on = "
    "false in the plant file. If nothing does, have its supply and relay looked at."
)


def _by_habit(spell: Spell, seen: _Seen) -> bool:
    """Whether a rest is told that the pump ended by itself on days before."""
    return spell.cause == STALL and spell.wakes is None and seen.had("rests_by_habit")


def _confidence(spell: Spell, seen: _Seen) -> float:
    if spell.cause == DEAD:
        return 0.75
    if spell.wakes is None:
        return 0.6
    strong = ("tries", "cut_out", "stands", "seized", "low_pressure")
    return 0.92 if any(seen.had(sign) for sign in strong) else 0.85


def _evidence(situation: Situation, seen: _Seen, spell: Spell) -> Iterator[Evidence]:
    plant, signs = situation.plant, seen.signs
    power = plant.first(situation.subject, "power")
    levels = signs.usual.levels
    usual = f"{levels.low_w or 0.0:.3g} to {levels.high_w or 0.0:.3g} when running"
    rated = signs.one.pump.rated_power_w
    if levels.low_w is None and rated:
        usual = f"{rated[0]:.3g} to {rated[1]:.3g} by its plate"
    if power is not None:
        yield Evidence(power.id, _power_words(seen), seen.mean(signs.power_w), usual, "W")
    factor = plant.first(situation.subject, "power_factor")
    if factor is not None and signs.usual.factor is not None and signs.is_induction:
        value = seen.mean(signs.one.factor)
        yield Evidence(factor.id, "power factor", value, f"{signs.usual.factor:.2f}", "1")
    pressure = plant.first(quantity="pressure")
    if pressure is not None and spell.cause == DRY:
        value = seen.mean(signs.plant.pressure_bar)
        yield Evidence(pressure.id, "system pressure", value, "1.0 to 1.5 cold", "bar")
    yield from _thermal(situation, seen)
    boiler = plant.boilers[0].id if plant.boilers else "plant"
    if seen.had("wanted") and not signs.one.pump.always_on:
        yield Evidence(boiler, "heat is wanted from the pump", None, "a running pump", "1")


def _power_words(seen: _Seen) -> str:
    words = {
        "tries": "power, in start attempts that never end in running",
        "cut_out": "power, in short runs at a locked rotor's level",
        "high": "power, higher than ever when running",
        "seized": "power, cut off after more than ever when running",
        "idle": "power at rest",
        "odd": "power, between rest and running",
    }
    return next((text for sign, text in words.items() if seen.had(sign)), "power")


def _thermal(situation: Situation, seen: _Seen) -> Iterator[Evidence]:
    signs = seen.signs
    place = "flow" if not np.isnan(signs.one.flow_c).all() else "return"
    pipe = situation.plant.first(situation.subject, "temperature", place)
    source = seen.mean(signs.plant.source_c(signs.one.pump))
    value = seen.mean(signs.one.flow_c if place == "flow" else signs.one.return_c)
    if pipe is None or source is None or value is None:
        return
    gap = signs.usual.gap_k
    near = f"within {max(gap, 0.0):.0f} K of " if gap is not None else "moving with "
    yield Evidence(pipe.id, f"{place} pipe of the loop", value, f"{near}{source:.0f}", "Cel")


def _ruled_out(seen: _Seen, spell: Spell) -> Iterator[str]:
    yield "glitch or missing reading: minutes on end, all of them read"
    yield "power cut: the plug is heard"
    if not seen.had("storing"):
        yield "store priority: no store is being charged"
    if spell.cause == STALL and (seen.had("wanted") or seen.had("stands")):
        yield "summer, closed valves, pump rightly off: heat is made and not taken away"
    if seen.had("stands"):
        yield "turned knob or new plug: water would move"
    elif seen.had("seized"):
        yield "turned knob: power, power factor or pipes are as at no higher speed"
    if spell.cause == DEAD:
        yield "mild day or satisfied valves: the pipe was never so cold below a hot boiler"


def _possible(spell: Spell, seen: _Seen) -> tuple[str, ...]:
    if spell.cause == DRY:
        return ("dry run: no water in the pump", "air lock", "stall")
    if spell.cause == DEAD:
        return ("dead head: a valve is shut", "check valve stuck shut", "air lock")
    if _by_habit(spell, seen):
        return (
            "stall only by the plant file: it says always on, but the pump rests of its own",
            "no power from controller or relay at times",
            "rotor sticks at times",
        )
    if seen.signs.is_induction and any(map(seen.had, ("high", "cut_out", "seized"))):
        return ("stall: rotor seized", "run capacitor failed", "setting changed")
    if seen.had("tries") or seen.had("odd"):
        return ("stall: rotor seized", "dry run", "electronics failed")
    return ("stall: no power from controller or relay", "rotor seized", "electronics failed")
