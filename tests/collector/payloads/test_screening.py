"""Each screening rule at work, counted."""

import math
from collections import Counter

import pytest

from analysis.plant.plant import Channel
from collector.payloads.decode import Picked
from collector.payloads.screening import CLOCK_AHEAD_MS, Screen

T = 1_700_000_000_000


def screen(quantity: str = "temperature", place: str = "flow") -> tuple[Screen, Counter]:
    count: Counter[tuple[str, str]] = Counter()
    unit = "Cel" if quantity == "temperature" else "W"
    made = Channel(id="c", of="plant", quantity=quantity, unit=unit, place=place)  # type: ignore[arg-type]
    return Screen("c", made, count), count


@pytest.mark.parametrize(
    ("value", "rule"),
    [
        (math.inf, "not_a_number"),
        (200.0, "out_of_range"),
        (-55.0, "out_of_range"),
        (-127.0, "fault_code"),
    ],
)
def test_impossible_values_stay_out(value: float, rule: str) -> None:
    """What cannot be a measurement is kept out and counted under its rule."""
    one, count = screen()
    assert one.admit(Picked(value), T) is None
    assert count == {("c", rule): 1}


def test_power_on_value_by_context() -> None:
    """85.0 after 41 degrees is the sensor's power-on value; after 84.5 it is true."""
    one, count = screen()
    assert one.admit(Picked(41.0), T) == (T, 41.0)
    assert one.admit(Picked(85.0), T + 10_000) is None
    assert one.admit(Picked(41.5), T + 20_000) == (T + 20_000, 41.5)
    for i, value in enumerate((60.0, 75.0, 84.5, 85.0, 85.5), start=3):
        assert one.admit(Picked(value), T + i * 10_000) is not None
    assert count == {("c", "fault_code"): 1}


def test_power_on_value_first_of_all() -> None:
    """Without a reading before it, 85.0 is not believed, however often it comes."""
    one, count = screen()
    for i in range(200):
        assert one.admit(Picked(85.0), T + i * 10_000) is None
    assert count["c", "fault_code"] == 200


def test_zero_is_true_outdoors_and_false_on_a_warm_pipe() -> None:
    """0.0 passes outdoors; on a pipe at 60 degrees, or first of all, it is a fault code."""
    outdoor, _ = screen(place="outdoor")
    assert outdoor.admit(Picked(0.0), T) == (T, 0.0)
    pipe, count = screen()
    assert pipe.admit(Picked(0.0), T) is None
    assert pipe.admit(Picked(60.0), T) is not None
    assert pipe.admit(Picked(0.0), T + 1000) is None
    assert count["c", "fault_code"] == 2
    power, _ = screen("power")
    assert power.admit(Picked(0.0), T) == (T, 0.0)


def test_duplicates_and_order() -> None:
    """The same reading again stays out; an older one is stored at its own time."""
    one, count = screen("power")
    assert one.admit(Picked(5.0, T), T + 100) == (T, 5.0)
    assert one.admit(Picked(5.0, T), T + 300) is None
    assert one.admit(Picked(6.0, T), T + 300) == (T, 6.0)
    assert one.admit(Picked(4.0, T - 5000), T + 400) == (T - 5000, 4.0)
    assert count == {("c", "duplicate"): 1, ("c", "out_of_order"): 1}


def test_two_arrivals_in_one_millisecond_are_two_readings() -> None:
    """Without device time, readings that arrive together keep their order and number."""
    one, _ = screen("power")
    assert [one.admit(Picked(float(i)), T) for i in range(3)] == [
        (T, 0.0),
        (T + 1, 1.0),
        (T + 2, 2.0),
    ]


def test_clock_ahead_uses_time_of_arrival() -> None:
    """A device clock in the future is counted, and the arrival dates the reading."""
    one, count = screen("power")
    assert one.admit(Picked(5.0, T + CLOCK_AHEAD_MS + 1), T) == (T, 5.0)
    assert one.admit(Picked(5.0, T + CLOCK_AHEAD_MS), T + 1) == (T + CLOCK_AHEAD_MS, 5.0)
    assert count == {("c", "clock_ahead"): 1}


def test_unknown_is_let_in() -> None:
    """A null of the device ends the last value's validity, so it is kept."""
    one, count = screen("power")
    found = one.admit(Picked(math.nan), T)
    assert found is not None
    assert math.isnan(found[1])
    assert not count


def test_own_clock_set_back_begins_anew() -> None:
    """A box that was two years ahead is set right: readings are no late ones for two years."""
    one, count = screen("power")
    assert one.admit(Picked(40.0), T + 2 * 365 * 86_400_000) is not None
    assert one.admit(Picked(41.0), T) == (T, 41.0)
    assert one.admit(Picked(42.0), T + 10_000) == (T + 10_000, 42.0)
    assert count == {}


def test_box_that_does_not_know_the_date() -> None:
    """After a power cut a box without a clock starts in 1970: only what bears its time is kept."""
    one, count = screen("power")
    assert one.admit(Picked(40.0), 20_000) is None
    assert one.admit(Picked(41.0, T), 20_000) == (T, 41.0)
    assert one.admit(Picked(42.0), T + 10_000) == (T + 10_000, 42.0)
    assert count == {("c", "no_clock"): 1}
