"""Starts of a year, service, and everything about a boiler in one document."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.base.estimate import Estimate
from analysis.base.time import DAY_MS, MINUTE_MS, Span, parse_rfc3339
from analysis.firing.daily_firings import FireDays, fired_in
from analysis.firing.heat_per_cycle import Flame
from analysis.firing.part_load_model import NUMBER, Seen, damped, drawn_starts
from analysis.firing.yearly_starts import as_lived, starts_by_outdoor, starts_of_year
from analysis.plant.boiler_limits import BoilerRules
from analysis.plant.plant import Boiler, Channel, Plant
from analysis.readings.readings import Readings
from analysis.reports.boiler import HeatUp, boiler_report, heat_up_words
from analysis.reports.service_due import Deed, service_of

BEGIN = parse_rfc3339("2026-01-01T00:00:00Z")
BOILER = Boiler(id="boiler", fuel="gas")
PLANT = Plant(
    name="Quay",
    timezone="UTC",
    boilers=(BOILER,),
    channels=(
        Channel(id="boiler.power", of="boiler", quantity="power", unit="W", interval_s=60),
        Channel(
            id="boiler.flow", of="boiler", quantity="temperature", place="flow", unit="Cel",
            interval_s=60,
        ),
    ),
)  # fmt: skip


def year_of_days(count: int, *, first: int = 0, seed: int = 1) -> tuple[FireDays, float]:
    """Days of a boiler whose starts follow the weather by a hump, and the year's true sum."""
    rng = np.random.default_rng(seed)
    day = np.arange(365)
    outdoor = 9.5 - 8.5 * np.cos(2 * np.pi * (day - 20) / 365) + 2.5 * rng.standard_normal(365)
    load = np.clip((15.5 - outdoor) / 25, 0, 1)
    starts = np.round(160 * 4 * load * (1 - load) / 1.0 * rng.normal(1, 0.1, 365))
    charges = np.full(365, 2.0)
    seen = slice(first, first + count)
    nothing = np.full(count, np.nan)
    days = FireDays(
        BEGIN + day[seen].astype(np.int64) * DAY_MS, starts[seen], charges[seen], nothing, nothing,
        nothing, outdoor[seen], np.ones(count, bool),
    )  # fmt: skip
    return days, float((starts + charges).sum())


@pytest.mark.parametrize("first", [0, 60, 240])
def test_a_month_gives_a_year_with_an_interval_that_holds_the_truth(first: int) -> None:
    """A hump of starts over the weather: any 40 days bound the year, none pretends to be it."""
    days, truth = year_of_days(40, first=first)
    year = starts_of_year(days, "Europe/Berlin")
    assert year.low < truth < year.high
    scaled = float((days.starts + days.charges).mean()) * 365
    assert abs(year.value - truth) < abs(scaled - truth) + 0.1 * truth


def test_intervals_of_starts_cover_most_houses() -> None:
    """Twenty synthetic houses of 40 days each: at least 17 intervals hold the year's starts."""
    held = 0
    for seed in range(20):
        days, truth = year_of_days(40, first=(seed * 17) % 320, seed=seed)
        year = starts_of_year(days, "Europe/Berlin")
        held += year.low <= truth <= year.high
    assert held >= 17


def running_through(count: int) -> FireDays:
    """Winter days of a modulating burner that runs through while the clock calls, four times."""
    rng = np.random.default_rng(3)
    outdoor = -2.0 + 2.0 * rng.standard_normal(count)
    hours = np.full(count, 16.0)
    starts = rng.poisson(4.0, count).astype(np.float64)
    return FireDays(
        BEGIN + np.arange(count, dtype=np.int64) * DAY_MS, starts, np.zeros(count), hours, hours,
        np.full(count, 15_000.0), outdoor, np.ones(count, bool),
    )  # fmt: skip


def test_a_burner_that_runs_through_in_the_cold_may_do_so_all_year() -> None:
    """What follows the winter is open: some calls a day all year, or many starts in spring."""
    year = starts_of_year(
        running_through(50), "Europe/Berlin", Flame(80.0, 0.15, 0.0, modulates=True)
    )
    assert year.low < 5 * 270
    assert year.high > 2 * 4 * 270


