"""The first judges: a pump that stands still, a temperature too high."""

import numpy as np

from analysis.faults import FAULTS, examine
from analysis.plant import Boiler, Channel, Plant, Pump
from analysis.readings import Readings
from analysis.timebase import HOUR_MS, Span
from analysis.watch import Situation

PUMP = Pump(id="heating", drive="induction")
CHANNELS = (
    Channel(id="heating.power", of="heating", quantity="power", unit="W", interval_s=60),
    Channel(
        id="boiler.flow",
        of="boiler",
        quantity="temperature",
        unit="Cel",
        place="flow",
        interval_s=60,
    ),
)
PLANT = Plant(
    name="Quay", timezone="UTC", boilers=(Boiler(id="boiler", fuel="gas"),), pumps=(PUMP,),
    channels=CHANNELS,
)  # fmt: skip
MINUTES = np.arange(0, 48 * HOUR_MS, 60_000)
DAYTIME = (MINUTES // HOUR_MS) % 24 >= 8
SPAN = Span(0, 48 * HOUR_MS)


def healthy() -> dict[str, Readings]:
    rng = np.random.default_rng(3)
    power = np.where(DAYTIME, rng.normal(55, 1, len(MINUTES)), 0.0)
    flow = np.where(DAYTIME, 60.0, 25.0)
    return {"heating.power": Readings.of(MINUTES, power), "boiler.flow": Readings.of(MINUTES, flow)}


def changed(record: dict[str, Readings], name: str, start_h: float, value: float) -> None:
    readings = record[name]
    late = readings.time_ms >= start_h * HOUR_MS
    record[name] = Readings(readings.time_ms, np.where(late, value, readings.value))


def faults(record: dict[str, Readings], plant: Plant = PLANT) -> list[tuple[str, str]]:
    health = examine(Situation(plant=plant, record=record, span=SPAN))
    return [(f.subject, f.fault) for f in health.findings]


def test_healthy_days_and_idle_nights_raise_nothing() -> None:
    """A pump off at night with a cold boiler is no fault."""
    assert faults(healthy()) == []


def test_pump_without_power_while_the_flow_is_hot_is_a_stall() -> None:
    """No power with hot flow from 36 h on: found from then, lasting."""
    record = healthy()
    changed(record, "heating.power", 36, 1.5)
    (finding,) = examine(Situation(plant=PLANT, record=record, span=SPAN)).findings
    assert (finding.fault, finding.urgency, finding.end_ms) == ("stall", "now", None)
    assert abs(finding.start_ms - 36 * HOUR_MS) <= 60_000
    assert finding.evidence[0].value == 1.5
    assert finding.first_check
    assert finding.who


def test_missing_readings_are_no_stall() -> None:
    """A plug that falls silent says nothing about its pump."""
    record = healthy()
    readings = record["heating.power"]
    early = readings.time_ms < 36 * HOUR_MS
    record["heating.power"] = Readings(readings.time_ms[early], readings.value[early])
    assert faults(record) == []


def test_always_on_pump_needs_no_demand() -> None:
    """A pump entered as always on is missed even with a cold boiler."""
    plant = Plant(
        name="Quay", timezone="UTC", channels=CHANNELS[:1],
        pumps=(Pump(id="heating", drive="induction", always_on=True),),
    )  # fmt: skip
    power = Readings.of(MINUTES, np.where(MINUTES > 40 * HOUR_MS, 0.0, 55.0))
    assert faults({"heating.power": power}, plant) == [("heating", "stall")]


def test_what_is_missing_is_named() -> None:
    """Without power, or without demand, the judge says which channel would settle it."""
    flow_only = {"boiler.flow": healthy()["boiler.flow"]}
    unknown = examine(Situation(plant=PLANT, record=flow_only, span=SPAN)).cannot_judge
    assert ("heating", "stall", "a power channel of 'heating'") in [
        (c.subject, c.fault, c.needs) for c in unknown
    ]
    power_only = {"heating.power": healthy()["heating.power"]}
    unknown = examine(Situation(plant=PLANT, record=power_only, span=SPAN)).cannot_judge
    assert any("flow temperature or power of the boiler" in c.needs for c in unknown)


def test_overheating_needs_two_readings() -> None:
    """One reading above the limit is a glitch; two are an alarm, ended by the dead band."""
    record = healthy()
    flow = record["boiler.flow"].value.copy()
    flow[1000] = 99.0
    flow[1100:1110] = 97.0
    flow[1110:1120] = 93.0
    record["boiler.flow"] = Readings(MINUTES, flow)
    (finding,) = examine(Situation(plant=PLANT, record=record, span=SPAN)).findings
    assert (finding.subject, finding.fault) == ("boiler", "overheating")
    assert finding.start_ms == MINUTES[1101]
    assert finding.end_ms == MINUTES[1120]


def test_every_fault_row_is_complete() -> None:
    """Each row of the registry says what to check, who may act and what can hurt."""
    for fault in FAULTS.values():
        for words in (fault.title, fault.needs, fault.first_check, fault.who, fault.caution):
            assert len(words) > 10
        assert fault.possible
