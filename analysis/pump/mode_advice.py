"""What a pump is set to, whether that suits its place, and what to try for a week."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.base.estimate import Estimate, plain
from analysis.base.time import Span, format_rfc3339
from analysis.firing.by_power import firing_threshold_w
from analysis.plant.installed_pump import present_span
from analysis.plant.plant import Plant, Pump
from analysis.pump.control_mode import Control, control_of, spread
from analysis.pump.night_reduction import NightHabit, night_habit
from analysis.pump.running_power import channel_steps, even_edges, power_steps
from analysis.pump.setting_steps import CELL_MS, SettingStep, setting_steps
from analysis.readings.readings import FloatArray, Record

_TOO_STRONG_K, _TOO_WEAK_K = 5.0, 25.0
"""Flow less return while firing: below, the water rushes through; above, it crawls
(common practice; 11 K is the classic target of radiators, 20 K that of condensing boilers)."""
_FOLLOWS, _HELD = 0.6, 0.3
_LEAST_SWING_K = 8.0
CAUTION = (
    "Change one thing at a time, only what the pump's leaflet leaves to its owner, and write it "
    "in the logbook. In frost keep an eye on the coldest room; if rooms cool or pipes knock, "
    "set it back. What is inside the boiler's casing is for its service."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One thing to try for a week, and what to watch meanwhile."""

    what: str
    because: str
    watch: tuple[str, ...]

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "what": self.what,
            "because": self.because,
            "trial": "one week",
            "watch": list(self.watch),
            "caution": CAUTION,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the pump seems to stand, and whether night reduction can work there."""

    words: str
    suits_night_reduction: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Strength:
    """Flow less return while the burner fires and the pump runs, in cold and mild weather."""

    verdict: str
    difference: Estimate
    cold: Estimate
    mild: Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpMode:
    """Everything the readings tell of a pump's setting."""

    pump: Pump
    control: Control
    changes: tuple[SettingStep, ...]
    night: NightHabit | None
    place: Place
    strength: Strength
    advice: tuple[Advice, ...]

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        control = self.control
        return {
            "pump": self.pump.id,
            "drive": self.pump.drive,
            "duty": self.pump.duty,
            "control": {
                "behaviour": control.behaviour,
                "confidence": control.confidence,
                "floor_w": plain(control.floor_w, 3),
                "ceiling_w": plain(control.ceiling_w, 3),
                "since": format_rfc3339(control.since_ms),
                "why": control.why,
            },
            "changes": [
                {
                    "time": format_rfc3339(s.time_ms),
                    "before_w": plain(s.before_w, 3),
                    "after_w": plain(s.after_w, 3),
                }
                for s in self.changes
            ],
            "night_reduction": night_document(self.night),
            "place": {
                "words": self.place.words,
                "suits_night_reduction": self.place.suits_night_reduction,
            },
            "strength": {
                "verdict": self.strength.verdict,
                "difference": self.strength.difference.document(),
                "cold": self.strength.cold.document(),
                "mild": self.strength.mild.document(),
            },
            "advice": [a.document() for a in self.advice],
        }


def night_document(night: NightHabit | None) -> dict[str, Any]:
    """Return the JSON form of a night habit; None is a pump that has none or is not measured."""
    if night is None:
        return {"state": None, "reason": "no electronic pump, or its power is not measured"}
    return {
        "state": night.kind,
        "times": len(night.reductions),
        "by_day_h_per_day": plain(night.by_day_h, 3),
        "by_night_h_per_day": plain(night.by_night_h, 3),
        "chances": night.chances,
        "late_mornings": night.late_mornings,
    }


def pump_mode(plant: Plant, pump: Pump, record: Record, span: Span) -> PumpMode:
    """Tell how a pump is set, from its readings over a span.

    Parameters
    ----------
    plant : Plant
        Names the channels.
    pump : Pump
        Which one.
    record : Record
        Readings by channel id.
    span : Span
        What is looked at; a week or two at the least. Only the pump that is in place counts.
    """
    span = present_span(plant, pump, span)
    control = control_of(plant, pump, record, span)
    night = night_habit(plant, pump, record, span)
    place = place_of(plant, pump, record, span)
    strength = strength_of(plant, pump, record, Span(control.since_ms, span.end_ms))
    return PumpMode(
        pump=pump,
        control=control,
        changes=tuple(setting_steps(plant, pump, record, span) or ()),
        night=night,
        place=place,
        strength=strength,
        advice=(*_night_advice(night, place), *_advice(pump, control, strength)),
    )


