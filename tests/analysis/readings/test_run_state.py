"""Running or at rest: one answer for every pump, from its own levels, everywhere the same."""

import numpy as np
import pytest

from analysis.base.time import DAY_MS, HOUR_MS, SECOND_MS, Span, from_ms
from analysis.energy.measured import energy_use
from analysis.energy.pump_days import pump_days
from analysis.faults.pump_state.pump_watch import learn
from analysis.plant.plant import Channel, Plant, Pump, PumpPlate, Swap
from analysis.pump.epochs import pump_history
from analysis.pump.running_power import power_steps
from analysis.pump.state_now import pump_now, reading_now
from analysis.readings.plant_minutes import PlantMinutes
from analysis.readings.power_levels import pump_state, run_state
from analysis.readings.readings import FloatArray, Readings

DAYS = 14
TIME_MS = np.arange(0, DAYS * DAY_MS, 30 * SECOND_MS)
RUNS = TIME_MS // HOUR_MS % 24 < 12
SPAN = Span(0, DAYS * DAY_MS)
PLANT = Plant(
    name="Quay", timezone="UTC", pumps=(Pump(id="heating", drive="electronic"),),
    channels=(
        Channel(id="heating.power", of="heating", quantity="power", unit="W", interval_s=30),
    ),
)  # fmt: skip
PUMP = PLANT.pumps[0]


def noise(size: float) -> FloatArray:
    return size * np.random.default_rng(4).standard_normal(len(TIME_MS))


def wanders(low: float, high: float) -> FloatArray:
    return np.random.default_rng(5).uniform(low, high, len(TIME_MS))


STANDBYS: tuple[tuple[float, FloatArray], ...] = (
    (2.4, 4.5 + noise(0.05)),
    (2.5, wanders(5.0, 9.0)),
    (0.0, 1.8 + noise(0.03)),
    (1.2, wanders(3.2, 40.0)),
    (0.0, np.where(TIME_MS // HOUR_MS % 4 < 2, 3.6, 8.0)),
    (0.0, 52.0 + noise(1.0)),
)


@pytest.mark.parametrize(("standby_w", "running_w"), STANDBYS)
@pytest.mark.parametrize("step_w", [0.1, 1.0])
def test_twelve_hours_a_day_are_twelve_for_all_who_ask(
    standby_w: float, running_w: FloatArray, step_w: float
) -> None:
    """Energy, days, watch, pages and the courses of setting and wear part at the same power."""
    told_w = np.round(np.where(RUNS, running_w, standby_w) / step_w) * step_w
    record = {"heating.power": Readings.of(TIME_MS, told_w)}
    steps = power_steps(PLANT, PUMP, record, SPAN)
    history = pump_history(PLANT, PUMP, record, SPAN)
    state = pump_state(PLANT, PUMP, record, SPAN)
    assert steps is not None
    assert history is not None
    assert state is not None
    hours = {
        "energy": energy_use(PLANT, PUMP, record, SPAN).run_hours,
        "days": DAYS * pump_days(PLANT, PUMP, record, SPAN).run_h.mean(),
        "settings": steps.runs.sum() / 60.0,
        "wear": history.days.run_h.sum(),
    }
    assert hours == {name: pytest.approx(12.0 * DAYS, rel=0.01) for name in hours}
    assert state.is_told
    standing = pump_now(
        reading_now(PLANT.channels[0], (0, told_w[~RUNS][0]), 0), state.usual_w, state.above_w
    )
    assert standing.words == "Stands still"


@pytest.mark.parametrize(("standby_w", "running_w"), STANDBYS)
def test_the_live_watch_learns_the_same_levels(standby_w: float, running_w: FloatArray) -> None:
    """What the watch takes for running lies on the same side of what the others do."""
    told_w = np.where(RUNS, running_w, standby_w)
    record = {"heating.power": Readings.of(TIME_MS, told_w)}
    levels = learn(PlantMinutes.over(PLANT, record, SPAN)).pumps["heating"].levels
    state = pump_state(PLANT, PUMP, record, SPAN)
    assert levels.split_w is not None
    assert state is not None
    runs = told_w > levels.split_w
    assert np.mean(runs == (told_w > state.above_w)) > 0.999


def test_what_one_level_may_be_is_left_open() -> None:
    """2.4 W for a fortnight is the standby of one pump and the least curve of another."""
    length = np.ones(1000)
    open_w = run_state(np.full(1000, 2.4), length)
    assert (open_w.is_told, open_w.usual_w) == (False, None)
    record = {"heating.power": Readings.of(TIME_MS, np.full(len(TIME_MS), 2.4))}
    assert energy_use(PLANT, PUMP, record, SPAN).run_hours is None
    plated = Pump(id="heating", drive="electronic", rated_power_w=(4.0, 40.0))
    assert run_state(np.full(1000, 2.4), length, plated).is_told
    assert run_state(np.full(1000, 8.0), length).usual_w == pytest.approx(8.0)


def test_mains_off_standby_and_running_are_two_kinds_of_rest() -> None:
    """A plug without mains is no third way to run."""
    three = run_state(np.repeat([0.0, 2.4, 4.5], 500), np.ones(1500))
    assert 2.4 < three.above_w < 4.5


def test_slow_running_through_all_powers_is_no_rest() -> None:
    """One that slows down to 2.2 W and back runs; 1.8 W held below 4 W is rest."""
    assert run_state(np.linspace(2.2, 20.0, 1800), np.ones(1800)).above_w < 2.0
    stopped = np.concatenate((np.full(900, 1.8), np.linspace(4.0, 20.0, 900)))
    assert 1.8 < run_state(stopped, np.ones(1800)).above_w < 4.0
    crept = np.concatenate((np.full(900, 2.4), np.linspace(2.9, 9.0, 900)))
    assert 2.4 < run_state(crept, np.ones(1800)).above_w < 2.9


def test_a_swap_parts_two_pumps_each_by_its_own_levels() -> None:
    """Before the swap 52 W on and off, after it 1.5 and 5 W: the hours are those of both."""
    old = TIME_MS < 7 * DAY_MS
    watts = np.where(RUNS, np.where(old, 52.0, 5.0), np.where(old, 0.0, 1.5))
    swap = Swap(pump="heating", time=from_ms(7 * DAY_MS), old=PumpPlate(), new=PumpPlate())
    plant = Plant(
        name="Quay", timezone="UTC", pumps=PLANT.pumps, channels=PLANT.channels, swaps=(swap,)
    )
    record = {"heating.power": Readings.of(TIME_MS, watts)}
    hours = energy_use(plant, PUMP, record, SPAN).run_hours
    assert hours == pytest.approx(12.0 * DAYS, rel=0.01)
