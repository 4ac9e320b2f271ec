"""Savings of swaps whose powers and hours are known, claims against them, and a placebo."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import analysis
from analysis.base.errors import StokeholdError
from analysis.base.estimate import Estimate
from analysis.base.time import DAY_MS, Span, from_ms, to_ms
from analysis.energy.measured import energy_use
from analysis.plant.plant import Channel, Plant, Pump, PumpPlate, Swap, Tariff
from analysis.readings.readings import Readings
from analysis.savings.claim import judge_claim
from analysis.savings.drawn_years import Question
from analysis.savings.result import worth_of
from analysis.savings.saving import saving_of, together
from analysis.statistics.change_point_regression import Points, fit_signature
from analysis.statistics.regression_forecast import predicted_total

SWAPPED = datetime(2026, 1, 15, 10, tzinfo=UTC)
AT_MS = to_ms(SWAPPED)
SPAN = Span(AT_MS - 30 * DAY_MS, AT_MS + 30 * DAY_MS)


def _swap(pump: str = "one", **more) -> Swap:
    old = PumpPlate(drive="induction", always_on=True, rated_power_w=(45, 75))
    new = PumpPlate(drive="electronic", always_on=True, rated_power_w=(4, 30))
    return Swap(**({"pump": pump, "time": SWAPPED, "old": old, "new": new} | more))


def _plant(*swaps: Swap) -> Plant:
    names = sorted({s.pump for s in swaps})
    return Plant(
        name="Quay House",
        timezone="UTC",
        tariff=Tariff(currency="EUR", electricity_per_kwh=0.30, fuel_per_kwh=0.10),
        pumps=tuple(Pump(id=n, drive="electronic", always_on=True) for n in names),
        channels=tuple(
            Channel(id=f"{n}.power", of=n, quantity="power", unit="W", interval_s=60) for n in names
        ),
        swaps=swaps,
    )


def _steady(before_w: float, after_w: float, span: Span = SPAN) -> Readings:
    """Minutes of steady power with a watt of unrest, one power before and one after the swap."""
    time_ms = np.arange(span.start_ms, span.end_ms, 60_000)
    rng = np.random.default_rng(1)
    power = np.where(time_ms < AT_MS, before_w, after_w) + 0.5 * rng.standard_normal(len(time_ms))
    return Readings.of(time_ms, power)


class _Asked(dict):
    """A record that counts how often each channel was fetched."""

    def __init__(self, *args) -> None:
        super().__init__(*args)
        self.count: dict[str, int] = {}

    def get(self, name, default=None):
        self.count[name] = self.count.get(name, 0) + 1
        return super().get(name, default)

    def __getitem__(self, name):
        self.count[name] = self.count.get(name, 0) + 1
        return super().__getitem__(name)


def test_the_weather_of_a_swap_is_fetched_once() -> None:
    """Years and comparison stand in the same weather: a year of it is not read twice."""
    outdoor = Channel(
        id="out", of="plant", quantity="temperature", place="outdoor", unit="Cel", interval_s=600
    )
    plant = _plant(_swap())
    plant = replace(plant, channels=(*plant.channels, outdoor))
    time_ms = np.arange(SPAN.start_ms, SPAN.end_ms, 600_000)
    cold = Readings.of(time_ms, 4.0 + 3.0 * np.sin(time_ms / DAY_MS))
    record = _Asked({"one.power": _steady(65.0, 12.0), "out": cold})
    found = saving_of(plant, plant.swaps[0], record, span=SPAN)
    assert "equal outdoor temperature" in found.method
    assert record.count["out"] == 1


def test_two_old_pumps_always_on() -> None:
    """Two of 70 W replaced by 28.5 and 12 W save some 870 kWh a year; 900 holds, 1,300 cannot be.

    Common practice, no source; 99.5 W x 8.76.
    """
    swaps = (_swap("one"), _swap("two"))
    plant = _plant(*swaps)
    record = {"one.power": _steady(70.0, 28.5), "two.power": _steady(70.0, 12.0)}
    both = together([saving_of(plant, s, record, span=SPAN) for s in swaps])
    assert both.per_year.value == pytest.approx(871.6, rel=0.03)
    assert both.per_year.low < 900 < both.per_year.high
    assert judge_claim(both.per_year, 900.0, both.ceiling).word == "confirmed"
    refused = judge_claim(both.per_year, 1300.0, both.ceiling)
    assert refused.word == "refuted"
    assert "no exchange saves more than the old pump used" in refused.why


def test_measured_projected_and_claimed_stand_apart() -> None:
    """70 to 10 W: 60 W over the 29 whole days since, 526 kWh in a year, the claim beside them."""
    plant = _plant(_swap(claim_kwh_per_year=520.0))
    record = {"one.power": _steady(70.0, 10.0)}
    found = saving_of(plant, plant.swaps[0], record, span=SPAN)
    assert found.so_far.value == pytest.approx(60 * 29 * 24 / 1000, rel=0.03)
    assert found.per_year.value == pytest.approx(525.6, rel=0.03)
    document = found.document()
    assert document["claim_kwh_per_year"] == 520.0
    assert document["verdict"] == "confirmed"
    assert document["before"]["running_power_w"]["value"] == pytest.approx(70.0, abs=0.1)
    assert document["days"][-1]["so_far"] == pytest.approx(found.so_far.value, rel=1e-3)


def test_a_pumps_year_is_the_same_wherever_it_is_told() -> None:
    """The new pump's year of the swap, of the costs and of the machine itself: one estimate."""
    plant = _plant(_swap())
    record = {"one.power": _steady(70.0, 10.0)}
    told = saving_of(plant, plant.swaps[0], record, span=SPAN).after.per_year
    alone = energy_use(plant, plant.pumps[0], record, SPAN).per_year
    assert (told.low, told.value, told.high) == (alone.low, alone.value, alone.high)
    assert "29 days of the pump before it tell of the season" in alone.basis


