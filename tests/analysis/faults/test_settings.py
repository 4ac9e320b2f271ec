"""Night reduction by day, turned knobs, and how a pump is controlled, on made-up days."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.base.time import DAY_MS, MINUTE_MS, Span, from_ms
from analysis.faults.registry import FAULTS, examine
from analysis.plant.finding import Finding
from analysis.plant.plant import Channel, Plant, Pump, PumpPlate, Swap
from analysis.pump.control_mode import control_of
from analysis.pump.night_reduction import night_habit
from analysis.pump.setting_steps import setting_steps
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation

DAYS = 16
SPAN = Span(0, DAYS * DAY_MS)
MINUTES = np.arange(0, SPAN.end_ms, MINUTE_MS)
HOUR = MINUTES / 3_600_000 % 24
DAY = MINUTES // DAY_MS


def plant(drive: str = "electronic", rated: tuple[float, float] = (3.0, 25.0)) -> Plant:
    channels = [Channel(id="p.power", of="p", quantity="power", unit="W", interval_s=60)]
    channels += [
        Channel(
            id=f"p.{place}", of="p", quantity="temperature", unit="Cel", place=place, interval_s=60
        )  # type: ignore[arg-type]
        for place in ("flow", "return")
    ]
    return Plant(
        name="Quay",
        timezone="UTC",
        pumps=(Pump(id="p", drive=drive, rated_power_w=rated),),  # type: ignore[arg-type]
        channels=tuple(channels),
    )


def record(
    power: NDArray[np.float64], flow: NDArray[np.float64] | None = None, *, cold: bool = False
) -> dict[str, Readings]:
    flow = np.full(len(MINUTES), 55.0) if flow is None else flow
    back = np.where(cold & (DAY >= DAYS // 2), 22.0, 42.0)
    names = {"p.power": power, "p.flow": flow, "p.return": back}
    return {name: Readings.of(MINUTES, values) for name, values in names.items()}


def proportional(*, scale: float = 1.0, seed: int = 2) -> NDArray[np.float64]:
    """A day's range of a proportional pump: 14 W in the morning to 4.5 W, with noise."""
    rng = np.random.default_rng(seed)
    share = np.clip(1.2 - np.abs(HOUR - 7) / 9, 0, 1)
    return scale * (4.5 + 9.5 * share) + rng.normal(0, 0.1, len(MINUTES))


def found(power: NDArray[np.float64], name: str, of: Plant | None = None, **more) -> list[Finding]:
    of = of or plant()
    situation = Situation(plant=of, record=record(power, **more), span=SPAN)
    return list(examine(situation, (FAULTS[name],)).findings)


def reduced(power: NDArray[np.float64], first_h: float, last_h: float) -> NDArray[np.float64]:
    return np.where((first_h <= HOUR) & (last_h > HOUR), 3.0, power)


def fallen(first_h: float, last_h: float) -> NDArray[np.float64]:
    """Flow that falls by 15 K in the hour before."""
    fall = np.clip(HOUR - first_h + 1, 0, 1) * (last_h > HOUR)
    return 55.0 - 15.0 * fall


def test_reduction_at_noon_is_a_misfit() -> None:
    """Three hours each noon on the least curve, after the flow fell: found, with both signs."""
    power = reduced(proportional(), 11, 14)
    (finding,) = found(power, "night_reduction_misfit", flow=fallen(11, 14))
    assert (finding.urgency, finding.end_ms) == ("soon", None)
    hours = next(e for e in finding.evidence if e.unit == "h")
    assert hours.value == pytest.approx(3.0, abs=0.3)
    assert any(e.channel == "p.flow" and (e.value or 0) > 10 for e in finding.evidence)


def test_reduction_at_night_is_none() -> None:
    """The least curve from one to five at night is what it is for."""
    power = reduced(proportional(), 1, 5)
    assert found(power, "night_reduction_misfit", flow=fallen(1, 5)) == []
    habit = night_habit(plant(), plant().pumps[0], record(power, fallen(1, 5)), SPAN)
    assert habit is not None
    assert habit.kind == "working"


def test_low_power_without_a_fall_of_the_flow_is_no_reduction() -> None:
    """Valves shut at noon at once, the flow as warm as ever: nothing is said."""
    assert found(reduced(proportional(), 11, 14), "night_reduction_misfit") == []


def test_a_turned_knob_is_told_with_its_moment() -> None:
    """Half as much again from day 8 on: one step, within half a day, as a note."""
    power = np.where(DAY < 8, proportional(), proportional(scale=1.5))
    (finding,) = found(power, "setting_changed")
    assert finding.urgency == "note"
    assert abs(finding.start_ms - 8 * DAY_MS) < DAY_MS / 2


