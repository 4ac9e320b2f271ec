"""What a guided trial gives at once: watts at each setting, checks of plate, display and plug."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.base.estimate import Estimate, plain
from analysis.base.time import Span, format_rfc3339
from analysis.energy.instrument_limits import meter_of
from analysis.exchange.trial import Mark, Trial, minute_means
from analysis.plant.plant import Channel, Plant
from analysis.readings.readings import FloatArray, Readings, Record, hold_limit_ms
from analysis.statistics.uncertainty import Meter, combined, effective_count, expansion, lag1


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingResult:
    """One setting of the pump's own table.

    `power` is the mean over the step with the interval of plug and scatter
    together; `scatter_w` the interval's half that is scatter alone, as it
    counts when settings of one plug are compared. Water temperatures, voltage
    and power factor are means over the step, None where not measured.
    """

    setting: str
    power: Estimate
    scatter_w: float | None
    minutes: int
    voltage_v: float | None
    power_factor: float | None
    flow_c: float | None
    return_c: float | None
    display_w: float | None

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "setting": self.setting,
            "power": self.power.document(),
            "scatter_w": plain(self.scatter_w, 3),
            "minutes": self.minutes,
            "voltage_v": plain(self.voltage_v, 4),
            "power_factor": plain(self.power_factor, 3),
            "flow_c": plain(self.flow_c, 4),
            "return_c": plain(self.return_c, 4),
            "display_w": plain(self.display_w, 4),
        }


@dataclass(frozen=True, slots=True)
class Check:
    """One comparison in words; `agrees` is None where it cannot be said."""

    what: str
    words: str
    agrees: bool | None = None

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {"what": self.what, "agrees": self.agrees, "words": self.words}


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialResult:
    """Everything a trial tells; `offset` is what the plug shows with nothing on it [W]."""

    pump: str
    time_ms: int
    usual: str | None
    table: tuple[SettingResult, ...]
    offset: Estimate
    valve: SettingResult | None
    checks: tuple[Check, ...]

    @property
    def normal_w(self) -> float | None:
        """Usual running power [W]: that of the setting the pump is left at."""
        found = {row.setting: row.power.value for row in self.table}
        return found.get(self.usual or "")

    def document(self) -> dict[str, Any]:
        """Return the JSON form, which is also the pump's first baseline."""
        return {
            "pump": self.pump,
            "time": format_rfc3339(self.time_ms),
            "usual": self.usual,
            "normal_w": plain(self.normal_w, 5),
            "table": [row.document() for row in self.table],
            "plug_offset": self.offset.document(),
            "valve_shut": None if self.valve is None else self.valve.document(),
            "checks": [check.document() for check in self.checks],
        }


def trial_result(
    trial: Trial, plant: Plant, record: Record, meter: Meter | None = None
) -> TrialResult:
    """Work out a trial from the readings of its steps.

    Parameters
    ----------
    trial : Trial
        Over or under way; steps that are not done are left out.
    plant : Plant
        Channels and plates.
    record : mapping of str to Readings
        Readings over the trial.
    meter : Meter, optional
        What the plug may be wrong by; by default what its channel's class says.
    """
    meter = meter or meter_of(plant.first(trial.pump, "power"))
    kinds = {step.label: step.kind for step in trial.steps}
    done = [m for m in trial.marks if m.outcome == "kept" and m.end_ms is not None]
    rows = {m.label: _row(m, trial, plant, record=record, meter=meter) for m in done}
    table = tuple(rows[m.label] for m in done if kinds[m.label] == "setting")
    valve = next((rows[m.label] for m in done if kinds[m.label] == "valve"), None)
    offset = next((rows[m.label] for m in done if kinds[m.label] == "offset"), None)
    shown = Estimate.unknown("W", "the pump was not unplugged") if offset is None else offset.power
    if offset is not None and shown.value is not None:
        shown = _offset(shown.value, offset.scatter_w or 0.0, meter)
    return TrialResult(
        pump=trial.pump,
        time_ms=max((m.end_ms or 0 for m in trial.marks), default=trial.started_ms),
        usual=trial.usual,
        table=table,
        offset=shown,
        valve=valve,
        checks=tuple(_checks(trial, plant, table, offset=shown, valve=valve)),
    )


def _offset(value_w: float, scatter_w: float, meter: Meter) -> Estimate:
    """What the plug shows of nothing: only its scatter and its display are unsure."""
    half = float(np.hypot(scatter_w, meter.step_w / 2))
    return Estimate(value_w, value_w - half, value_w + half, "W", "plug without load")


def _row(mark: Mark, trial: Trial, plant: Plant, *, record: Record, meter: Meter) -> SettingResult:
    span, pump = Span(trial.settled_ms(mark), mark.end_ms or mark.start_ms), trial.pump
    channel = plant.first(pump, "power")
    means = _minutes(record, channel, span)
    power, scatter = _mean_power(means, meter)
    return SettingResult(
        setting=mark.label,
        power=power,
        scatter_w=scatter,
        minutes=len(means),
        voltage_v=_mean(record, plant.first(pump, "voltage"), span),
        power_factor=_mean(record, plant.first(pump, "power_factor"), span),
        flow_c=_mean(record, plant.first(pump, "temperature", "flow"), span),
        return_c=_mean(record, plant.first(pump, "temperature", "return"), span),
        display_w=mark.display_w,
    )


def _minutes(record: Record, channel: Channel | None, span: Span) -> FloatArray:
    if channel is None:
        return np.empty(0)
    readings = record.get(channel.id, Readings.empty())
    return minute_means(readings, span, hold_limit_ms(readings, channel))


