"""Departure from a learned normal, on made-up series, a real pump rig and a real machine."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from analysis.base.time import SECOND_MS, Span
from analysis.faults.data_quality import LEAST_LEARNED, course, departures, pump_departures
from analysis.faults.registry import examine
from analysis.plant.plant import Channel, Plant, Pump
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation

PUMP = Pump(id="rig", drive="induction", always_on=True)


def channel(
    name: str, quantity: str, unit: str, place: str | None = None, interval_s: float = 1
) -> Channel:
    return Channel(
        id=f"rig.{name}", of="rig", quantity=quantity, unit=unit, place=place, interval_s=interval_s
    )  # type: ignore[arg-type]


PLANT = Plant(
    name="Rig",
    timezone="UTC",
    pumps=(PUMP,),
    channels=(
        channel("current", "current", "A"),
        channel("body", "temperature", "Cel", "body"),
        channel("flow-temp", "temperature", "Cel", "flow"),
        channel("flow", "flow", "L/min"),
    ),
)


def noisy(levels: list[tuple[int, float]], *, seed: int = 5) -> NDArray[np.float64]:
    rng = np.random.default_rng(seed)
    return np.concatenate([rng.normal(level, 1.0, n) for n, level in levels])


def test_a_step_and_its_end_are_found() -> None:
    """Flow one and a half sigma low for 300 values, then back: one stretch, edges within 15."""
    ((part, _),) = departures(noisy([(900, 30.0), (300, 28.5), (300, 30.0)]), 600)
    assert abs(part.start - 900) < 15
    assert abs(part.stop - 1200) < 15


def test_slow_wander_as_learned_is_no_departure() -> None:
    """A daily wave that was there while it learned goes on without a departure."""
    wave = noisy([(3000, 30.0)]) + 3 * np.sin(np.arange(3000) / 30)
    assert departures(wave, 1000) == []


@pytest.mark.parametrize("seed", range(5))
def test_pure_noise_is_seldom_a_departure(seed: int) -> None:
    """Independent values without change: departed under 2 % of the time."""
    assert course(noisy([(4000, 30.0)], seed=seed), 1000).departed.mean() < 0.02


def test_a_constant_channel_can_be_learned() -> None:
    """A channel that never moved has a scatter all the same, and a step of it shows."""
    values = np.full(1000, 5.0)
    assert departures(values, 500) == []
    values[800:] = 6.0
    assert len(departures(values, 500)) == 1


def rig_record(frame: pd.DataFrame) -> dict[str, Readings]:
    time_ms = frame["datetime"].to_numpy().astype("datetime64[ms]").astype(np.int64)
    columns = {
        "rig.current": "Current",
        "rig.body": "Temperature",
        "rig.flow-temp": "Thermocouple",
        "rig.flow": "Volume Flow RateRMS",
    }
    return {c: Readings.of(time_ms, frame[name].to_numpy()) for c, name in columns.items()}


def rig_counts(path: Path) -> NDArray[np.int64]:
    """True, false, missed and rightly quiet rows after the first 400, which teach."""
    frame = pd.read_csv(path, sep=";", parse_dates=["datetime"])
    record = rig_record(frame)
    time_ms = record["rig.flow"].time_ms
    span = Span(int(time_ms[0]), int(time_ms[-1]) + SECOND_MS)
    said = np.zeros(len(frame), bool)
    for one in pump_departures(PLANT, PUMP, record, span):
        said |= (time_ms >= one.start_ms) & (time_ms < (one.end_ms or span.end_ms))
    assert not said[:400].any()
    true, said = frame["anomaly"].to_numpy()[400:] > 0, said[400:]
    return np.array(
        [(true & said).sum(), (~true & said).sum(), (true & ~said).sum(), (~true & ~said).sum()]
    )


def rates(counts: NDArray[np.int64]) -> tuple[float, float, float]:
    """F1, false-alarm rate and missed-alarm rate."""
    hit, false, missed, quiet = (float(c) for c in counts)
    return 2 * hit / (2 * hit + false + missed), false / (false + quiet), missed / (missed + hit)


@pytest.mark.shared_data
def test_pump_rig_point_by_point(shared_data: Path) -> None:
    """Eight runs of a water circulation rig with faults; current, temperatures and flow given.

    The best published over all 34 runs has F1 0.78, false alarms 13.6 %, missed 28.0 %;
    calling every row a fault gives 0.69 on these eight. Ours passes that F1, but not at fewer
    false alarms: after some runs the flow does not come back to where it was, and a rotor
    out of balance shows in vibration only, which is no channel here.

    Source: SKAB v0.9 (Katser and Kozitsin 2020), protocol and table of results.
    """
    paths = sorted(p for p in (shared_data / "pump_rig").glob("*.csv.gz") if "normal" not in p.name)
    counts = np.sum([rig_counts(p) for p in paths], axis=0)
    f1, false_rate, missed_rate = rates(counts)
    everything = counts[0] + counts[2]
    always = 2 * everything / (2 * everything + counts[1] + counts[3])
    print(f"F1 {f1:.3f}, always {always:.3f}, false {false_rate:.3f}, missed {missed_rate:.3f}")
    assert f1 > max(0.80, always)
    assert false_rate < 0.25
    assert missed_rate < 0.20


@pytest.mark.shared_data
def test_departures_of_the_rig_are_notes_on_its_channels(shared_data: Path) -> None:
    """The run with a closing valve: `examine` notes the flow, below what it was, in L/min."""
    frame = pd.read_csv(shared_data / "pump_rig/valve1_1.csv.gz", sep=";", parse_dates=["datetime"])
    record = rig_record(frame)
    span = Span(int(record["rig.flow"].time_ms[0]), int(record["rig.flow"].time_ms[-1]) + 1)
    notes = examine(Situation(plant=PLANT, record=record, span=span)).data_quality
    (note,) = [n for n in notes if n.channel == "rig.flow"]
    assert note.problem.startswith("below what it showed before")
    start = (note.start_ms - span.start_ms) / SECOND_MS
    assert 540 < start < 680


@pytest.mark.shared_data
def test_machine_temperature(shared_data: Path) -> None:
    """Learned from the first week: three of four labelled windows, under 1 % of other time.

    The window before the failure in late January is missed: the temperature stays
    within its usual range there. Source: Numenta Anomaly Benchmark; windows from memory.
    """
    frame = pd.read_csv(shared_data / "machine_temperature_5min.csv.gz", parse_dates=["timestamp"])
    departed = course(frame["value"].to_numpy(), 7 * 288).departed
    time = frame["timestamp"]
    windows = [
        ("2013-12-10 06:25", "2013-12-12 05:35"),
        ("2013-12-15 17:50", "2013-12-17 17:00"),
        ("2014-01-27 14:20", "2014-01-29 13:30"),
        ("2014-02-07 14:55", "2014-02-09 14:05"),
    ]
    inside = [((time >= a) & (time <= b)).to_numpy() for a, b in windows]
    assert [bool(departed[w].any()) for w in inside] == [True, True, False, True]
    assert departed[~np.any(inside, axis=0)].mean() < 0.01


def test_too_short_a_record_tells_nothing() -> None:
    """With fewer than one and a half times the values that teach, nothing is said."""
    time_ms = np.arange(LEAST_LEARNED, dtype=np.int64) * SECOND_MS
    record = {"rig.flow": Readings.of(time_ms, np.r_[np.full(300, 30.0), np.full(100, 5.0)])}
    span = Span(0, LEAST_LEARNED * SECOND_MS)
    assert pump_departures(PLANT, PUMP, record, span) == []