def test_what_both_pumps_share_cancels_in_the_saving() -> None:
    """Three weeks of each in autumn, a season that is unsure by much: the saving less so.

    Both rest on the same days, so what is unknown of the season moves both years alike.
    """
    at = to_ms(datetime(2025, 10, 1, 10, tzinfo=UTC))
    span = Span(at - 21 * DAY_MS, at + 21 * DAY_MS)
    time_ms = np.arange(span.start_ms, span.end_ms, 60_000)
    runs = (time_ms // DAY_MS) % 3 > 0
    power = np.where(runs, np.where(time_ms < at, 70.0, 35.0), 0.0)
    plates = [PumpPlate(drive="induction", always_on=False) for _ in range(2)]
    swap = _swap(time=from_ms(at), old=plates[0], new=plates[1])
    plant = replace(_plant(swap), pumps=(Pump(id="one", drive="induction"),))
    found = saving_of(plant, swap, {"one.power": Readings.of(time_ms, power)}, span=span)
    old, new, saved = (
        (e.high - e.low) for e in (found.before.per_year, found.after.per_year, found.per_year)
    )
    assert saved < 0.9 * np.hypot(old, new)
    assert found.per_year.low < 0.5 * found.before.per_year.value < found.per_year.high


def test_gap_saves_nothing() -> None:
    """Ten days without readings after the swap add nothing to what was saved so far."""
    plant = _plant(_swap())
    readings = _steady(70.0, 10.0)
    there = (readings.time_ms < AT_MS + 5.6 * DAY_MS) | (readings.time_ms > AT_MS + 15.5 * DAY_MS)
    record = {"one.power": Readings(readings.time_ms[there], readings.value[there])}
    found = saving_of(plant, plant.swaps[0], record, span=SPAN)
    assert found.so_far.value == pytest.approx(60 * 19 * 24 / 1000, rel=0.03)


def test_steady_old_pump_never_uses_more_than_it_could() -> None:
    """The new pump works from 6 to 14 W as days grow colder: the old would have used 70 W all days.

    70 W x 24 h is 1.68 kWh; a day of more would be beyond the ceiling.
    """
    plant = _plant(_swap())
    plain = _steady(70.0, 10.0)
    since = np.clip((plain.time_ms - AT_MS) / (SPAN.end_ms - AT_MS), 0.0, 1.0)
    colder = np.where(plain.time_ms < AT_MS, 0.0, 8.0 * (since - 0.5))
    record = {"one.power": Readings(plain.time_ms, plain.value + colder)}
    found = saving_of(plant, plant.swaps[0], record, span=SPAN)
    after = [d.old_kwh for d in found.days if d.start_ms > AT_MS and d.old_kwh is not None]
    assert np.array(after) == pytest.approx(1.68, rel=0.03)


def test_what_the_new_pump_draws_at_rest_is_not_laid_on_the_old_one() -> None:
    """Thirty days at 80 W, then rest at 1 W but for a week at 8 W.

    The old pump, off at its relay, would have used 80 W x 24 h on that week's days, else nothing.
    """
    plant = _plant(_swap(old=PumpPlate(drive="induction", always_on=False)))
    plain = _steady(80.0, 1.0)
    since = (plain.time_ms - AT_MS) / DAY_MS
    week = (since >= 14.6) & (since < 21.6)
    record = {"one.power": Readings(plain.time_ms, np.where(week, 8.0, plain.value))}
    found = saving_of(plant, plant.swaps[0], record, span=SPAN)
    after = np.array(
        [d.old_kwh for d in found.days if d.start_ms > AT_MS and d.old_kwh is not None]
    )
    assert np.sum(after > 1.7) == 7
    assert after[after < 1.7] == pytest.approx(0.0, abs=0.05)
    assert found.so_far.value == pytest.approx(7 * (80 - 8) * 0.024 - 21 * 0.024, rel=0.15)


def test_always_on_replaced_by_switched() -> None:
    """70 W always on, then 10 W switched: at most 613 kWh, at least those less 88 and the plug."""
    new = PumpPlate(drive="electronic", always_on=False)
    plant = _plant(_swap(new=new))
    found = saving_of(plant, plant.swaps[0], {"one.power": _steady(70.0, 10.0)}, span=SPAN)
    assert found.per_year.low > 0.95 * (613.2 - 88)
    assert found.per_year.value < 613.2


def test_hours_stipulated_are_option_a() -> None:
    """60 W over 5,000 h +- 10 %: 300 kWh, wider than the meter, and labelled option A (IPMVP)."""
    plant = _plant(_swap())
    record = {"one.power": _steady(70.0, 10.0)}
    question = Question(hours=(5000.0, 500.0))
    found = saving_of(plant, plant.swaps[0], record, span=SPAN, question=question)
    assert found.per_year.value == pytest.approx(300.0, rel=0.03)
    assert 25 < (found.per_year.high - found.per_year.low) / 2 < 40
    assert "option A" in found.method
    assert "stipulated" in found.method


def test_no_baseline_is_a_labelled_stipulation() -> None:
    """Without days before, the nameplate stands in: wide, and never called measured."""
    plant = _plant(_swap())
    late = Span(AT_MS, AT_MS + 30 * DAY_MS)
    record = {"one.power": _steady(70.0, 10.0, late)}
    found = saving_of(plant, plant.swaps[0], record, span=late)
    assert found.before.basis == "stipulated"
    assert "nameplate power 45 to 75 W stipulated" in found.method
    assert found.per_year.low < 35 * 8.76 * 1.05
    assert found.per_year.high > 65 * 8.76 * 0.95
    assert found.ceiling.kwh == pytest.approx(75 * 8.76)


def test_nothing_measured_is_still_answered_from_plates() -> None:
    """No readings at all: plates and typical hours, wide, and a claim of 500 is not proven."""
    unknown = PumpPlate(drive="induction")
    plant = _plant(_swap(old=unknown, new=PumpPlate(), claim_kwh_per_year=300.0))
    found = saving_of(plant, plant.swaps[0], {}, span=SPAN)
    assert found.verdict.word == "not_proven"
    assert (found.per_year.high - found.per_year.low) > 200
    assert found.so_far.value is None
    assert "typical power" in found.method


def test_two_plugs_are_less_sure_than_one() -> None:
    """The same swap seen by one plug or by two: two plugs widen the meter's part."""
    plant = _plant(_swap())
    record = {"one.power": _steady(70.0, 10.0)}
    one, two = (
        saving_of(plant, plant.swaps[0], record, span=SPAN, question=Question(same_plug=same))
        for same in (True, False)
    )
    assert two.parts["meter"] > 1.2 * one.parts["meter"]


def test_pump_at_rest_about_the_swap_is_answered() -> None:
    """Swapped in summer, both pumps at rest and outdoor measured: plates stand in, no crash."""
    plant = _plant(_swap())
    outdoor = Channel(
        id="out", of="plant", quantity="temperature", place="outdoor", unit="Cel", interval_s=600
    )
    plant = replace(plant, channels=(*plant.channels, outdoor))
    time_ms = np.arange(SPAN.start_ms, SPAN.end_ms, 600_000)
    warm = 20.0 + 3.0 * np.sin(time_ms / DAY_MS)
    rest = Readings.of(time_ms, np.zeros(len(time_ms)))
    record = {"one.power": rest, "out": Readings.of(time_ms, warm)}
    found = saving_of(plant, plant.swaps[0], record, span=SPAN)
    assert found.per_year.low < found.per_year.value < found.per_year.high
    assert "stipulated" in found.method


def test_a_plug_silent_while_its_load_rests_still_measures() -> None:
    """Fifteen hours a day in the plug, nothing heard at night: measured, not stipulated."""
    old, new = (PumpPlate(drive=d, always_on=False) for d in ("induction", "electronic"))
    plant = _plant(_swap(old=old, new=new))
    energy = Channel(id="one.energy", of="one", quantity="energy", unit="kW.h", reports="change")
    plant = replace(plant, channels=(*plant.channels, energy))
    readings = _steady(60.0, 12.0)
    by_day = (readings.time_ms % DAY_MS) < 15 * DAY_MS // 24
    power = Readings(readings.time_ms[by_day], readings.value[by_day])
    kwh = np.cumsum(np.where(by_day, readings.value, 0.0)) / 60_000.0
    record = {"one.power": power, "one.energy": Readings(power.time_ms, kwh[by_day])}
    found = saving_of(plant, plant.swaps[0], record, span=SPAN)
    assert "option B" in found.method
    assert found.before.running_w.value == pytest.approx(60.0, rel=0.02)
    assert found.before.run_hours_per_day == pytest.approx(15.0, rel=0.03)


def test_an_old_pump_that_gave_way_to_hot_water_did_not_run_all_hours() -> None:
    """Always on, but three hours a day at rest: its year is 21 hours a day."""
    plant = _plant(_swap(new=PumpPlate(drive="electronic", always_on=False)))
    readings = _steady(60.0, 12.0)
    runs = (readings.time_ms % DAY_MS) < 21 * DAY_MS // 24
    record = {"one.power": Readings(readings.time_ms, np.where(runs, readings.value, 0.0))}
    found = saving_of(plant, plant.swaps[0], record, span=SPAN)
    assert found.before.per_year.value == pytest.approx(60 * 21 * 0.365, rel=0.02)


def test_notebook_takes_a_frame_and_gives_one() -> None:
    """The same from pandas: a frame in, the days with their saving so far out."""
    readings = _steady(70.0, 10.0)
    frame = pd.DataFrame({"one.power": readings.to_series()})
    plant = _plant(_swap())
    found = analysis.saving_of(plant, plant.swaps[0], frame)
    course = found.to_frame()
    assert len(course) == 58
    assert course["so_far"].iloc[-1] == pytest.approx(found.so_far.value, rel=1e-6)
    assert course["measured_kwh"].iloc[0] == pytest.approx(70 * 24 / 1000, rel=0.01)


def test_unchanged_pump_saves_nothing() -> None:
    """A swap that changed nothing is not proven to save."""
    plant = _plant(_swap())
    found = saving_of(plant, plant.swaps[0], {"one.power": _steady(50.0, 50.0)}, span=SPAN)
    assert found.verdict.word == "not_proven"


def test_interactive_effect_is_stated() -> None:
    """The boiler makes up for the pump's heat: less is gained than the electricity saved."""
    plant = _plant(_swap())
    found = saving_of(plant, plant.swaps[0], {"one.power": _steady(70.0, 10.0)}, span=SPAN)
    assert found.worth.net.value < found.worth.electricity.value
    assert any("interactive effect" in note for note in found.notes)


def test_unknown_pump_is_refused() -> None:
    """A swap of a pump the plant lacks is a wrong question."""
    with pytest.raises(StokeholdError, match="no such pump"):
        saving_of(_plant(_swap()), _swap("other"), {}, span=SPAN)


def _gas_days(folder: Path) -> pd.DataFrame:
    """Daily gas [m3] and outdoor temperature of one heating season, in the house's time."""
    pulses = pd.read_csv(folder / "furnace_gas_pulses_year1.csv.gz")
    at = pd.to_datetime(pulses["t"], utc=True).dt.tz_convert("Etc/GMT+8").dt.date
    weather = pd.read_csv(folder / "furnace_weather_hourly_year1.csv.gz")
    day = pd.to_datetime(weather["Date/Time"]).dt.date
    table = pd.DataFrame(
        {
            "gas": pulses.groupby(at)["dm3"].sum() / 1000,
            "temp": weather.groupby(day)["Temp (C)"].mean(),
        }
    )
    return table.dropna().iloc[1:-1]


def test_placebo_on_measured_gas_is_not_proven(shared_data: Path) -> None:
    """Two parts of a season of real gas use without any measure: no saving is proven.

    AMPds2 (Makonin 2016, CC BY 4.0): a signature of the first part predicts the second.
    """
    table = _gas_days(shared_data)
    half = len(table) // 2
    order = np.arange(len(table), dtype=float)
    first, second = table.iloc[:half], table.iloc[half:]
    points = Points.of(first["temp"], first["gas"], at=order[:half], unit="m3")
    predicted = predicted_total(fit_signature(points), second["temp"])
    used = float(second["gas"].sum())
    saved = Estimate(predicted.value - used, predicted.low - used, predicted.high - used, "m3")
    assert judge_claim(saved, None, None).word == "not_proven"


def test_gas_that_replaces_pump_heat_is_paid_for_by_the_gross_kwh() -> None:
    """Methane 890.63 gross to 802.60 net (ISO 6976, from memory): gas costs that much more."""
    saving = Estimate(400.0, 380.0, 420.0, "kW.h")
    tariff = Tariff(electricity_per_kwh=0.30, fuel_per_kwh=0.10)
    gas, oil = (worth_of(saving, tariff, fuel) for fuel in ("gas", "oil"))
    assert gas.extra_fuel_kwh.value == oil.extra_fuel_kwh.value
    assert gas.extra_fuel.value / oil.extra_fuel.value == pytest.approx(890.63 / 802.60, rel=1e-4)
    assert gas.net.value < oil.net.value


@pytest.mark.parametrize(("plate", "most_w"), [((5, 45), 45.0), (None, 21.0)])
def test_ceiling_of_an_electronic_old_pump_is_what_it_can_take(
    plate: tuple[int, int] | None, most_w: float
) -> None:
    """Seen at 20 W in mild weeks it may take its plate's 45 W; without a plate what it did take."""
    old = PumpPlate(drive="electronic", always_on=True, rated_power_w=plate)
    plant = _plant(_swap(old=old))
    found = saving_of(plant, plant.swaps[0], {"one.power": _steady(20.0, 8.0)}, span=SPAN)
    assert found.ceiling.kwh == pytest.approx(most_w * 8.76, rel=0.05)
