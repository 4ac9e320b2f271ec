"""Sensors that are silent, stuck or off their pipe; a boiler without mains; frost."""

from dataclasses import replace

import numpy as np

from analysis.base.time import HOUR_MS, Span, from_ms
from analysis.faults.registry import FAULTS, examine
from analysis.plant.finding import Health
from analysis.plant.plant import Boiler, Channel, Plant, Pump, Swap
from analysis.readings.learned import PlantLearned
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation

DAYS = 6
MINUTES = np.arange(0, DAYS * 24 * HOUR_MS, 60_000)
HOURS = MINUTES / HOUR_MS
SPAN = Span(0, DAYS * 24 * HOUR_MS)
AT_H = 5 * 24 + 6.0
PLANT = Plant(
    name="Quay", timezone="UTC", boilers=(Boiler(id="boiler", fuel="gas"),),
    pumps=(Pump(id="heating", drive="induction"),),
    channels=(
        Channel(id="heating.power", of="heating", quantity="power", unit="W", interval_s=60),
        Channel(id="boiler.power", of="boiler", quantity="power", unit="W", interval_s=60),
        *(
            Channel(
                id=f"{of}.{place}", of=of, quantity="temperature", unit="Cel", place=place,
                interval_s=60,
            )
            for of, place in (("boiler", "flow"), ("heating", "flow"), ("heating", "return"),
                              ("plant", "ambient"), ("plant", "outdoor"))
        ),
    ),
)  # type: ignore[arg-type]  # fmt: skip


def sound() -> dict[str, Readings]:
    """Six days of a pump that runs on and water that swings by the hour."""
    rng = np.random.default_rng(5)
    swing = 8.0 * np.sin(HOURS * 2.0)
    values = {
        "heating.power": rng.normal(55, 0.3, len(MINUTES)),
        "boiler.power": np.where((HOURS % 1.0) < 0.4, 40.0, 6.0),
        "boiler.flow": 60.0 + swing,
        "heating.flow": 58.0 + swing,
        "heating.return": 45.0 + 0.8 * swing,
        "plant.ambient": np.full(len(MINUTES), 14.0),
        "plant.outdoor": np.full(len(MINUTES), 4.0),
    }
    return {
        name: Readings.of(MINUTES, v + 0.05 * rng.standard_normal(len(MINUTES)))
        for name, v in values.items()
    }


def set_late(record: dict[str, Readings], name: str, value: float | np.ndarray) -> None:
    record[name] = Readings(MINUTES, np.where(HOURS >= AT_H, value, record[name].value))


def told(record: dict[str, Readings], span: Span = SPAN, **more: object) -> Health:
    names = ("supply_lost", "frost_risk", "channel_silent", "sensor_stuck", "sensor_off_pipe")
    situation = Situation(plant=PLANT, record=record, span=span, **more)  # type: ignore[arg-type]
    return examine(situation, [FAULTS[n] for n in names])


def faults(record: dict[str, Readings]) -> list[tuple[str, str, str]]:
    return [(f.subject, f.fault, f.urgency) for f in told(record).findings]


def test_sound_sensors_raise_nothing() -> None:
    """Six sound days: nothing is told, no channel is doubted."""
    health = told(sound())
    assert health.findings == ()
    assert health.data_quality == ()


def test_boiler_below_its_own_standby_has_no_mains() -> None:
    """0.3 W where 6 W is rest, and the water cools: now, an hour after."""
    record = sound()
    set_late(record, "boiler.power", 0.3)
    set_late(record, "boiler.flow", 20.0 + 40.0 * np.exp(-np.maximum(HOURS - AT_H, 0.0)))
    (finding,) = told(record).findings
    assert (finding.subject, finding.fault, finding.urgency) == ("boiler", "supply_lost", "now")
    assert finding.raised_ms == round((AT_H + 1.0) * HOUR_MS)
    assert finding.evidence[0].value == 0.3


def test_half_an_hour_without_mains_is_work_on_the_plant() -> None:
    """Somebody switched the boiler off to top it up."""
    record = sound()
    off = (HOURS >= AT_H) & (HOURS < AT_H + 0.5)
    record["boiler.power"] = Readings(MINUTES, np.where(off, 0.0, record["boiler.power"].value))
    assert faults(record) == []


def test_cellar_near_freezing_in_frost() -> None:
    """Minus eight outdoors and the cellar falling to zero: told before it freezes."""
    record = sound()
    set_late(record, "plant.outdoor", -8.0)
    set_late(record, "plant.ambient", 14.0 * np.exp(-np.maximum(HOURS - AT_H, 0.0) / 5.0))
    (finding,) = told(record).findings
    assert (finding.subject, finding.fault) == ("plant", "frost_risk")
    below = MINUTES[record["plant.ambient"].value < 3.0]
    assert finding.start_ms < below[0]


