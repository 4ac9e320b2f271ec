"""Burner cycles against sequences whose truth is known, and against a real gas meter."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.base.time import HOUR_MS, MINUTE_MS, Span
from analysis.firing.burner_cycles import boiler_cycles
from analysis.plant.plant import Boiler, Channel, Plant
from analysis.readings.readings import Readings

BOILER = Boiler(id="boiler", fuel="gas")
POWER = Channel(id="boiler.power", of="boiler", quantity="power", unit="W")
GAS = Channel(id="boiler.gas", of="boiler", quantity="fuel_volume", unit="m3")
PLANT = Plant(name="Quay", timezone="UTC", boilers=(BOILER,), channels=(POWER, GAS))


def fired(
    firings: list[tuple[int, int]], hours: float, *, step_s: int = 10, seed: int = 0
) -> Readings:
    rng = np.random.default_rng(seed)
    time_ms = np.arange(0, int(hours * HOUR_MS), step_s * 1000)
    on = np.zeros(len(time_ms), bool)
    for start, end in firings:
        on |= (time_ms >= start) & (time_ms < end)
    power = np.where(on, rng.normal(85, 5, len(on)), rng.normal(4, 0.3, len(on)))
    return Readings.of(time_ms, np.round(power, 1))


def regular(n: int, on_min: float, off_min: float) -> list[tuple[int, int]]:
    period = int((on_min + off_min) * MINUTE_MS)
    return [
        (int(off_min * MINUTE_MS / 2) + i * period,
         int(off_min * MINUTE_MS / 2) + i * period + int(on_min * MINUTE_MS))
        for i in range(n)
    ]  # fmt: skip


@pytest.mark.parametrize("step_s", [1, 10, 60])
def test_power_cycles_are_all_found_with_edges_within_a_sample(step_s: int) -> None:
    """Fifty firings of 7 min with 20 min rest: all found, none invented, edges to one sample."""
    truth = regular(50, 7, 20)
    readings = fired(truth, 23, step_s=step_s)
    found = boiler_cycles(PLANT, BOILER, {"boiler.power": readings}, Span(0, 23 * HOUR_MS))
    assert found.method == "power"
    assert len(found.cycles) == 50
    for cycle, (start, end) in zip(found.cycles, truth, strict=True):
        assert abs(cycle.start_ms - start) <= step_s * 1000
        assert abs(cycle.end_ms - end) <= step_s * 1000
        assert cycle.is_complete
    assert found.summary.starts == 50
    assert found.summary.median_on_s == pytest.approx(420, abs=step_s)
    assert found.summary.median_off_s == pytest.approx(1200, abs=step_s)
    assert found.summary.on_hours == pytest.approx(50 * 7 / 60, rel=0.02)


def test_gap_hides_an_edge_and_never_counts_as_rest() -> None:
    """A cycle cut by a gap is incomplete, and the rest after it is unknown."""
    truth = regular(10, 7, 20)
    readings = fired(truth, 5)
    start, end = truth[4]
    gap = (readings.time_ms > start + 120_000) & (readings.time_ms < end + 300_000)
    readings = Readings(readings.time_ms[~gap], readings.value[~gap])
    found = boiler_cycles(PLANT, BOILER, {"boiler.power": readings}, Span(0, 5 * HOUR_MS))
    assert [c.is_complete for c in found.cycles] == [True] * 4 + [False] + [True] * 5
    assert found.cycles[4].off_s is None
    assert found.coverage == pytest.approx(1 - 0.165 / 5, abs=0.01)


def test_lone_zero_does_not_split_a_firing() -> None:
    """A plug's single 0 W amid firing is its own fault where the boiler rests at 4 W."""
    readings = fired(regular(10, 7, 20), 5)
    value = readings.value.copy()
    value[np.flatnonzero(value > 50)[20]] = 0.0
    damaged = Readings(readings.time_ms, value)
    found = boiler_cycles(PLANT, BOILER, {"boiler.power": damaged}, Span(0, 5 * HOUR_MS))
    assert found.summary.starts == 10


