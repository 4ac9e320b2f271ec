"""Mistakes of fitting are found in rehearsed swaps, and in days made by hand with known order.

Windows and tell-tales: common practice, no source. The rehearsal is the check from outside the
judges: it knows pumps, water and sensors, not their thresholds.
"""

from importlib import import_module

import numpy as np
import pytest

from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, Span
from analysis.exchange.commissioning import checks, commissioning
from analysis.exchange.pump_course import Course, levels, open_loop, reductions, starts, water_index
from analysis.exchange.windows import Fitting, Swapped, fitting
from analysis.readings.power_levels import run_state
from analysis.readings.readings import Readings
from analysis.rehearsal.plan.cases import CASES

SWAP = 1_767_603_600_000


def rehearsed(case: str, seed: int, days: float = 18.0):
    module = import_module("analysis.rehearsal.rehearse")
    staging = module.stage(CASES[case], days, seed)
    played = module.perform(staging, year=False, twins=False)
    (swap,) = played.plant.swaps
    swapped = Swapped("heating", played.truth.swap.time_ms, swap.new.rated_power_w[1])
    return played, swapped


def found(case: str, seed: int, days: float, *, night: bool | None = None) -> set[str]:
    played, swapped = rehearsed(case, seed)
    seen = fitting(played.plant, swapped, played.record, swapped.time_ms + round(days * DAY_MS))
    told = checks(seen, night_reduction=night)
    return {check.mistake.name for check in told if check.judged.state == "found"}


@pytest.mark.parametrize(
    ("case", "seed", "days", "mistake"),
    [
        ("swap_reversed", 504, 1, "reversed"),
        ("swap_air", 504, 3, "air"),
        ("swap_too_strong", 504, 7, "too_strong"),
        ("swap_too_weak", 504, 7, "too_weak"),
        ("swap_isolator", 504, 7, "isolator_half_shut"),
        ("swap_night_misfit", 511, 7, "night_reduction_misfit"),
    ],
)
def test_a_rehearsed_mistake_is_found_within_its_window(
    case: str, seed: int, days: float, mistake: str
) -> None:
    """Each mistake, and that one alone, in a house of the model."""
    assert found(case, seed, days, night=None) == {mistake}


def test_a_pump_fitted_well_passes() -> None:
    """A sound swap left at a moderate setting has no mistake; every check is judged."""
    played, swapped = rehearsed("swap", 504)
    reports = commissioning(played.plant, swapped, played.record, played.truth.end_ms)
    assert [report.stage for report in reports] == ["day", "week"]
    assert reports[-1].found == ()
    assert {c.judged.state for c in reports[-1].checks} == {"sound"}
    document = reports[-1].document()
    assert document["checks"][0]["check"] == "reversed"
    assert document["checks"][0]["do"] == ""


# days made by hand


def course(power: np.ndarray, flow: np.ndarray, back: np.ndarray, start_ms: int) -> Course:
    times = start_ms + np.arange(len(power)) * MINUTE_MS
    return Course(
        start_ms=times, power_w=power, low_w=power, high_w=power, flow_c=flow, return_c=back,
        above_w=run_state(power, np.ones(len(power))).above_w,
    )  # fmt: skip


def made(before: Course, after: Course) -> Fitting:
    return Fitting(
        pump="heating", time_ms=SWAP, timezone="UTC", before=before, after=after, most_w=40.0,
        step_w=0.1, interval_ms=30_000, power_id="p", flow_id="f", return_id="r",
    )  # fmt: skip


def pulses(hours: int, *, lead_min: int) -> tuple[np.ndarray, np.ndarray]:
    """A loop that warms every three hours, its far pipe some minutes later and 8 K cooler."""
    minute = np.arange(hours * 60)
    warm = np.clip((minute % 180) / 15.0, 0, 1) * (minute % 180 < 100)
    near = 28.0 + 27.0 * warm
    far = 28.0 + 19.0 * np.roll(warm, lead_min)
    return near, far


def test_a_pump_exchanged_in_summer_is_judged_once_it_has_had_heat() -> None:
    """A cold month before the exchange and two after it move the comparison, and lose nothing."""
    played, swapped = rehearsed("swap_isolator", 504, days=40.0)
    names = {"heating.power": 0.0, "heating.flow": 19.0, "heating.return": 19.0}
    at, end = swapped.time_ms, played.truth.end_ms
    record = {}
    for name, cold in names.items():
        early = played.record[name].within(Span(0, at))
        late = played.record[name].within(Span(at, end))
        times = np.arange(at - 30 * DAY_MS, at + 60 * DAY_MS, MINUTE_MS)
        record[name] = (
            Readings.of(early.time_ms - 30 * DAY_MS, early.value)
            .joined(Readings.of(times, np.full(len(times), cold)))
            .joined(Readings.of(late.time_ms + 60 * DAY_MS, late.value))
        )
    *first, heated = commissioning(played.plant, swapped, record, end + 60 * DAY_MS)
    assert [report.stage for report in first] == ["day", "week", "month"]
    assert first[-1].is_open
    assert not first[-1].found
    assert [check.mistake.name for check in heated.found] == ["isolator_half_shut"]
    states = {check.mistake.name: check.judged.state for check in heated.checks}
    assert states["air"] == "sound"
    assert at + 74 * DAY_MS <= heated.until_ms <= at + 76 * DAY_MS


