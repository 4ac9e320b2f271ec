"""Hard negatives: things that happen in a sound plant and look like faults, as one table."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.plant.effects import Effect
from analysis.rehearsal.course.scene import Mark, Scene
from analysis.rehearsal.faults.air import put_air
from analysis.rehearsal.faults.fault import FaultPlan, pump_at
from analysis.rehearsal.faults.setting_changed import FAULT as SETTING_CHANGED
from analysis.rehearsal.house.draw import stream
from analysis.rehearsal.house.layout import Layout
from analysis.rehearsal.physics.records import EMITTERS


@dataclass(frozen=True, slots=True, kw_only=True)
class NegativePlan:
    """A hard negative to come: what, from which day of the record, for how many days."""

    what: str
    day: float
    days: float


Apply = Callable[[Scene, NegativePlan, slice, Layout], None]


def apply_negative(scene: Scene, plan: NegativePlan, layout: Layout) -> None:
    """Write a hard negative into the scene and mark it."""
    begin = scene.minute(plan.day)
    end = min(scene.minute(plan.day + max(plan.days, 1.0 / 1440.0)), scene.minutes)
    NEGATIVES[plan.what].apply(scene, plan, slice(begin, end), layout)
    scene.marks.append(Mark(plan.what, begin, end))


def _heating(scene: Scene) -> list[int]:
    return [i for i, one in enumerate(scene.spec.loops) if one.kind == EMITTERS]


def _valves_closed(scene: Scene, plan: NegativePlan, rows: slice, layout: Layout) -> None:
    del plan, layout
    scene.drivers.valve_shift_k[_heating(scene), rows] = 5.0


def _store_priority(scene: Scene, plan: NegativePlan, rows: slice, layout: Layout) -> None:
    """Baths for a house full of guests: the store is charged for an hour."""
    del plan, layout
    scene.drivers.draw_kg_s[rows] += 0.09


def _summer_off(scene: Scene, plan: NegativePlan, rows: slice, layout: Layout) -> None:
    del plan, layout
    scene.drivers.heat_on[rows] = 0
    for i in _heating(scene):
        scene.drivers.timer[i, rows] = 0


def _holiday(scene: Scene, plan: NegativePlan, rows: slice, layout: Layout) -> None:
    del plan, layout
    d = scene.drivers
    d.room_set_c[rows] -= 4.0
    d.flow_set_c[rows] = np.maximum(d.flow_set_c[rows] - 8.0, 28.0)
    d.draw_kg_s[rows] = 0.0
    d.charge_on[rows] = 0
    d.gain_w[rows] *= 0.4


def _nothing(scene: Scene, plan: NegativePlan, rows: slice, layout: Layout) -> None:
    """Let the house's own habit be what is marked."""


def _kick(scene: Scene, plan: NegativePlan, rows: slice, layout: Layout) -> None:
    """Heating off, and the controller lets every pump run a minute each noon."""
    _summer_off(scene, plan, rows, layout)
    hour = scene.local_hour
    noon = np.flatnonzero((hour[1:] >= 12.0) & (hour[:-1] < 12.0)) + 1
    noon = noon[(noon >= rows.start) & (noon < rows.stop)]
    scene.drivers.command[:, noon] = 1


def _power_cut(scene: Scene, plan: NegativePlan, rows: slice, layout: Layout) -> None:
    del plan, layout
    scene.drivers.mains[:, rows] = 0
    scene.drivers.burner_supply[rows] = 0
    scene.mute.append(("all", rows.start, rows.stop, "power_cut"))


def _plug_reboot(scene: Scene, plan: NegativePlan, rows: slice, layout: Layout) -> None:
    del plan
    for plug in layout.plugs[-2:]:
        scene.mute.append((plug.device.name, rows.start, rows.start + 1, "plug_reboot"))


def _wifi_gap(scene: Scene, plan: NegativePlan, rows: slice, layout: Layout) -> None:
    del plan, layout
    scene.mute.append(("all", rows.start, rows.stop, "wifi_gap"))


def _mains_trend(scene: Scene, plan: NegativePlan, rows: slice, layout: Layout) -> None:
    del plan, layout
    rng = stream(scene.spec.seed, 50)
    top = float(rng.choice([-12.0, 9.0]))
    length = rows.stop - rows.start
    scene.mains_v[rows] += top * np.sin(np.pi * np.arange(length) / length)


def _refill(scene: Scene, plan: NegativePlan, rows: slice, layout: Layout) -> None:
    """Pressure was low, water was added, the pump vents itself: gone within a day."""
    del plan, layout
    begin = rows.start
    before = slice(max(begin - 14 * 1440, 0), begin)
    length = before.stop - before.start
    scene.pressure_bar[before] -= 0.5 * np.arange(length) / max(length, 1)
    scene.drivers.burner_supply[begin : begin + 40] = 0
    amount = 0.5 * np.exp(-np.arange(rows.stop - begin) / 200.0)
    for i in _heating(scene):
        put_air(scene, i, rows, amount)


