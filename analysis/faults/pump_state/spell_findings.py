"""Findings of a watched pump's spells: evidence, confidence, what was ruled out, what is missing.

Each fault brings what is its own as an `Account`; what they share stands here.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from analysis.base.time import SECOND_MS
from analysis.faults.pump_state.demand_evidence import Signs
from analysis.faults.pump_state.episodes import Spell
from analysis.faults.pump_state.pump_watch import Watched, watched
from analysis.plant.finding import Evidence, Finding
from analysis.plant.plant import Pump
from analysis.readings.minute_grid import is_coarse, lasting
from analysis.readings.readings import FloatArray, Readings, usual_step_ms
from analysis.readings.situation import Situation, Verdict

_LOOK_MIN = 8
"""Minutes before a conclusion whose mean is shown (common practice, no source)."""
_BLIND_STEP_W = 2.5
"""Half of what a small electronic pump takes at its floor (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Concluded:
    """A pump's signs and the row of the minute in which a spell was concluded."""

    spell: Spell
    signs: Signs
    row: int

    def mean(self, value: FloatArray) -> float | None:
        """Mean over the minutes before the conclusion; None where none is known."""
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

    @property
    def is_urgent(self) -> bool:
        """Whether two independent signs, or an overwhelming one, stood at some time."""
        return self.spell.wakes is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """What one fault tells of its spells.

    Attributes
    ----------
    fault : str
        Its name.
    cause : int
        Its code among the causes of the watch.
    sensor_missing : callable
        The sensor without which it shows nowhere, in words; empty where it is there.
    meanwhile : str
        What is told of a pump of which nothing is learned yet; empty for nothing.
    confidence : callable
        Of a conclusion, 0 to 1.
    possible, ruled_out : callable
        Causes, likeliest first; and what it is not.
    chosen : callable, optional
        Which of its spells are told.
    first_check : callable, optional
        What to look at; empty leaves it to the fault's row.
    shows_pressure : bool
        Whether the system's pressure is evidence.
    """

    fault: str
    cause: int
    sensor_missing: Callable[[Signs, Watched, Pump], str]
    confidence: Callable[[Concluded], float]
    possible: Callable[[Concluded], tuple[str, ...]]
    ruled_out: Callable[[Concluded], Iterable[str]]
    meanwhile: str = ""
    chosen: Callable[[Watched, Pump, list[Spell]], Iterable[Spell]] = lambda _, __, own: own
    first_check: Callable[[Concluded], str] = lambda _: ""
    shows_pressure: bool = False


def spell_verdict(situation: Situation, account: Account) -> Verdict:
    """Findings of one fault of the situation's pump, and what would settle what stays open.

    Parameters
    ----------
    situation : Situation
        Its subject is a pump.
    account : Account
        What is the fault's own.

    Returns
    -------
    Verdict
        One finding a spell.
    """
    pump = next(p for p in situation.plant.pumps if p.id == situation.subject)
    if needs := _missing(situation, pump):
        return Verdict(needs=needs)
    seen = watched(situation)
    own = [spell for spell in seen.spells_of(pump.id) if spell.cause == account.cause]
    told = account.chosen(seen, pump, own)
    findings = tuple(_finding(situation, seen, spell, account) for spell in told)
    return Verdict(findings, _unknown(situation, seen, pump, account))


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


def _unknown(situation: Situation, seen: Watched, pump: Pump, account: Account) -> str:
    """What would settle what the record leaves open, in words; empty where nothing does."""
    signs, _ = seen.signs(pump.id, len(seen.minutes) - 1)
    if not signs.usual.is_known:
        words = (
            f"learning: two hours in which '{pump.id}' was seen running and the night after them"
        )
        return words + (f"; until then only {account.meanwhile} is told" * bool(account.meanwhile))
    if missing := account.sensor_missing(signs, seen, pump):
        return missing
    minded = seen.minded[pump.id]
    told = minded.cause.any() or minded.well[account.cause].any()
    if situation.learned is not None and not told:
        return f"a time when '{pump.id}' runs or should run; it rests"
    return _dead_band(situation, signs, pump)


def both_pipes(pump: Pump) -> str:
    """Words for the two temperatures whose distance tells of standing water."""
    return f"flow temperatures of '{pump.id}' and of the boiler"


def _dead_band(situation: Situation, signs: Signs, pump: Pump) -> str:
    """An electronic pump behind a plug that tells only steps of watts, in words."""
    channel = situation.plant.first(pump.id, "power")
    if channel is None or signs.is_induction or signs.usual.step_w < _BLIND_STEP_W:
        return ""
    return (
        f"too coarse: '{channel.id}' tells power in steps of {signs.usual.step_w:.1f} W, in which "
        f"start attempts and dry running of an electronic pump hide; 0.5 W or less would do"
    )


def _finding(situation: Situation, watch: Watched, spell: Spell, account: Account) -> Finding:
    pump = situation.subject
    at = Concluded(spell, *watch.signs(pump, spell.raised))
    return Finding(
        subject=pump,
        fault=account.fault,
        start_ms=int(watch.minutes.start_ms[spell.first]),
        end_ms=watch.end_ms(spell.end),
        raised_ms=watch.end_ms(spell.raised),
        urgency="now" if at.is_urgent else "soon",
        confidence=account.confidence(at),
        evidence=tuple(_evidence(situation, at, shows_pressure=account.shows_pressure)),
        ruled_out=tuple(account.ruled_out(at)),
        possible=account.possible(at),
        first_check=account.first_check(at),
    )


def strength_confidence(at: Concluded) -> float:
    """Confidence by the strongest sign that stood."""
    if not at.is_urgent:
        return 0.6
    strong = ("tries", "cut_out", "stands", "seized", "low_pressure")
    return 0.92 if any(at.had(sign) for sign in strong) else 0.85


def _evidence(situation: Situation, at: Concluded, *, shows_pressure: bool) -> Iterator[Evidence]:
    plant, signs = situation.plant, at.signs
    power = plant.first(situation.subject, "power")
    levels = signs.usual.levels
    usual = f"{levels.low_w or 0.0:.3g} to {levels.high_w or 0.0:.3g} when running"
    rated = signs.one.pump.rated_power_w
    if levels.low_w is None and rated:
        usual = f"{rated[0]:.3g} to {rated[1]:.3g} by its plate"
    if power is not None:
        yield Evidence(power.id, _power_words(at), at.mean(signs.power_w), usual, "W")
    factor = plant.first(situation.subject, "power_factor")
    if factor is not None and signs.usual.factor is not None and signs.is_induction:
        value = at.mean(signs.one.factor)
        yield Evidence(factor.id, "power factor", value, f"{signs.usual.factor:.2f}", "1")
    pressure = plant.first(quantity="pressure")
    if pressure is not None and shows_pressure:
        value = at.mean(signs.plant.pressure_bar)
        yield Evidence(pressure.id, "system pressure", value, "1.0 to 1.5 cold", "bar")
    yield from _thermal(situation, at)
    boiler = plant.boilers[0].id if plant.boilers else "plant"
    if at.had("wanted") and not signs.one.pump.always_on:
        yield Evidence(boiler, "heat is wanted from the pump", None, "a running pump", "1")


def _power_words(at: Concluded) -> str:
    words = {
        "tries": "power, in start attempts that never end in running",
        "cut_out": "power, in short runs at a locked rotor's level",
        "high": "power, higher than ever when running",
        "seized": "power, cut off after more than ever when running",
        "idle": "power at rest",
        "odd": "power, between rest and running",
    }
    return next((text for sign, text in words.items() if at.had(sign)), "power")


def _thermal(situation: Situation, at: Concluded) -> Iterator[Evidence]:
    signs = at.signs
    place = "flow" if not np.isnan(signs.one.flow_c).all() else "return"
    pipe = situation.plant.first(situation.subject, "temperature", place)
    source = at.mean(signs.plant.source_c(signs.one.pump))
    value = at.mean(signs.one.flow_c if place == "flow" else signs.one.return_c)
    if pipe is None or source is None or value is None:
        return
    gap = signs.usual.gap_k
    near = f"within {max(gap, 0.0):.0f} K of " if gap is not None else "moving with "
    yield Evidence(pipe.id, f"{place} pipe of the loop", value, f"{near}{source:.0f}", "Cel")


def never_the_readings(at: Concluded) -> Iterator[str]:
    """What is ruled out of every spell: the readings themselves, and a store's charge."""
    yield "glitch or missing reading: minutes on end, all of them read"
    yield "power cut: the plug is heard"
    if not at.had("storing"):
        yield "store priority: no store is being charged"


def never_a_knob(at: Concluded) -> Iterator[str]:
    """What speaks against another setting."""
    if at.had("stands"):
        yield "turned knob or new plug: water would move"
    elif at.had("seized"):
        yield "turned knob: power, power factor or pipes are as at no higher speed"