def test_order_of_warming_counts_each_start() -> None:
    """Eight starts, the flow pipe first; with the pipes exchanged all the other way round."""
    near, far = pulses(24, lead_min=6)
    power = np.full(len(near), 12.0)
    right = course(power, near, far, SWAP)
    assert tuple(starts(right)) == (8, 0)
    assert tuple(starts(course(power, far, near, SWAP))) == (0, 8)


def test_sensors_swapped_long_before_are_no_reversed_pump() -> None:
    """An order that was always so comes from the sensors, not from the swap."""
    near, far = pulses(48, lead_min=6)
    power = np.full(len(near), 12.0)
    before = course(power, far, near, SWAP - 2 * DAY_MS)
    after = course(power, far, near, SWAP)
    states = {c.mistake.name: c.judged.state for c in checks(made(before, after))}
    assert states["reversed"] == "sound"
    turned = course(power, near, far, SWAP - 2 * DAY_MS)
    states = {c.mistake.name: c.judged.state for c in checks(made(turned, after))}
    assert states["reversed"] == "found"


def test_half_the_water_halves_the_index_whatever_the_weather() -> None:
    """Heat by the radiator law at two loads: the ratio is that of the water, not of the heat."""
    ratio = {}
    for load in (0.5, 1.0):
        for water in (0.5, 1.0):
            excess = 35.0 * load ** (1 / 1.3)
            spread = 10.0 * load / water
            flow = np.full(600, 20.0 + excess + spread / 2)
            power = np.full(600, 20.0)
            one = course(power, flow, flow - spread, SWAP)
            ratio[load, water] = float(np.nanmean(water_index(one)))
    assert ratio[0.5, 0.5] / ratio[0.5, 1.0] == pytest.approx(0.5)
    assert ratio[1.0, 0.5] / ratio[0.5, 1.0] == pytest.approx(0.5)


def through_a_loop(
    resistance: tuple[float, float],
    *,
    watts: float,
    after: bool,
    wide_k: float = 10.0,
) -> Course:
    """A week of heat by the radiator law, water by hydraulics: power is resistance x cube.

    Resistance of the loop in the first three hours of each day, and in all others.
    """
    minute = np.arange(7 * 1440)
    whole = np.where(minute % 1440 < 180, *resistance)
    water = (watts / whole) ** (1 / 3)
    spread = wide_k / water
    flow = 50.0 + spread / 2
    return course(
        np.full(len(minute), watts), flow, flow - spread, SWAP + (0 if after else -7 * DAY_MS)
    )


OPEN = (1.0, 40.0)


@pytest.mark.parametrize(
    ("resistance", "state"),
    [(OPEN, "sound"), ((7.0, 10.0), "found"), ((4.0, 40.0), "sound")],
)
def test_a_valve_half_shut_shows_when_the_others_stand_open(
    resistance: tuple[float, float], state: str
) -> None:
    """Seven times the open loop's resistance, the radiator valves open wide for it.

    Where they still throttle at the other hours they rule the loop: the best hour was another.
    """
    before = through_a_loop(OPEN, watts=10.0, after=False)
    now = through_a_loop(resistance, watts=9.8, after=True)
    told = {c.mistake.name: c.judged.state for c in checks(made(before, now))}
    assert told["isolator_half_shut"] == state


def test_an_old_pump_that_moved_too_much_is_no_measure() -> None:
    """The same fall of the water: of a loop with 1 K between its pipes it tells nothing."""
    states = []
    for wide_k in (20.0, 2.0):
        before = through_a_loop((1.0, 3.0), watts=10.0, after=False, wide_k=wide_k)
        now = through_a_loop((6.0, 8.0), watts=9.8, after=True, wide_k=wide_k)
        told = {c.mistake.name: c.judged.state for c in checks(made(before, now))}
        states.append(told["isolator_half_shut"])
    assert states == ["found", "sound"]