def test_a_knob_that_shows_most_with_open_valves_is_told() -> None:
    """A plug of whole watts hides 6 to 7 W of the long day, not 10 to 20 W of the morning."""
    morning = (HOUR >= 5) & (HOUR < 9)
    power = np.where(DAYS // 2 > DAY, 6.0 + 4.0 * morning, 7.0 + 13.0 * morning)
    (step,) = found(power, "setting_changed")
    assert abs(step.start_ms - DAYS // 2 * DAY_MS) < DAY_MS / 2


def test_an_induction_pump_turned_from_two_to_three() -> None:
    """55 to 75 W, return as warm as before."""
    rng = np.random.default_rng(1)
    power = np.where(DAY < 8, 55.0, 75.0) + rng.normal(0, 0.5, len(MINUTES))
    of = plant("induction", (40.0, 75.0))
    (finding,) = found(power, "setting_changed", of)
    assert abs(finding.start_ms - 8 * DAY_MS) < DAY_MS / 2
    assert control_of(of, of.pumps[0], record(power), SPAN).behaviour == "speed III"


def test_more_power_and_a_cold_return_is_no_turned_knob() -> None:
    """A seized rotor draws a quarter more and moves nothing: left to its own judge."""
    power = np.where(DAY < 8, 55.0, 70.0) + np.random.default_rng(1).normal(0, 0.5, len(MINUTES))
    assert found(power, "setting_changed", plant("induction"), cold=True) == []


def test_two_days_of_shut_valves_are_no_turned_knob() -> None:
    """Power at the floor for two days, then as before."""
    power = np.where((DAY == 8) | (DAY == 9), 3.9, proportional())
    assert found(power, "setting_changed") == []


def test_an_adapting_pump_turned_no_knob() -> None:
    """A curve that steps down by 3 % a day is automatic adaptation."""
    power = proportional() * np.exp(-0.03 * DAY)
    power = np.maximum(power, 3.2)
    of = plant()
    assert setting_steps(of, of.pumps[0], record(power), SPAN) == []
    assert control_of(of, of.pumps[0], record(power), SPAN).behaviour == "automatic adaptation"


@pytest.mark.parametrize(
    ("floor", "behaviour"),
    [
        (0.75, "constant speed"),
        (0.55, "constant or proportional pressure"),
        (0.28, "proportional pressure"),
    ],
)
def test_control_by_floor_over_ceiling(floor: float, behaviour: str) -> None:
    """Floor over ceiling 0.67-0.81, 0.52-0.58, 0.25-0.30 with valves open and shut.

    A floor that high may only be valves that never shut, so the first is unsure.

    Source: pump model of the four-metre class, no measurement (domain notes, section 1.3).
    """
    share = np.clip(1.2 - np.abs(HOUR - 7) / 9, 0, 1)
    power = 16 * (floor + (1 - floor) * share) + np.random.default_rng(1).normal(
        0, 0.05, len(MINUTES)
    )
    control = control_of(plant(), plant().pumps[0], record(power), SPAN)
    assert control.behaviour == behaviour
    assert (control.confidence < 0.5) == (floor == 0.75)


def test_without_power_it_says_what_is_missing() -> None:
    """No readings of power: both judges name the channel they need."""
    situation = Situation(plant=plant(), record={}, span=SPAN)
    rows = (FAULTS["setting_changed"], FAULTS["night_reduction_misfit"])
    needs = [c.needs for c in examine(situation, rows).cannot_judge]
    assert len(needs) == 2
    assert all("power channel" in n for n in needs)


def test_days_of_wider_valves_are_no_turned_knob() -> None:
    """A cold week lifts the usual power from one day on, but neither end of the curve."""
    cold = 4.5 + 9.5 * (np.abs(HOUR - 12) / 12) ** 0.3
    power = np.where(DAY < 8, proportional(), cold)
    assert np.median(cold) > 1.2 * np.median(power[DAY < 8])
    assert found(power, "setting_changed") == []


def test_a_swap_is_no_turned_knob_and_hides_none() -> None:
    """65 W give way to 9 W at a swap; a knob turned a week later is told alone."""
    new = np.where(DAY < 11, proportional(), proportional(scale=1.6))
    old = 65.0 + np.random.default_rng(4).normal(0, 0.4, len(MINUTES))
    swap = Swap(pump="p", time=from_ms(4 * DAY_MS), old=PumpPlate(drive="induction"))
    of = replace(plant(), swaps=(swap,))
    (finding,) = found(np.where(DAY < 4, old, new), "setting_changed", of)
    assert abs(finding.start_ms - 11 * DAY_MS) < DAY_MS / 2


def test_reduction_by_day_is_told_of_the_pump_that_is_in_place() -> None:
    """The old pump's 65 W make the new one's least curve no standstill."""
    new = reduced(proportional(), 11, 14)
    swap = Swap(pump="p", time=from_ms(4 * DAY_MS), old=PumpPlate(drive="induction"))
    of = replace(plant(), swaps=(swap,))
    power = np.where(DAY < 4, 65.0, new)
    (finding,) = found(power, "night_reduction_misfit", of, flow=fallen(11, 14))
    assert finding.start_ms >= 4 * DAY_MS