@pytest.mark.parametrize(
    ("on_min", "off_min", "fuel", "expected"),
    [(2, 5, "gas", True), (20, 20, "gas", False), (4, 4, "oil", True), (8, 8, "oil", False)],
)
def test_short_cycling_by_rule_of_thumb(
    on_min: float, off_min: float, fuel: str, expected: bool
) -> None:
    """Two minutes on, five off is short cycling for gas; 20 minutes is not (rules of thumb)."""
    boiler = Boiler(id="boiler", fuel=fuel)  # type: ignore[arg-type]
    readings = fired(regular(int(1400 / (on_min + off_min)), on_min, off_min), 24)
    found = boiler_cycles(PLANT, boiler, {"boiler.power": readings}, Span(0, 24 * HOUR_MS))
    assert found.summary.short_cycling.is_short is expected
    assert "rule of thumb" in found.summary.short_cycling.why


def test_no_source_says_so() -> None:
    """Without power or fuel there is a reason, not an empty success."""
    found = boiler_cycles(PLANT, BOILER, {}, Span(0, HOUR_MS))
    assert found.method is None
    assert "no channel" in found.summary.short_cycling.why


@pytest.mark.shared_data
def test_gas_pulses_of_a_real_house(shared_data: Path) -> None:
    """Real gas meter pulses (AMPds2, Makonin 2016, CC BY 4.0): count as by plain gap rules.

    Runs of pulses apart by at most 2, 3 or 5 minutes number 842, 842 and 840.
    """
    frame = pd.read_csv(shared_data / "furnace_gas_pulses_year1.csv.gz")
    stamp = pd.to_datetime(frame["t"], utc=True)
    time_ms = stamp.dt.as_unit("ms").astype(np.int64).to_numpy()
    readings = Readings.of(time_ms, np.cumsum(frame["dm3"].to_numpy()) / 1000)
    apart_min = np.diff(readings.time_ms) / MINUTE_MS
    plain = [int((apart_min > rule).sum()) + 1 for rule in (2, 3, 5)]
    assert plain == [842, 842, 840]
    span = Span(int(time_ms[0]), int(time_ms[-1]) + 1)
    found = boiler_cycles(PLANT, BOILER, {"boiler.gas": readings}, span)
    assert found.method == "fuel"
    assert found.summary.starts == pytest.approx(842, rel=0.01)
    assert found.coverage == pytest.approx(1.0, abs=0.001)


def test_second_source_that_disagrees_is_told() -> None:
    """A gas counter that shows every firing agrees; one that shows half of them is told."""
    truth = regular(50, 7, 20)
    power = fired(truth, 23)
    for share, agrees in ((1, True), (2, False)):
        pulses = np.concatenate([np.arange(s, e, 30_000) for s, e in truth[::share]])
        gas = Readings.of(pulses, np.arange(1, len(pulses) + 1) * 0.01)
        record = {"boiler.power": power, "boiler.gas": gas}
        found = boiler_cycles(PLANT, BOILER, record, Span(0, 23 * HOUR_MS))
        assert found.method == "power"
        assert found.check is not None
        assert found.check.method == "fuel"
        assert found.check.agrees is agrees
        assert ("disagree" in found.check.words) is not agrees
        assert found.check.starts == pytest.approx(50, abs=2)


def test_finer_source_is_preferred_to_a_coarse_one() -> None:
    """Power every five minutes gives way to a gas counter that steps every half minute."""
    truth = regular(50, 7, 20)
    pulses = np.concatenate([np.arange(s, e, 30_000) for s, e in truth])
    gas = Readings.of(pulses, np.arange(1, len(pulses) + 1) * 0.01)
    record = {"boiler.power": fired(truth, 23, step_s=300), "boiler.gas": gas}
    found = boiler_cycles(PLANT, BOILER, record, Span(0, 23 * HOUR_MS))
    assert found.method == "fuel"
    assert found.summary.starts == 50


def test_firings_seen_in_one_reading_only_are_told() -> None:
    """Firings of 40 s by a plug of 60 s: a third falls between readings, the rest show once.

    Of a plug of 10 s none is brief.
    """
    truth = regular(300, 2 / 3, 7.1)
    slow, fine = (fired(truth, 38, step_s=step_s) for step_s in (60, 10))
    span = Span(0, 38 * HOUR_MS)
    found = boiler_cycles(PLANT, BOILER, {"boiler.power": slow}, span)
    assert len(found.cycles) == pytest.approx(200, abs=15)
    assert found.brief_share == 1.0
    assert "100% of firings show in one reading only, 60 s apart" in found.document()["brief_words"]
    finely = boiler_cycles(PLANT, BOILER, {"boiler.power": fine}, span)
    assert finely.brief_share == 0.0
    assert finely.document()["brief_words"] == ""
