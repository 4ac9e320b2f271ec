"""Readings as messages, in the form each channel's plant entry describes."""

import math

import pytest

from analysis.plant.plant import Channel
from analysis.readings.readings import Readings
from collector.mqtt.publisher import messages
from collector.payloads.decode import decode, groups_for

T = 1_700_000_000_000


def channel(name: str, topic: str, payload: str, quantity: str, unit: str) -> Channel:
    return Channel(
        id=name, of="plant", quantity=quantity, unit=unit, topic=topic, payload=payload,  # type: ignore[arg-type]
        place="flow",
    )  # fmt: skip


CHANNELS = {
    c.id: c
    for c in (
        channel("p", "plug", "/status/power", "power", "kW"),
        channel("v", "plug", "/status/voltage", "voltage", "V"),
        channel("t", "pipe", "", "temperature", "Cel"),
        channel("h", "homie/5/box/pipe/temp", "homie", "temperature", "Cel"),
        channel("e", "meter", "senml:meter:energy", "energy", "W.h"),
    )
}


def test_messages_decode_to_the_same_readings() -> None:
    """What replay publishes, the collector reads back: values, units, and time where it can."""
    record = {name: Readings.of([T, T + 10_000], [1.5, 2.25]) for name in CHANNELS}
    sent = list(messages(CHANNELS, record))
    assert [m.time_ms for m in sent] == sorted(m.time_ms for m in sent)
    assert len([m for m in sent if m.topic == "plug"]) == 2
    for name, one in CHANNELS.items():
        mine = [m for m in sent if m.topic == one.topic]
        found = [
            picked
            for m in mine
            for _, picked in decode(groups_for({name: one}), m.payload, m.time_ms, print)
        ]
        assert [p.value for p in found] == [pytest.approx(1.5), pytest.approx(2.25)]
        dated = [T, T + 10_000] if name in "pve" else [None, None]
        assert [p.time_ms for p in found] == dated


def test_unknown_is_null_where_the_form_has_one() -> None:
    """JSON carries an unknown as null; a plain number is just not sent."""
    record = {name: Readings.of([T], [math.nan]) for name in ("p", "t", "e")}
    sent = list(messages(CHANNELS, record))
    assert [m.topic for m in sent] == ["plug"]
    ((_, picked),) = decode(groups_for({"p": CHANNELS["p"]}), sent[0].payload, T, print)
    assert math.isnan(picked.value)
