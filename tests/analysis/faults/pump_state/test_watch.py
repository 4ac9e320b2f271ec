"""What must be known at once: pumps that stand, run dry or against a shut valve, heat too high."""

import numpy as np
import pytest

from analysis.base.time import HOUR_MS, Span
from analysis.faults.registry import FAULTS, examine
from analysis.plant.finding import Finding
from analysis.plant.plant import Boiler, Channel, Plant, Pump
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation

PUMP = Pump(id="heating", drive="induction")


def channel(
    of: str, quantity: str, unit: str, place: str | None = None, interval_s: float = 60
) -> Channel:
    name = f"{of}.{place or quantity}"
    return Channel(id=name, of=of, quantity=quantity, unit=unit, place=place, interval_s=interval_s)  # type: ignore[arg-type]  # words of the table of quantities


CHANNELS = (
    channel("heating", "power", "W"),
    channel("boiler", "power", "W"),
    channel("boiler", "temperature", "Cel", "flow"),
    channel("heating", "temperature", "Cel", "flow"),
    channel("plant", "pressure", "bar"),
)
PLANT = Plant(
    name="Quay", timezone="UTC", boilers=(Boiler(id="boiler", fuel="gas"),), pumps=(PUMP,),
    channels=CHANNELS,
)  # fmt: skip
DAYS = 6
MINUTES = np.arange(0, DAYS * 24 * HOUR_MS, 60_000)
HOUR = (MINUTES // HOUR_MS) % 24
DAYTIME = HOUR >= 8
SPAN = Span(0, DAYS * 24 * HOUR_MS)
FAULT_H = 5 * 24 + 12


def healthy() -> dict[str, Readings]:
    """Five days of heating from 8 to 24 h; burner on for 20 min of each half hour."""
    rng = np.random.default_rng(3)
    fires = DAYTIME & ((MINUTES // 60_000) % 30 < 20)
    values = {
        "heating.power": np.where(DAYTIME, rng.normal(55, 0.3, len(MINUTES)), 0.0),
        "boiler.power": np.where(fires, 40.0, 5.0),
        "boiler.flow": np.where(DAYTIME, 60.0, 25.0) + 0.1 * rng.standard_normal(len(MINUTES)),
        "heating.flow": np.where(DAYTIME, 58.0, 22.0) + 0.1 * rng.standard_normal(len(MINUTES)),
        "plant.pressure": np.full(len(MINUTES), 1.3),
    }
    return {name: Readings.of(MINUTES, value) for name, value in values.items()}


def changed(record: dict[str, Readings], name: str, value: float | np.ndarray) -> None:
    readings = record[name]
    late = readings.time_ms >= FAULT_H * HOUR_MS
    record[name] = Readings(readings.time_ms, np.where(late, value, readings.value))


def pipe_cools(record: dict[str, Readings]) -> None:
    hours = np.maximum(MINUTES / HOUR_MS - FAULT_H, 0.0)
    changed(record, "heating.flow", 20.0 + 38.0 * np.exp(-hours / 2.0))


def found(record: dict[str, Readings], plant: Plant = PLANT) -> list[Finding]:
    chosen = [FAULTS[n] for n in ("stall", "dry_run", "dead_head", "overheating")]
    return list(examine(Situation(plant=plant, record=record, span=SPAN), chosen).findings)


def test_healthy_days_and_idle_nights_raise_nothing() -> None:
    """A pump off at night with a cold boiler is no fault."""
    assert found(healthy()) == []


def test_pump_at_rest_with_heat_made_and_its_pipe_cooling_wakes() -> None:
    """No power while the burner fires and the pipe cools: now, within ten minutes."""
    record = healthy()
    changed(record, "heating.power", 0.0)
    pipe_cools(record)
    (finding,) = found(record)
    assert (finding.fault, finding.urgency) == ("stall", "now")
    assert abs(finding.start_ms - FAULT_H * HOUR_MS) <= 10 * 60_000
    assert finding.raised_ms is not None
    assert finding.raised_ms - FAULT_H * HOUR_MS <= 12 * 60_000
    assert {e.channel for e in finding.evidence} >= {"heating.power", "heating.flow"}
    assert finding.ruled_out
    assert finding.first_check
    assert finding.who


def test_one_sign_alone_waits_for_the_morning() -> None:
    """Without a sensor on the loop the missing power is one sign: soon, and it is said."""
    record = healthy()
    changed(record, "heating.power", 0.0)
    del record["heating.flow"]
    assert [(f.fault, f.urgency) for f in found(record)] == [("stall", "soon")]


def test_locked_rotor_draws_more_and_its_pipe_cools() -> None:
    """A seized induction pump takes 1.3 times its power; the pipe parts from the boiler."""
    record = healthy()
    changed(record, "heating.power", 55 * 1.3)
    pipe_cools(record)
    (finding,) = found(record)
    assert (finding.fault, finding.urgency) == ("stall", "now")
    assert "rotor seized" in finding.possible[0]


def test_turned_knob_is_no_locked_rotor() -> None:
    """The same step with water moving on is a setting, told by no watch of the minute."""
    record = healthy()
    changed(record, "heating.power", 55 * 1.3)
    assert found(record) == []


@pytest.mark.parametrize("share", [0.8, 0.93])
def test_low_pressure_and_less_power_is_a_dry_run(share: float) -> None:
    """Pressure gone and power down with it, be it by a few per cent only: dry, now."""
    record = healthy()
    changed(record, "plant.pressure", 0.25)
    changed(record, "heating.power", 55 * share)
    (finding,) = found(record)
    assert (finding.fault, finding.urgency) == ("dry_run", "now")
    assert "plant.pressure" in {e.channel for e in finding.evidence}


def test_sound_power_and_a_cold_pipe_below_a_hot_boiler_is_a_dead_head() -> None:
    """Power 0.95 and no water moving: a shut valve, which waits for the morning."""
    record = healthy()
    changed(record, "heating.power", 55 * 0.95)
    pipe_cools(record)
    assert [(f.fault, f.urgency) for f in found(record)] == [("dead_head", "soon")]


def test_missing_readings_are_no_stall() -> None:
    """A plug that falls silent says nothing about its pump."""
    record = healthy()
    readings = record["heating.power"]
    early = readings.time_ms < FAULT_H * HOUR_MS
    record["heating.power"] = Readings(readings.time_ms[early], readings.value[early])
    assert found(record) == []


def test_single_reading_is_too_little_and_no_error() -> None:
    """A record too short for one minute leaves everything to be learned."""
    plant = Plant(
        name="Quay", timezone="UTC", pumps=(Pump(id="heating", drive="induction"),),
        channels=(Channel(id="heating.power", of="heating", quantity="power", unit="W"),),
    )  # fmt: skip
    record = {"heating.power": Readings.of([0], [50.0])}
    health = examine(Situation(plant=plant, record=record, span=Span(0, 1)))
    assert health.findings == ()
    assert "stall" in {unknown.fault for unknown in health.cannot_judge}


def test_power_cut_is_no_stall() -> None:
    """All plugs silent for two hours, then everything as before."""
    record = healthy()
    for name, readings in record.items():
        hour = readings.time_ms / HOUR_MS - FAULT_H
        keep = (hour < 0) | (hour > 2)
        record[name] = Readings(readings.time_ms[keep], readings.value[keep])
    assert found(record) == []


def test_glitch_zeros_and_fault_codes_are_no_findings() -> None:
    """A single zero of the plug and a single 85.0 of a clip are faults of the message."""
    record = healthy()
    record["heating.power"].value[DAYTIME.nonzero()[0][2000]] = 0.0
    record["heating.flow"].value[DAYTIME.nonzero()[0][2500]] = 85.0
    assert found(record) == []


def test_always_on_pump_needs_no_demand() -> None:
    """A pump entered as always on is missed even with a cold boiler."""
    plant = Plant(
        name="Quay", timezone="UTC", channels=CHANNELS[:1],
        pumps=(Pump(id="heating", drive="induction", always_on=True),),
    )  # fmt: skip
    power = Readings.of(MINUTES, np.where(FAULT_H * HOUR_MS < MINUTES, 0.0, 55.0))
    (finding,) = found({"heating.power": power}, plant)
    assert (finding.subject, finding.fault, finding.urgency) == ("heating", "stall", "now")


def test_what_is_missing_is_named() -> None:
    """Without power, or without demand, the judge says which channel would settle it."""
    flow_only = {"boiler.flow": healthy()["boiler.flow"]}
    unknown = examine(Situation(plant=PLANT, record=flow_only, span=SPAN)).cannot_judge
    needs = {(c.subject, c.fault): c.needs for c in unknown}
    assert "a power channel of 'heating'" in needs["heating", "stall"]
    power_only = {"heating.power": healthy()["heating.power"]}
    unknown = examine(Situation(plant=PLANT, record=power_only, span=SPAN)).cannot_judge
    needs = {(c.subject, c.fault): c.needs for c in unknown}
    assert "power or flow temperature of the boiler" in needs["heating", "stall"]
    assert "flow temperatures of 'heating' and of the boiler" in needs["heating", "dead_head"]
    assert "system pressure" in needs["heating", "dry_run"]


def test_too_coarse_sampling_is_said() -> None:
    """A reading every five minutes shows no start attempts: the judge asks for more."""
    coarse = channel("heating", "power", "W", interval_s=300)
    plant = Plant(
        name="Quay", timezone="UTC", boilers=PLANT.boilers, pumps=(PUMP,),
        channels=(coarse, *CHANNELS[1:]),
    )  # fmt: skip
    record = healthy()
    record["heating.power"] = Readings(MINUTES[::5], record["heating.power"].value[::5])
    unknown = examine(Situation(plant=plant, record=record, span=SPAN)).cannot_judge
    assert any("every two minutes" in c.needs for c in unknown if c.fault == "stall")


def test_overheating_needs_two_readings() -> None:
    """One reading above the limit is a glitch; two are an alarm, ended by the dead band."""
    record = healthy()
    flow = record["boiler.flow"].value.copy()
    flow[1000] = 99.0
    flow[1100:1110] = 97.0
    flow[1110:1120] = 93.0
    record["boiler.flow"] = Readings(MINUTES, flow)
    (finding,) = found(record)
    assert (finding.subject, finding.fault) == ("boiler", "overheating")
    assert finding.start_ms == MINUTES[1101]
    assert finding.end_ms == MINUTES[1120]


def test_body_hotter_than_its_water_with_too_much_power_is_overheating() -> None:
    """Body and power beyond what was ever seen while water moves: overheating, not a stall."""
    plant = Plant(
        name="Quay", timezone="UTC", boilers=PLANT.boilers, pumps=(PUMP,),
        channels=(*CHANNELS, channel("heating", "temperature", "Cel", "body")),
    )  # fmt: skip
    record = healthy()
    record["heating.body"] = Readings.of(MINUTES, np.where(DAYTIME, 65.0, 24.0))
    hours = np.maximum(MINUTES / HOUR_MS - FAULT_H, 0.0)
    changed(record, "heating.body", 65.0 + 40.0 * (1 - np.exp(-hours / 0.4)))
    changed(record, "heating.power", 95.0)
    first = max(found(record, plant), key=lambda f: f.confidence)
    assert (first.subject, first.fault, first.urgency) == ("heating", "overheating", "now")
    assert first.raised_ms is not None
    assert first.raised_ms - FAULT_H * HOUR_MS <= 10 * 60_000


def test_every_fault_row_is_complete() -> None:
    """Each row of the registry says what to check, who may act and what can hurt."""
    for fault in FAULTS.values():
        for words in (fault.title, fault.needs, fault.first_check, fault.who, fault.caution):
            assert len(words) > 10
        assert fault.possible