def place_of(plant: Plant, pump: Pump, record: Record, span: Span) -> Place:
    """Tell the pump's place from whether its flow follows the boiler's, and from its body."""
    if pump.duty == "store":
        return Place(
            words="charges the store from the boiler's hot side: the flow falls after each "
            "charge, by day too",
            suits_night_reduction=False,
        )
    side = _side(plant, pump, record, span)
    follows = _follows(plant, pump, record, span)
    if side == "return":
        return Place(
            words="in the return, by its body temperature: it feels a set-back late and weakly",
            suits_night_reduction=False,
        )
    where = "in the flow, by its body temperature; " if side == "flow" else ""
    if follows is None:
        return Place(
            words=where + "before or after a mixing valve cannot be told: needs the flow "
            "temperature of the pump's circuit and of the boiler, over a time in which they move",
            suits_night_reduction=None,
        )
    if follows < _HELD:
        return Place(
            words=where + "behind a mixing valve, which holds the flow while the boiler's moves",
            suits_night_reduction=False,
        )
    if follows > _FOLLOWS:
        return Place(
            words=where + "before any mixing valve: the circuit's flow follows the boiler's",
            suits_night_reduction=True if side == "flow" else None,
        )
    return Place(words=where + "behind a valve that mixes at times", suits_night_reduction=None)


def _running_cells(
    plant: Plant, pump: Pump, record: Record, span: Span
) -> tuple[Any, FloatArray] | None:
    """Edges of ten-minute cells, and 1 where the pump ran, else NaN."""
    steps = power_steps(plant, pump, record, span, step_ms=CELL_MS)
    if steps is None:
        return None
    return even_edges(span, CELL_MS), np.where(steps.runs, 1.0, np.nan)


def _follows(plant: Plant, pump: Pump, record: Record, span: Span) -> float | None:
    """Kelvin the circuit's flow moves per kelvin of the boiler's, while the pump runs."""
    cells = _running_cells(plant, pump, record, span)
    boiler = next((plant.first(b.id, "temperature", "flow") for b in plant.boilers), None)
    if cells is None:
        return None
    source = channel_steps(boiler, record, cells[0])
    circuit = channel_steps(plant.first(pump.id, "temperature", "flow"), record, cells[0])
    if source is None or circuit is None:
        return None
    there = np.isfinite(source * circuit * cells[1])
    if there.sum() < 144 or np.ptp(np.quantile(source[there], (0.1, 0.9))) < _LEAST_SWING_K:
        return None
    return float(np.polyfit(source[there], circuit[there], 1)[0])


def _side(plant: Plant, pump: Pump, record: Record, span: Span) -> str | None:
    """``flow`` or ``return``: to which the body is nearer.

    An electronic pump's body is 0 to 8 K above its water.
    """
    cells = _running_cells(plant, pump, record, span)
    if cells is None or pump.drive != "electronic":
        return None
    body, flow, back = (
        channel_steps(plant.first(pump.id, "temperature", place), record, cells[0])
        for place in ("body", "flow", "return")
    )
    if body is None or flow is None or back is None:
        return None
    there = np.isfinite(body * flow * back * cells[1]) & (flow - back > 8)
    if there.sum() < 36:
        return None
    share = float(np.median((body[there] - back[there]) / (flow[there] - back[there])))
    return "flow" if share > 0.7 else "return" if share < 0.45 else None


