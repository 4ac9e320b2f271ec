"""From the reading that shows it to the alarm: readings every ten seconds through the watch job."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS
from analysis.plant.plant import Boiler, Channel, Plant, Pump
from analysis.readings.readings import Readings
from collector.files.settings import Settings
from collector.installation.site import Site
from collector.nightly.jobs import watch, work_at_night
from collector.store.protocol import clock_ms

STEP_MS = 10_000
TURN_MS = 30_000
NOW = clock_ms() // DAY_MS * DAY_MS + 12 * HOUR_MS
STALL_WINDOW_MIN = 8
"""Tries of an electronic pump want twelve minutes at 60 s readings, less at 10 s."""


def part(of: str, quantity: str, unit: str, place: str | None = None) -> Channel:
    name = f"{of}.{place or quantity}"
    return Channel(id=name, of=of, quantity=quantity, unit=unit, place=place, interval_s=10)  # type: ignore[arg-type]  # words of the table of quantities


PLANT = Plant(
    name="Quay", timezone="Europe/Dublin", boilers=(Boiler(id="boiler", fuel="gas"),),
    pumps=(Pump(id="heating", drive="electronic", rated_power_w=(4.0, 40.0)),),
    channels=(
        part("heating", "power", "W"),
        part("boiler", "power", "W"),
        part("boiler", "temperature", "Cel", "flow"),
        part("heating", "temperature", "Cel", "flow"),
    ),
)  # fmt: skip


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    made = Site.open([PLANT], Settings(folder=tmp_path))
    yield made
    made.close()


def lay_in(site: Site, start_ms: int, end_ms: int, **values: float | np.ndarray) -> None:
    time_ms = np.arange(start_ms, end_ms, STEP_MS)
    usual = {"heating.power": 12.0, "boiler.flow": 60.0, "heating.flow": 58.0}
    usual["boiler.power"] = 40.0
    for name, value in {**usual, **{k.replace("_", "."): v for k, v in values.items()}}.items():
        whole = np.broadcast_to(np.asarray(value, float), time_ms.shape)
        site.store.load(f"quay/{name}", Readings.of(time_ms, whole))


def first_alarm_ms(site: Site, fault: str, until_ms: int) -> int | None:
    """Turn the watch as its schedule does, until the alarm stands."""
    for now in range(NOW, until_ms, TURN_MS):
        watch(site, now)
        standing = [a.alarm for a in site.journal.alarms("quay") if a.alarm.fault == fault]
        if standing and standing[0].state == "unacknowledged":
            return now
    return None


def prepare(site: Site) -> None:
    lay_in(site, NOW - 4 * DAY_MS, NOW, heating_power=12.0)
    work_at_night(site, NOW)


def test_stall_is_told_within_its_window_and_a_minute(site: Site) -> None:
    """Standby with a try every half minute, from now on."""
    prepare(site)
    tries = np.where(np.arange(0, 30 * 6) % 3 == 0, 8.0, 1.2)
    lay_in(site, NOW, NOW + 30 * MINUTE_MS, heating_power=tries)
    found = first_alarm_ms(site, "stall", NOW + 20 * MINUTE_MS)
    assert found is not None
    assert found - NOW <= (STALL_WINDOW_MIN + 1) * MINUTE_MS


def test_overheating_is_told_within_two_readings(site: Site) -> None:
    """Two readings above the limit are enough; the next turn of the watch tells it."""
    prepare(site)
    lay_in(site, NOW, NOW + 5 * MINUTE_MS, boiler_flow=99.0)
    found = first_alarm_ms(site, "overheating", NOW + 5 * MINUTE_MS)
    assert found is not None
    assert found - NOW <= 2 * STEP_MS + TURN_MS


def test_sound_hours_raise_nothing(site: Site) -> None:
    """The same turns over sound readings leave no alarm."""
    prepare(site)
    lay_in(site, NOW, NOW + 10 * MINUTE_MS)
    assert first_alarm_ms(site, "stall", NOW + 10 * MINUTE_MS) is None
    assert [a for a in site.journal.alarms("quay") if a.alarm.is_standing] == []


def test_fresh_plant_tells_start_attempts_before_its_first_night(site: Site) -> None:
    """Nothing is learned yet; tries that never end in running are told all the same."""
    tries = np.where(np.arange(0, 30 * 6) % 3 == 0, 8.0, 1.2)
    lay_in(site, NOW - 60 * MINUTE_MS, NOW)
    lay_in(site, NOW, NOW + 30 * MINUTE_MS, heating_power=tries)
    found = first_alarm_ms(site, "stall", NOW + 20 * MINUTE_MS)
    assert found is not None
    assert found - NOW <= (STALL_WINDOW_MIN + 1) * MINUTE_MS


def test_fresh_plant_says_that_it_learns_and_is_quiet(site: Site) -> None:
    """Sound first hours raise nothing, and the watch says what it waits for."""
    lay_in(site, NOW - 60 * MINUTE_MS, NOW + 5 * MINUTE_MS)
    assert first_alarm_ms(site, "stall", NOW + 5 * MINUTE_MS) is None
    kept = site.journal.result("quay", "watch")
    assert kept is not None
    needs = {row["fault"]: row["needs"] for row in kept[1]["cannot_judge"]}
    assert needs["stall"].startswith("learning: ")