def test_starts_follow_the_published_law_of_part_load() -> None:
    """N / Nmax = 4 x (1 - x) (NEMA DC-3): a boiler seen at a third of its load tells its half.

    Days of load a third bring 86400 / E / 4 * 8 / 9 starts; the year's busiest day, whatever its
    load, brings no more than the law's peak of 86400 / E / 4, and the calls of a day.
    """
    count, stroke_s = 60, 150.0
    peak = 86_400.0 / stroke_s / 4.0
    seen = Seen(
        np.full(count, 3.0),
        np.full(count, 3.0),
        np.zeros(count),
        np.full(count, peak * 8 / 9),
        np.full(count, 8.0),
        np.full(count, 24.0),
    )
    year_c = np.linspace(-25.0, 20.0, 365)[None, :] + np.zeros((NUMBER, 1))
    drawn = drawn_starts(seen, Flame(stroke_s, 0.02, 0.0, modulates=False), year_c, np.zeros(365))
    at_seen = float(np.median(drawn[:, np.argmin(np.abs(year_c[0] - 3.0))]))
    assert at_seen == pytest.approx(peak * 8 / 9, rel=0.08)
    assert np.median(drawn.max(axis=1)) == pytest.approx(peak, rel=0.1)


def test_a_whole_year_is_counted_and_few_days_are_refused() -> None:
    """365 days are their own sum; three days give words instead of a figure."""
    days, truth = year_of_days(365)
    assert starts_of_year(days, "Europe/Berlin").value == pytest.approx(truth, rel=0.001)
    few, _ = year_of_days(3)
    assert starts_of_year(few, "Europe/Berlin").value is None


def test_starts_by_outdoor_temperature_class() -> None:
    """Classes of 3 K, each with its days and quartiles, days not watched left out."""
    days, _ = year_of_days(4)
    days = replace(
        days,
        outdoor_c=np.array([1.0, 2.0, 4.0, 5.0]),
        starts=np.array([10.0, 20.0, 30.0, 99.0]),
        charges=np.zeros(4),
        is_whole=np.array([True, True, True, False]),
    )
    cells = starts_by_outdoor(days)
    assert [(c.from_c, c.days, c.per_day) for c in cells] == [(0.0, 2, 15.0), (3.0, 1, 30.0)]


def record_of(days: int, *, rise: tuple[float, float] = (3.0, 3.0)) -> dict[str, Readings]:
    """Ten minutes on, fifty off; water warms by so many K/min before and after half time."""
    minute = np.arange(days * 1440)
    on = minute % 60 < 10
    rate = np.where(minute < days * 720, *rise)
    flow = 40 + np.where(on, (minute % 60) * rate, 0.0)
    time_ms = BEGIN + minute.astype(np.int64) * MINUTE_MS
    return {
        "boiler.power": Readings.of(time_ms, np.where(on, 60.0, 4.0)),
        "boiler.flow": Readings.of(time_ms, flow),
    }


def test_service_is_due_by_date_hours_or_starts() -> None:
    """A service 13 months ago is due by date; hours and starts by their own limits; else not."""
    span = Span(BEGIN, BEGIN + 20 * DAY_MS)
    seen = fired_in(PLANT, BOILER, record_of(20), span)
    none = np.full(len(seen.start_ms), np.nan)
    old = [Deed(BEGIN - 395 * DAY_MS, "cleaned", "boiler brushed")]
    fresh = [Deed(BEGIN, "service", "yearly service")]
    assert service_of(seen, old, span=span, heat_up=none).is_due is True
    recent = service_of(seen, fresh, span=span, heat_up=none)
    assert recent.is_due is False
    assert recent.hours == pytest.approx(20 * 24 / 6, rel=0.02)
    assert recent.starts == pytest.approx(480, abs=2)
    by_hours = BoilerRules(service_hours=50)
    assert service_of(seen, fresh, span=span, heat_up=none, rules=by_hours).is_due is True
    unknown = service_of(seen, [Deed(BEGIN, "pressure", "1.4 bar")], span=span, heat_up=none)
    assert unknown.is_due is None
    assert "logbook" in unknown.why