def strength_of(plant: Plant, pump: Pump, record: Record, span: Span) -> Strength:
    """Judge flow less return while the burner fires, apart for cold and mild weather."""
    unknown = Estimate.unknown("K", "needs flow and return temperatures of the circuit")
    cells = _running_cells(plant, pump, record, span)
    if cells is None:
        return Strength(verdict="unknown", difference=unknown, cold=unknown, mild=unknown)
    edges, runs = cells
    flow, back = (
        channel_steps(plant.first(pump.id, "temperature", place), record, edges)
        for place in ("flow", "return")
    )
    if flow is None or back is None:
        return Strength(verdict="unknown", difference=unknown, cold=unknown, mild=unknown)
    heat = (flow - back) * runs * _firing(plant, record, span)
    basis = "ten-minute means while the burner fires and the pump runs; range of nineteen in twenty"
    known = np.isfinite(heat)
    whole = spread(heat[known], "K", basis)
    outdoor = channel_steps(plant.first("plant", "temperature", "outdoor"), record, edges)
    cold = mild = Estimate.unknown("K", "needs an outdoor temperature")
    if outdoor is not None and (known & np.isfinite(outdoor)).any():
        border = float(np.median(outdoor[known & np.isfinite(outdoor)]))
        words = f"{basis}; outdoors {{}} {border:.0f} °C"
        cold = spread(heat[known & (outdoor < border)], "K", words.format("below"))
        mild = spread(heat[known & (outdoor >= border)], "K", words.format("above"))
    return Strength(verdict=_strength(whole, pump), difference=whole, cold=cold, mild=mild)


def _firing(plant: Plant, record: Record, span: Span) -> FloatArray:
    """1 in cells through which some boiler drew firing power, or where that is not known."""
    edges = even_edges(span, CELL_MS)
    for boiler in plant.boilers:
        channel = plant.first(boiler.id, "power")
        power = channel_steps(channel, record, edges)
        if channel is None or power is None:
            continue
        least = firing_threshold_w(boiler, record[channel.id], channel=channel, span=span)
        if least is not None:
            return np.where(power >= least, 1.0, np.nan)
    return np.ones(len(edges) - 1)


def _strength(difference: Estimate, pump: Pump) -> str:
    if difference.value is None:
        return "unknown"
    if pump.duty != "heating":
        return "not judged: only heating circuits have a usual difference"
    if difference.value < _TOO_STRONG_K:
        return "too strong"
    return "too weak" if difference.value > _TOO_WEAK_K else "fits"


_ROOMS = (
    "temperature of the farthest room morning and evening",
    "flow less return while the burner fires",
    "starts of the burner a day",
    "noise in valves and pipes",
)


def _advice(pump: Pump, control: Control, strength: Strength) -> list[Advice]:
    """What to try with the strength and the kind of control."""
    apart = f"{strength.difference.value or 0:.0f} K apart"
    found = []
    if strength.verdict == "too strong":
        found.append(
            Advice(
                what="one setting lower: the next speed down, or half a metre less pressure",
                because=f"flow and return lie only {apart}; floor heating runs at 5 to 8 K by "
                "design, radiators at 10 to 20 K",
                watch=_ROOMS,
            )
        )
    if strength.verdict == "too weak":
        found.append(
            Advice(
                what="one setting higher, after filter, valves and air have been looked at",
                because=f"flow and return lie {apart}",
                watch=_ROOMS,
            )
        )
    if pump.duty == "store" and (control.behaviour or "").startswith(("proportional", "auto")):
        found.append(
            Advice(
                what="constant speed",
                because="charging a store wants the same flow all the time",
                watch=("time a charge takes", "temperature at the top of the store"),
            )
        )
    return found


def _night_advice(night: NightHabit | None, place: Place) -> list[Advice]:
    """Switch it off where it harms, or where it stands in the wrong place."""
    if night is None or not night.reductions:
        return []
    if night.kind == "working" and place.suits_night_reduction is not False:
        return []
    reasons = {
        "engages by day": f"it engages {night.by_day_h:.1f} h a day by day",
        "stuck in the morning": f"it stayed reduced on {night.late_mornings} mornings after the "
        "flow had risen",
    }
    return [
        Advice(
            what="night reduction off",
            because=reasons.get(night.kind, f"the pump stands {place.words}"),
            watch=("rooms in the morning and at noon", "the pump's power by night"),
        )
    ]