@pytest.mark.parametrize(("resistance", "weak"), [(6.0, "found"), (30.0, "unknown")])
def test_a_low_setting_and_a_valve_half_shut_that_look_alike_are_both_told(
    resistance: float, weak: str
) -> None:
    """At the lowest speed too little water may be either; hardly any is a valve."""
    before = through_a_loop((1.0, 1.4), watts=10.0, after=False, wide_k=20.0)
    now = through_a_loop((resistance, resistance * 1.2), watts=6.8, after=True, wide_k=20.0)
    told = {c.mistake.name: c.judged.state for c in checks(made(before, now))}
    assert told["isolator_half_shut"] == "found"
    assert told["too_weak"] == weak


def test_water_that_cools_down_is_no_open_loop() -> None:
    """An hour without fire: the pipes draw together, which is no water moved."""
    minute = np.arange(4 * 1440)
    hour = minute // 60 % 24
    spread = np.where(hour == 22, 2.0, np.where(hour == 6, 8.0, 16.0))
    middle = np.where(hour == 22, 50.0 - 15.0 * (minute % 60) / 60.0, 50.0)
    found = open_loop(course(middle * 0 + 9.0, middle + spread / 2, middle - spread / 2, SWAP))
    assert found is not None
    assert found.throttled == pytest.approx(2.0)