def test_silent_channel_and_data_quality() -> None:
    """A plug heard no more: told after hours, and the channel is doubted from its last word."""
    record = sound()
    record["heating.power"] = record["heating.power"].within(Span(0, round(AT_H * HOUR_MS)))
    health = told(record)
    assert [(f.subject, f.fault) for f in health.findings] == [("heating.power", "channel_silent")]
    (doubt,) = health.data_quality
    assert (doubt.channel, doubt.end_ms) == ("heating.power", None)


def test_all_channels_silent_are_one_finding() -> None:
    """A network that is down is one message, not one for each channel."""
    early = Span(0, round(AT_H * HOUR_MS))
    record = {name: r.within(early) for name, r in sound().items()}
    assert faults(record) == [("plant", "channel_silent", "soon")]


def test_live_watch_knows_the_last_reading_before_its_window() -> None:
    """Nothing within the hours the watch reads: the moment of the last reading tells how long."""
    window = Span(SPAN.end_ms - 4 * HOUR_MS, SPAN.end_ms)
    record = {name: r.within(window) for name, r in sound().items()}
    record["heating.power"] = Readings.empty()
    last = {"heating.power": SPAN.end_ms - 8 * HOUR_MS}
    silent = told(record, window, learned=PlantLearned(), last_ms=last).findings
    assert [(f.subject, f.fault, f.start_ms) for f in silent] == [
        ("heating.power", "channel_silent", last["heating.power"])
    ]


def test_value_repeated_while_the_other_pipe_swings_is_stuck() -> None:
    """A return that repeats one value for a day while the flow swings by 16 K."""
    record = sound()
    set_late(record, "heating.return", 44.0)
    assert faults(record) == [("heating.return", "sensor_stuck", "note")]


def test_sensor_that_drops_to_the_room_and_stays_is_off_its_pipe() -> None:
    """44 K within minutes, flat after, while boiler and return go on: off the pipe, no fault."""
    record = sound()
    air = record["plant.ambient"].value
    set_late(record, "heating.flow", air + 44.0 * np.exp(-np.maximum(HOURS - AT_H, 0.0) * 40))
    assert faults(record) == [("heating.flow", "sensor_off_pipe", "note")]


def test_boiler_switched_off_for_a_swap_has_not_lost_its_supply() -> None:
    """Two hours without mains before a swap that was written down: hands are at the plant."""
    record = sound()
    away = (HOURS >= AT_H) & (HOURS < AT_H + 2.0)
    record["boiler.power"] = Readings(MINUTES, np.where(away, 0.0, record["boiler.power"].value))
    assert [f.fault for f in told(record).findings] == ["supply_lost"]
    at = from_ms(round((AT_H + 2.0) * HOUR_MS))
    swap = Swap(pump="heating", time=at)
    plant = replace(PLANT, swaps=(swap,))
    assert examine(Situation(plant=plant, record=record, span=SPAN), [FAULTS["supply_lost"]]) == (
        Health((), (), ())
    )


def test_cold_water_pushed_by_a_started_pump_is_no_slipped_sensor() -> None:
    """A resting pump is kicked for three minutes into a cold boiler: its warm pipe falls."""
    record = sound()
    kick = (HOURS >= AT_H) & (HOURS < AT_H + 0.05)
    rests = (HOURS >= AT_H - 12.0) & ~kick
    record["heating.power"] = Readings(MINUTES, np.where(rests, 0.0, record["heating.power"].value))
    cold = 24.0 + 34.0 * np.exp(-np.maximum(HOURS - AT_H, 0.0) * 40)
    set_late(record, "heating.flow", cold)
    assert "sensor_off_pipe" not in [f[1] for f in faults(record)]


def test_return_of_a_boiler_that_cools_at_rest_is_not_stuck() -> None:
    """No pump runs for a night: the flow cools by 15 K and the return has long been cold."""
    record = sound()
    record["boiler.return"] = Readings.of(
        MINUTES, 40.0 + 5.0 * np.sin(HOURS * 2.0) + 0.05 * np.cos(HOURS * 777.0)
    )
    channel = Channel(
        id="boiler.return", of="boiler", quantity="temperature", unit="Cel", place="return",
        interval_s=60,
    )  # fmt: skip
    plant = replace(PLANT, channels=(*PLANT.channels, channel))
    set_late(record, "heating.power", 0.0)
    set_late(record, "boiler.power", 6.0)
    set_late(record, "boiler.flow", 20.0 + 30.0 * np.exp(-np.maximum(HOURS - AT_H, 0.0) / 3.0))
    set_late(record, "boiler.return", 22.0)
    health = examine(Situation(plant=plant, record=record, span=SPAN), [FAULTS["sensor_stuck"]])
    assert [f for f in health.findings if f.subject == "boiler.return"] == []