def _new_plug(scene: Scene, plan: NegativePlan, rows: slice, layout: Layout) -> None:
    del plan
    rng = stream(scene.spec.seed, 51)
    factor = float(rng.choice([0.94, 0.96, 1.04, 1.06]))
    for plug in layout.plugs:
        if plug.load == "heating":
            scene.mute.append((plug.device.name, rows.start, rows.start + 5, "plug_reboot"))
            scene.service.append(("new_plug_gain", plug.load, rows.start, scene.minutes, factor))


def _firewood(scene: Scene, plan: NegativePlan, rows: slice, layout: Layout) -> None:
    """A stove, in half of the houses with a water jacket, fed by hand for a day."""
    del plan, layout
    length = rows.stop - rows.start
    shape = np.clip(1.6 * np.sin(np.pi * np.arange(length) / length), 0.0, 1.0)
    jacket = stream(scene.spec.seed, 52).random() < 0.5
    need = 12.0 * scene.spec.house.ua_w_k
    scene.drivers.gain_w[rows] += (0.5 if jacket else 1.0) * need * shape
    if jacket:
        scene.drivers.wood_w[rows] += 0.45 * need * shape


def _window(scene: Scene, plan: NegativePlan, rows: slice, layout: Layout) -> None:
    del plan, layout
    scene.drivers.air_change[rows] = 0.6 * scene.spec.house.ua_w_k


def _knob(scene: Scene, plan: NegativePlan, rows: slice, layout: Layout) -> None:
    del layout
    SETTING_CHANGED.put_into(scene, knob_fault(scene, plan.day))
    del rows


def knob_fault(scene: Scene, day: float) -> FaultPlan:
    """Turn the knob of the heating pump that is there to another usual setting."""
    pump = pump_at(scene, scene.spec.index("heating"), scene.minute(day))
    labels = [s.label for s in pump.settings]
    usual = [one for one in ("I", "II", "III", "pp low", "pp high") if one in labels[1:]]
    chosen = usual[int(stream(scene.spec.seed, 53).integers(len(usual)))]
    return FaultPlan(subject="heating", fault=SETTING_CHANGED.name, onset_day=day, variant=chosen)


def _swapped(scene: Scene, plan: NegativePlan, rows: slice, layout: Layout) -> None:
    del plan, layout
    scene.service.append(("sensors_swapped", "heating", rows.start, rows.stop, 1.0))


@dataclass(frozen=True, slots=True)
class Negative:
    """A row of the table: the usual length in days, least and most, a sentence, and its effect."""

    apply: Apply
    days: tuple[float, float]
    tells: str
    effect: Effect | None = None


NEGATIVES: dict[str, Negative] = {
    "valves_closed": Negative(
        _valves_closed, (0.4, 4.0), "all radiator valves shut, the pump runs on"
    ),
    "store_priority": Negative(
        _store_priority, (0.03, 0.06), "the store takes all heat for an hour"
    ),
    "summer_off": Negative(_summer_off, (10.0, 40.0), "heating switched off for the summer"),
    "holiday": Negative(_holiday, (4.0, 14.0), "nobody at home, everything set down"),
    "overrun": Negative(_nothing, (1.0, 5.0), "pumps run on for minutes after each burner run"),
    "anti_seize_kick": Negative(_kick, (5.0, 20.0), "pumps idle but for a minute each noon"),
    "power_cut": Negative(
        _power_cut, (0.001, 0.12), "mains gone, from a minute to three hours", "nothing is heard"
    ),
    "plug_reboot": Negative(
        _plug_reboot, (0.001, 0.002), "plugs restart and their counters forget"
    ),
    "wifi_gap": Negative(
        _wifi_gap, (0.001, 2.0), "nothing heard, from a minute to two days", "nothing is heard"
    ),
    "knob_turned": Negative(_knob, (0.1, 0.2), "a hand on the pump's knob"),
    "mains_trend": Negative(_mains_trend, (4.0, 12.0), "mains voltage drifts for days"),
    "refill_venting": Negative(
        _refill, (0.7, 1.0), "water topped up and vented, air gone in a day"
    ),
    "new_plug_gain": Negative(
        _new_plug, (0.1, 0.2), "the plug replaced by one that reads otherwise"
    ),
    "clock_change": Negative(_nothing, (1.0, 1.0), "summer or winter time begins"),
    "firewood_day": Negative(
        _firewood,
        (0.4, 0.6),
        "a stove fed by hand keeps the burner off",
        "water is overheated",
    ),
    "window_open": Negative(_window, (0.02, 0.2), "windows open on a cold day"),
    "sensors_swapped": Negative(_swapped, (2.0, 6.0), "flow and return sensors mixed up"),
}
"""Every hard negative."""