def test_a_day_with_few_hours_of_heat_is_no_comparison() -> None:
    """Two hours of heat a day tell no best hour."""
    minute = np.arange(4 * 1440)
    power = np.where(minute // 60 % 24 < 2, 9.0, 0.0)
    warm = np.full(len(minute), 50.0)
    assert open_loop(course(power, warm, warm - 8.0, SWAP)) is None


def test_starts_and_stops_are_no_level() -> None:
    """5 W for 25 of 40 minutes, 2 W standby between: the usual power is 5 W."""
    minute = np.arange(3 * 1440)
    power = np.where(minute % 40 < 25, 5.0, 2.0)
    found = levels(course(power, power, power, SWAP))
    assert found is not None
    assert (found.middle_w, found.high_w) == (5.0, 5.0)


def test_standby_shown_as_two_watts_is_no_level() -> None:
    """A pump at its lowest speed takes 4 W, and 2 W for a third of the time at rest."""
    minute = np.arange(3 * 1440)
    power = np.where(minute // 60 % 24 < 8, 2.0, 4.0)
    found = levels(course(power, power, power, SWAP))
    assert found is not None
    assert (found.low_w, found.high_w) == (4.0, 4.0)


def told_at(share: float, *, spread_k: float) -> dict[str, str]:
    """State of each check where a pump takes the same share of its plate before and after."""
    power = np.full(4 * 1440, 40.0 * share)
    warm = np.full(len(power), 50.0)
    days = [course(power, warm, warm - spread_k, at) for at in (SWAP - 4 * DAY_MS, SWAP)]
    return {c.mistake.name: c.judged.state for c in checks(made(*days))}


@pytest.mark.parametrize(("share", "state"), [(0.60, "sound"), (0.67, "found")])
def test_too_strong_is_what_only_the_highest_speed_can_take(share: float, state: str) -> None:
    """The highest speed falls by a third at most; a high pressure takes less, and may be needed."""
    assert told_at(share, spread_k=8.0)["too_strong"] == state


@pytest.mark.parametrize(("share", "state"), [(0.09, "sound"), (0.16, "found"), (0.22, "sound")])
def test_too_weak_is_the_lowest_speed(share: float, state: str) -> None:
    """Below the lowest speed lies the floor of a held pressure, which asks for no more."""
    assert told_at(share, spread_k=1.0)["too_weak"] == state


def test_night_reduction_in_a_plant_that_is_never_set_back() -> None:
    """Day and night alike: it never engages, which is told of it where it was switched on."""
    power = np.full(6 * 1440, 12.0)
    warm = np.full(len(power), 50.0)
    for flow, state in ((warm, "found"), (warm - 30.0, "sound")):
        after = course(power, flow, flow - 8, SWAP)
        seen = made(after.part(Span(0, 0)), after)
        told = {c.mistake.name: c.judged.state for c in checks(seen, night_reduction=True)}
        assert told["night_reduction_misfit"] == state


def test_little_power_in_a_cold_loop_is_no_weak_setting() -> None:
    """Lowest power day and night: with heat in the pipes too weak; without, valves may be shut."""
    power = np.full(4 * 1440, 40.0 * 0.16)
    states = []
    for flow_c in (45.0, 21.0):
        flow = np.full(len(power), flow_c)
        before = course(power, flow, flow - 1, SWAP - 4 * DAY_MS)
        seen = made(before, course(power, flow, flow - 1, SWAP))
        states.append({c.mistake.name: c.judged.state for c in checks(seen)}["too_weak"])
    assert states == ["found", "unknown"]


def test_night_reduction_is_a_step_after_cooling() -> None:
    """Down in one step when the flow has fallen, up in one; a slow fall of power is none."""
    minute = np.arange(24 * 60)
    asleep = (minute >= 9 * 60) & (minute < 15 * 60)
    flow = np.where(asleep, 35.0, 55.0)
    flow = np.convolve(np.pad(flow, 30, mode="edge"), np.ones(61) / 61, mode="valid")
    power = np.roll(np.where(asleep, 4.0, 14.0), 15)
    (one,) = reductions(course(power, flow, flow - 8, SWAP), 40.0)
    assert (one.end_ms - one.start_ms) / HOUR_MS == pytest.approx(6.0, abs=0.2)
    slow = 14.0 - 10.0 * np.sin(np.pi * minute / 1440) ** 2
    assert reductions(course(slow, flow, flow - 8, SWAP), 40.0) == []


def test_whole_watts_may_hide_that_nothing_fell() -> None:
    """From 4 to 3 W is a quarter, or a rounding; from 6 to 3 W is a fall."""
    minute = np.arange(24 * 60)
    asleep = (minute >= 9 * 60) & (minute < 15 * 60)
    flow = np.where(asleep, 35.0, 55.0)
    flow = np.convolve(np.pad(flow, 30, mode="edge"), np.ones(61) / 61, mode="valid")
    for awake_w, step_w, count in ((4.0, 0.1, 1), (4.0, 1.0, 0), (6.0, 1.0, 1)):
        power = np.roll(np.where(asleep, 3.0, awake_w), 15)
        found = reductions(course(power, flow, flow - 8, SWAP), 25.0, step_w)
        assert len(found) == count


def test_a_pump_at_rest_in_standby_is_not_reduced() -> None:
    """Stopped by its controller while the water cools, it shows 2.1 W; turning least, 2.4 W."""
    minute = np.arange(24 * 60)
    asleep = (minute >= 9 * 60) & (minute < 15 * 60)
    flow = np.where(asleep, 35.0, 55.0)
    flow = np.convolve(np.pad(flow, 30, mode="edge"), np.ones(61) / 61, mode="valid")
    for least_w, count in ((2.1, 0), (2.4, 1)):
        power = np.roll(np.where(asleep, least_w, 12.0), 15)
        assert len(reductions(course(power, flow, flow - 8, SWAP), 25.0)) == count


@pytest.mark.parametrize(("days", "state"), [(1, "sound"), (3, "found")])
def test_two_hours_by_day_in_a_week_are_a_misfit(days: int, state: str) -> None:
    """An hour and a half at noon, three after the swap's: once in a week is chance, thrice none."""
    minute = np.arange(7 * 1440)
    by_day = (minute % 1440 >= 3 * 60) & (minute % 1440 < 4.5 * 60)
    asleep = by_day & (minute // 1440 >= 1) & (minute // 1440 <= days)
    flow = np.where(asleep, 35.0, 55.0)
    flow = np.convolve(np.pad(flow, 30, mode="edge"), np.ones(61) / 61, mode="valid")
    after = course(np.where(np.roll(asleep, 15), 3.0, 12.0), flow, flow - 8, SWAP)
    told = {c.mistake.name: c.judged.state for c in checks(made(after.part(Span(0, 0)), after))}
    assert told["night_reduction_misfit"] == state


def test_night_reduction_that_never_engages_needs_to_be_known_as_set() -> None:
    """Five nights set back by 16 K without a step: a misfit only where it was switched on."""
    minute = np.arange(6 * 1440)
    flow = np.where((minute % 1440) < 6 * 60, 38.0, 54.0)
    power = np.full(len(minute), 12.0)
    after = course(power, flow, flow - 8, SWAP)
    seen = made(after.part(Span(0, 0)), after)
    for night, state in ((True, "found"), (None, "sound"), (False, "sound")):
        told = {c.mistake.name: c.judged.state for c in checks(seen, night_reduction=night)}
        assert told["night_reduction_misfit"] == state


def test_what_is_not_measured_is_not_judged() -> None:
    """Without pipe temperatures and plate only air can be judged, and each says what it needs."""
    unknown = np.full(4 * 1440, np.nan)
    power = np.full(4 * 1440, 12.0)
    bare = made(course(unknown, unknown, unknown, 0), course(power, unknown, unknown, SWAP))
    seen = Fitting(
        **{
            **{name: getattr(bare, name) for name in Fitting.__dataclass_fields__},
            "most_w": None,
            "flow_id": None,
            "return_id": None,
        }
    )
    told = {c.mistake.name: c.judged for c in checks(seen)}
    assert told.pop("air").state == "sound"
    assert {judged.state for judged in told.values()} == {"unknown"}
    assert all(judged.needs for judged in told.values())
