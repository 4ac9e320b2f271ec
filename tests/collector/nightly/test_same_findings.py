"""The same days give the same findings from a log, from the night and from the live watch."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from analysis.base.time import DAY_MS, HOUR_MS, Span, parse_rfc3339
from analysis.faults.registry import examine, paced
from analysis.plant.finding import Finding
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation
from collector.files.settings import Settings
from collector.installation.site import Site
from collector.nightly.jobs import watch, work_at_night
from collector.store.protocol import StoreRecord, address
from made_minutes import AFTER_H, DAYS, HOUR, LATE, house, record, sound, stalled

PLANT = house("induction")
END_MS = DAYS * DAY_MS
STARTS_H = 1.125 + 2.5 * np.arange(4)
"""Hours after the last noon at which the burner tries and locks out."""


def seized() -> dict[str, Readings]:
    """A rotor that is locked from the last noon on, and a burner that locks out under it."""
    values = sound()
    stalled(values, 15.6)
    starts = np.any(np.abs(AFTER_H[:, None] - STARTS_H) < 0.5 / 60.0, axis=1)
    values["boiler.power"] = np.where(LATE, np.where(starts, 40.0, 5.0), values["boiler.power"])
    swing = 58.0 + 4.0 * np.sin(HOUR * 4.0 * np.pi)
    values["boiler.flow"] = np.where(LATE, swing, values["boiler.flow"])
    return record(values, {})


READINGS = seized()


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    made = Site.open([PLANT], Settings(folder=tmp_path))
    for channel in PLANT.channels:
        made.store.load(address(PLANT, channel), READINGS[channel.id])
    yield made
    made.close()


def test_the_night_finds_what_a_log_of_the_same_days_shows(site: Site) -> None:
    """The lock-outs lie under a stall that only what was learned day by day tells."""
    work_at_night(site, END_MS)
    kept = site.journal.result(PLANT.key, "slow")
    assert kept is not None
    history = Span(0, max(int(r.time_ms[-1]) for r in READINGS.values()))
    from_log = examine(Situation(plant=PLANT, record=READINGS, span=history), paced("day"))
    assert kept[1] == from_log.document()
    assert "ignition_trouble" not in {f["fault"] for f in kept[1]["findings"]}


def test_the_watch_tells_what_a_log_of_the_same_days_shows(site: Site) -> None:
    """Before the stall nothing, some hours into it the same fault of the same pump since then."""
    whole = StoreRecord(site.store, PLANT, Span(0, END_MS))
    seen = examine(Situation(plant=PLANT, record=whole, span=Span(0, END_MS)), paced("minute"))
    assert [f.fault for f in seen.findings] == ["stall"]
    work_at_night(site, 5 * DAY_MS)
    assert live(site, 5 * DAY_MS + 11 * HOUR_MS) == []
    assert live(site, 5 * DAY_MS + 15 * HOUR_MS) == [told(one) for one in seen.findings]


def told(one: Finding) -> tuple[str, str, str, int]:
    return one.subject, one.fault, one.urgency, one.start_ms


def live(site: Site, now_ms: int) -> list[tuple[str, str, str, int]]:
    watch(site, now_ms)
    kept = site.journal.result(PLANT.key, "watch")
    assert kept is not None
    return [
        (f["subject"], f["fault"], f["urgency"], parse_rfc3339(f["from"]))
        for f in kept[1]["findings"]
    ]