def _mean(record: Record, channel: Channel | None, span: Span) -> float | None:
    means = _minutes(record, channel, span)
    return float(means.mean()) if len(means) else None


def _mean_power(means: FloatArray, meter: Meter) -> tuple[Estimate, float | None]:
    """Mean with the interval of plug and scatter, and the scatter's half-width alone."""
    if len(means) < 1:
        return Estimate.unknown("W", "no full minute of readings in this step"), None
    value = float(means.mean())
    scatter = 0.0
    if len(means) > 2 and float(np.ptp(means)) > 0:
        rho = max(lag1(means, in_time_order=True), 0.0)
        count = max(effective_count(len(means), rho), 2.0)
        scatter = expansion(0.95, count - 1) * float(means.std(ddof=1)) / float(np.sqrt(count))
    half = combined((1.0, 1.0), (2.0 * meter.uncertainty_w(value), scatter))
    basis = f"{len(means)} min of readings, plug within {meter.gain:.0%} and {meter.offset_w:g} W"
    return Estimate(value, max(value - half, 0.0), value + half, "W", basis), scatter


# checks


def _checks(
    trial: Trial,
    plant: Plant,
    table: tuple[SettingResult, ...],
    *,
    offset: Estimate,
    valve: SettingResult | None,
) -> list[Check]:
    found = [_plate(trial, plant, table), *(_display(row) for row in table if row.display_w)]
    found.append(_offset_check(offset))
    found.append(_distinct(table))
    if valve is not None:
        found.append(_valve_check(trial, table, valve))
    return found


def _plate(trial: Trial, plant: Plant, table: tuple[SettingResult, ...]) -> Check:
    """Nameplate's range against the plug: what is measured must lie within it."""
    pump = next(p for p in plant.pumps if p.id == trial.pump)
    what = "nameplate"
    if pump.rated_power_w is None or not table:
        return Check(what, "no rated power in the plant file, or nothing measured")
    least, most = pump.rated_power_w
    outside = [r for r in table if not _touches(r.power, least, most)]
    if not outside:
        words = f"every setting lies within the plate's {least:g} to {most:g} W"
        return Check(what, words, agrees=True)
    names = ", ".join(f"{r.setting} {r.power.value or 0:.1f} W" for r in outside)
    words = (
        f"outside the plate's {least:g} to {most:g} W: {names}; is it this pump's plug, and does "
        "nothing else hang on it?"
    )
    return Check(what, words, agrees=False)


def _touches(power: Estimate, least: float, most: float) -> bool:
    if power.low is None or power.high is None:
        return True
    return power.high >= least and power.low <= most


def _display(row: SettingResult) -> Check:
    """The pump's own display against the plug; displays round to whole watts."""
    shown = row.display_w or 0.0
    agrees = _touches(row.power, shown - 0.5, shown + 0.5)
    low, high = row.power.low or 0.0, row.power.high or 0.0
    words = f"at {row.setting} the pump shows {shown:g} W, the plug {low:.1f} to {high:.1f} W"
    return Check("display", words, agrees)


def _offset_check(offset: Estimate) -> Check:
    if offset.value is None:
        return Check("plug offset", offset.reason or "")
    is_zero = (offset.low or 0.0) <= 0.0 <= (offset.high or 0.0) or abs(offset.value) < 0.1
    words = f"without load the plug shows {offset.value:.2f} W"
    return Check("plug offset", words if is_zero else f"{words}: take it off every figure", is_zero)


def _distinct(table: tuple[SettingResult, ...]) -> Check:
    """Whether the knob was really turned: neighbouring steps must differ by more than scatter."""
    known = [r for r in table if r.power.value is not None]
    same = [
        f"{a.setting} and {b.setting}"
        for i, a in enumerate(known)
        for b in known[i + 1 :]
        if abs((a.power.value or 0.0) - (b.power.value or 0.0))
        <= max((a.scatter_w or 0.0) + (b.scatter_w or 0.0), 0.1)
    ]
    if len(known) < 2:
        return Check("settings apart", "fewer than two settings measured")
    if same:
        words = f"the same power at {', '.join(same)}: was the knob turned, are the valves shut?"
        return Check("settings apart", words, agrees=False)
    return Check("settings apart", "every setting has its own power", agrees=True)


def _valve_check(trial: Trial, table: tuple[SettingResult, ...], valve: SettingResult) -> Check:
    """A shut valve lowers the power of a sound pump; how much tells the kind of control."""
    before = _before(trial, table)
    if before is None or valve.power.value is None or before.power.value is None:
        return Check("valve shut", "no setting measured just before the valve was shut")
    ratio = valve.power.value / before.power.value
    fell = valve.power.value < before.power.value - (before.scatter_w or 0.0)
    words = f"with the valve shut the power is {ratio:.0%} of that at {before.setting}"
    doubt = "" if fell else ": does the valve shut, did water flow?"
    return Check("valve shut", words + doubt, fell)


def _before(trial: Trial, table: tuple[SettingResult, ...]) -> SettingResult | None:
    """The setting the pump stood at when the valve was shut: the last one measured before."""
    names = [row.setting for row in table]
    shut = next((m for m in trial.marks if m.label not in names and m.label == "valve shut"), None)
    earlier = [m for m in trial.marks if shut and m.label in names and m.start_ms < shut.start_ms]
    last = max(earlier, key=lambda m: m.start_ms, default=None)
    return next((row for row in table if last and row.setting == last.label), None)


def first_baseline(result: TrialResult, known: Mapping[str, float]) -> dict[str, float]:
    """Usual running powers with the trial's in place of what was learned before [W]."""
    usual = result.normal_w
    return dict(known) if usual is None else {**known, result.pump: usual}
