"""Every source of a boiler against firings whose times are known."""

import numpy as np

from analysis.base.time import DAY_MS, MINUTE_MS, Span, format_rfc3339
from analysis.plant.plant import Boiler, Channel, Plant
from analysis.readings.readings import Readings
from analysis.score.sources import heard, score_sources
from analysis.score.tally import Tally

START_MS = 1_790_000_000_000 // DAY_MS * DAY_MS
SPAN = Span(START_MS, START_MS + 2 * DAY_MS)
BOILER = Boiler(id="boiler", fuel="oil")
PLANT = Plant(
    name="Quay", timezone="UTC", boilers=(BOILER,),
    channels=(
        Channel(id="boiler.power", of="boiler", quantity="power", unit="W", interval_s=10),
        Channel(
            id="boiler.flow", of="boiler", quantity="temperature", place="flow", unit="Cel",
            interval_s=10,
        ),
    ),
)  # fmt: skip


def _house():
    """Ten minutes of fire each hour: motor's power, and water that warms and cools by 12 K."""
    time_ms = np.arange(SPAN.start_ms, SPAN.end_ms, 10_000)
    minute = (time_ms - START_MS) / MINUTE_MS % 60
    burns = (minute >= 20) & (minute < 30)
    since = np.where(burns, minute - 20, (minute - 30) % 60)
    water = np.where(burns, 48 + 1.2 * since, 60 - 0.24 * since)
    record = {
        "boiler.power": Readings.of(time_ms, np.where(burns, 160.0, 4.0)),
        "boiler.flow": Readings.of(time_ms, water),
    }
    starts = [START_MS + (60 * hour + 20) * MINUTE_MS for hour in range(48)]
    cycles = [
        {"start": format_rfc3339(one), "end": format_rfc3339(one + 10 * MINUTE_MS)}
        for one in starts
    ]
    ends = {"from": format_rfc3339(SPAN.start_ms), "to": format_rfc3339(SPAN.end_ms)}
    return record, ends | {"cycles": cycles}


def test_each_source_is_counted_apart() -> None:
    """Plug and pipe both tell all 48 firings, and so does a pipe sensor of a minute and 0.5 K."""
    record, truth = _house()
    tally = Tally()
    score_sources(tally, PLANT, record, truth)
    found = tally.sources_document()
    assert set(found) == {
        "power every 10 s, oil",
        "temperature, oil",
        "temperature at 60 s and 0.5 K, oil",
    }
    for row in found.values():
        assert (row["sources"], row["told"], row["true"]) == (1, 1, 48)
        assert row["f1"] > 0.97
    edges = {kind: row["edge_error_s"]["median"] for kind, row in found.items()}
    assert edges["power every 10 s, oil"] < edges["temperature at 60 s and 0.5 K, oil"]


def test_two_houses_add_up() -> None:
    """Sums of shared-out houses are sums by kind of source."""
    record, truth = _house()
    one, other = Tally(), Tally()
    score_sources(one, PLANT, record, truth)
    score_sources(other, PLANT, record, truth)
    one.add(other)
    assert one.sources["power every 10 s, oil"].true == 96
    assert one.sources["power every 10 s, oil"].sources == 2


def test_what_was_not_heard_is_no_miss() -> None:
    """Six hours without the plug: known are the stretches before and after."""
    record, _ = _house()
    power = record["boiler.power"]
    kept = (power.time_ms < START_MS + 10 * 60 * MINUTE_MS) | (
        power.time_ms >= START_MS + 16 * 60 * MINUTE_MS
    )
    silent = {"boiler.power": Readings.of(power.time_ms[kept], power.value[kept])}
    known = heard(PLANT, silent, SPAN, "boiler.power")
    assert known is not None
    assert len(known) == 2
    assert known[1].start_ms == START_MS + 16 * 60 * MINUTE_MS
    assert heard(PLANT, silent, SPAN, "boiler.flow") is None