def test_time_between_a_service_and_the_first_reading_is_told_as_unknown() -> None:
    """Twenty days seen after a month unseen are no word that the limits are not reached."""
    span = Span(BEGIN, BEGIN + 20 * DAY_MS)
    seen = fired_in(PLANT, BOILER, record_of(20), span)
    none = np.full(len(seen.start_ms), np.nan)
    before = [Deed(BEGIN - 30 * DAY_MS, "service", "yearly service")]
    found = service_of(seen, before, span=span, heat_up=none)
    assert found.is_due is None
    assert "since the readings begin, 30 days after the last service" in found.why
    reached = service_of(seen, before, span=span, heat_up=none, rules=BoilerRules(service_hours=50))
    assert reached.is_due is True


def test_effect_of_a_service_is_shown_before_and_after() -> None:
    """Warming rises from 2 to 3 K/min at the service: told as more, with both medians."""
    span = Span(BEGIN, BEGIN + 20 * DAY_MS)
    deed = Deed(BEGIN + 10 * DAY_MS, "nozzle", "new nozzle")
    report = boiler_report(PLANT, BOILER, record_of(20, rise=(2.0, 3.0)), span=span, deeds=[deed])
    effect = report.service.effects[0]
    assert effect.before.value == pytest.approx(2.0, abs=0.2)
    assert effect.after.value == pytest.approx(3.0, abs=0.2)
    assert effect.says.startswith("more than before")
    same = boiler_report(PLANT, BOILER, record_of(20), span=span, deeds=[deed])
    assert "no change" in same.service.effects[0].says


def test_document_holds_what_page_and_command_need() -> None:
    """Counts agree with the record; run lengths, days and last firings are whole."""
    span = Span(BEGIN, BEGIN + 20 * DAY_MS)
    document = boiler_report(PLANT, BOILER, record_of(20), span=span).document()
    assert document["heating"]["starts"] == pytest.approx(480, abs=2)
    lengths = dict(zip(document["lengths_min"], document["heating"]["lengths"], strict=False))
    assert lengths[10.0] + lengths[5.0] == pytest.approx(480, abs=3)
    assert sum(document["days"]["starts"]) == document["heating"]["starts"]
    assert len(document["last_firings"]) == pytest.approx(8 * 24, abs=2)
    assert document["condensing_share"]["reason"] == "not a condensing boiler"


def test_slower_warming_than_a_year_before_is_noted() -> None:
    """February against February, with intervals apart; without the same month nothing is said."""

    def month(name: str, value: float) -> HeatUp:
        return HeatUp(name, Estimate(value, value - 0.1, value + 0.1, "K/min"))

    slower = heat_up_words((month("2025-02", 4.0), month("2026-02", 3.0)))
    assert slower.startswith("Warms more slowly")
    assert heat_up_words((month("2025-02", 4.0), month("2026-02", 4.05))).startswith(
        "Warms as fast"
    )
    assert heat_up_words((month("2026-01", 4.0), month("2026-02", 3.0))).startswith("No month")


def kept_warm(first: int, count: int) -> tuple[FireDays, float]:
    """Days of a boiler kept hot all day below 15 Cel of damped weather, and its year's starts.

    Jacket and pipes take a tenth of its flame, each kelvin that the house lacks another fortieth.
    """
    rng = np.random.default_rng(8)
    day = np.arange(365)
    outdoor = 10.5 - 8.0 * np.cos(2 * np.pi * (day - 20) / 365) + 2.2 * rng.standard_normal(365)
    is_on = damped(outdoor) < 15.0
    load = 0.1 + 0.025 * np.maximum(15.0 - outdoor, 0.0)
    starts = np.where(is_on, np.round(86_400.0 * load * (1.0 - load) / 230.0), 0.0)
    hours, seen = 24.0 * is_on, slice(first, first + count)
    days = FireDays(
        BEGIN + day[seen].astype(np.int64) * DAY_MS, starts[seen], np.zeros(count),
        (hours * load)[seen], hours[seen], np.full(count, np.nan), outdoor[seen],
        np.ones(count, bool),
    )  # fmt: skip
    return days, float(starts.sum())


def test_early_summer_tells_how_often_a_boiler_kept_warm_fires_in_winter() -> None:
    """All or nothing by the day before, and nearly as often at 14 as at 5 Cel."""
    days, truth = kept_warm(145, 60)
    assert (days.starts == 0).any()
    year = starts_of_year(days, "Europe/Berlin", Flame(230.0, 0.15, 0.0, modulates=False))
    assert year.value == pytest.approx(truth, rel=0.25)
    assert year.low < truth < year.high


def crowded(first: int, count: int) -> tuple[FireDays, float]:
    """Days of a modulating burner called 17.5 h a day, and its year's starts.

    By outdoor temperature hours of firing and starts are those of a rehearsed boiler with 48 s laid
    up a cycle, whose rests crowd in the afternoons (a model, no measurement).
    """
    rng = np.random.default_rng(12)
    day = np.arange(365)
    outdoor = 9.5 - 8.0 * np.cos(2 * np.pi * (day - 20) / 365) + 2.2 * rng.standard_normal(365)
    is_on = damped(outdoor) < 15.0
    at = [-3.0, 0.0, 3.0, 6.0, 9.0, 12.0, 15.0]
    starts = np.round(is_on * np.interp(outdoor, at, [14, 38, 72, 108, 137, 117, 60]))
    on_h = is_on * np.interp(outdoor, at, [16.8, 14.7, 11.9, 9.2, 6.7, 3.9, 1.9])
    hours, seen = 17.5 * is_on, slice(first, first + count)
    days = FireDays(
        BEGIN + day[seen].astype(np.int64) * DAY_MS, starts[seen], np.zeros(count), on_h[seen],
        hours[seen], np.full(count, np.nan), outdoor[seen], np.ones(count, bool),
    )  # fmt: skip
    return days, float(starts.sum())


def test_rests_that_crowd_in_a_part_of_the_day_are_no_law_of_part_load() -> None:
    """An autumn of a burner that runs through its mornings tells the year within a fifth."""
    days, truth = crowded(245, 60)
    year = starts_of_year(days, "Europe/Berlin", Flame(48.0, 0.15, 0.0, modulates=True))
    assert year.value == pytest.approx(truth, rel=0.2)
    assert year.low < truth < year.high


def called_by_the_room(count: int) -> FireDays:
    """Winter days of a modulating burner that the room calls a few times, for as long as needed."""
    rng = np.random.default_rng(4)
    outdoor = 3.0 + 3.0 * rng.standard_normal(count)
    hours = np.clip((16.0 - outdoor) * rng.normal(0.9, 0.2, count), 1.0, 22.0)
    return FireDays(
        BEGIN + np.arange(count, dtype=np.int64) * DAY_MS, rng.poisson(6.0, count) + 0.0,
        np.zeros(count), 0.97 * hours, hours, np.full(count, 7_000.0), outdoor,
        np.ones(count, bool),
    )  # fmt: skip


def test_hours_of_demand_that_follow_the_weather_tell_a_room_that_calls() -> None:
    """Called as long as needed it starts a few times on mild days too: not ten times as often."""
    year = starts_of_year(
        called_by_the_room(50), "Europe/Berlin", Flame(80.0, 0.15, 0.0, modulates=True)
    )
    assert year.value == pytest.approx(6 * 260, rel=0.35)
    assert year.high < 3 * 6 * 260


def test_weeks_out_of_habit_widen_the_year() -> None:
    """Three weeks of ten times the starts, as with valves shut: more may follow, or none."""
    held = np.full((500, 60), 10.0)
    even = as_lived(np.full(60, 10.0), held)
    odd = as_lived(np.where(np.arange(60) < 40, 10.0, 100.0), held)
    assert even == pytest.approx(1.0)
    low, middle, high = np.quantile(odd, (0.025, 0.5, 0.975))
    assert 1.2 < middle < 3.0
    assert high > 2.0 * low
