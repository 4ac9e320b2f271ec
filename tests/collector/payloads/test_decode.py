"""Payload forms against the examples of their own standards, and against rubbish."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.plant.plant import Channel
from collector.errors import DecodeError
from collector.payloads.decode import (
    MAX_BYTES,
    Picked,
    decode,
    device_time_ms,
    groups_for,
    parse_json,
)
from collector.payloads.senml import resolve

NOW = 1_800_000_000_000


def channel(payload: str, quantity: str = "power", unit: str = "W") -> Channel:
    return Channel(
        id="c",
        of="plant",
        quantity=quantity,
        unit=unit,
        place="flow",
        payload=payload,  # type: ignore[arg-type]
    )


def read(one: Channel, payload: bytes) -> tuple[list[Picked], list[str]]:
    refused: list[str] = []
    found = decode(groups_for({"c": one}), payload, NOW, lambda _, why: refused.append(why))
    return [picked for _, picked in found], refused


# RFC 6901 section 5: the document and its pointers, with numbers in place of the strings
POINTED = {
    "foo": [10, 11], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, 'k"l': 6, " ": 7,
    "m~n": 8,
}  # fmt: skip


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("/foo/0", 10), ("/", 0), ("/a~1b", 1), ("/c%d", 2), ("/e^f", 3), ("/g|h", 4),
        ("/i\\j", 5), ('/k"l', 6), ("/ ", 7), ("/m~0n", 8),
    ],
)  # fmt: skip
def test_json_pointer_rfc_6901(pointer: str, value: float) -> None:
    """The pointers of RFC 6901 section 5 find their values."""
    found, refused = read(channel(pointer), json.dumps(POINTED).encode())
    assert (found, refused) == ([Picked(value)], [])


@pytest.mark.parametrize("pointer", ["/foo", "/foo/2", "/foo/-", "/foo/01", "/nothing", "/foo/0/x"])
def test_json_pointer_that_finds_no_number_is_refused(pointer: str) -> None:
    """RFC 6901 section 4: no such member, leading zeros, the place after the end."""
    found, refused = read(channel(pointer), json.dumps(POINTED).encode())
    assert found == []
    assert len(refused) == 1


# RFC 8428 sections 5.1.1 to 5.1.7, values as printed in the RFC's text
MULTIPLE = b"""[
 {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
  "n":"voltage","u":"V","v":120.1},
 {"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},{"n":"current","t":-3,"v":1.4},
 {"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},{"n":"current","v":1.7}]"""


def test_senml_single_point() -> None:
    """RFC 8428 section 5.1.1: one record without time is now."""
    (record,) = resolve([{"n": "urn:dev:ow:10e2073a01080063", "u": "Cel", "v": 23.1}], NOW)
    assert (record.value, record.unit, record.time_ms) == (23.1, "Cel", NOW)


def test_senml_base_fields_and_relative_times() -> None:
    """RFC 8428 section 5.1.2: base name, unit and time apply until replaced."""
    volts, refused = read(
        channel("senml:urn:dev:ow:10e2073a0108006:voltage", "voltage", "V"), MULTIPLE
    )
    assert (volts, refused) == ([Picked(120.1, 1_276_020_076_001)], [])
    amps, _ = read(channel("senml:urn:dev:ow:10e2073a0108006:current", "current", "A"), MULTIPLE)
    assert amps[0] == Picked(1.2, 1_276_020_071_001)
    assert amps[-1] == Picked(1.7, 1_276_020_076_001)
    assert len(amps) == 6


def test_senml_resolved_pack() -> None:
    """RFC 8428 sections 5.1.3 and 5.1.4: fourth and tenth record of the resolved pack."""
    pack = [
        {"bn": "urn:dev:ow:10e2073a01080063", "bt": 1.320067464e09, "bu": "%RH", "v": 20},
        {"u": "lon", "v": 24.30621},
        {"u": "lat", "v": 60.07965},
        {"t": 60, "v": 20.3},
        {"u": "lon", "t": 60, "v": 24.30622},
        {"u": "lat", "t": 60, "v": 60.07965},
        {"t": 120, "v": 20.7},
        {"u": "lon", "t": 120, "v": 24.30623},
        {"u": "lat", "t": 120, "v": 60.07966},
        {"u": "%EL", "t": 150, "v": 98},
        {"t": 180, "v": 21.2},
        {"u": "lon", "t": 180, "v": 24.30628},
        {"u": "lat", "t": 180, "v": 60.07967},
    ]
    records = resolve(pack, NOW)
    assert len(records) == 13
    assert (records[3].unit, records[3].time_ms, records[3].value) == ("%RH", 1320067524000, 20.3)
    assert (records[9].unit, records[9].time_ms, records[9].value) == ("%EL", 1320067614000, 98)


def test_senml_value_kinds_and_second_base_name() -> None:
    """RFC 8428 sections 5.1.5 to 5.1.7: text, truth, data, new base name, no value."""
    pack = [
        {"bn": "urn:dev:ow:10e2073a01080063:", "n": "temp", "u": "Cel", "v": 23.1},
        {"n": "label", "vs": "Machine Room"},
        {"n": "open", "vb": False},
        {"n": "nfc-reader", "vd": "aGkgCg"},
    ]
    assert [r.value for r in resolve(pack, NOW)] == [23.1, "Machine Room", False, "aGkgCg"]
    pack = [
        {"bn": "2001:db8::2/", "bt": 1.320078429e09, "n": "temperature", "u": "Cel", "v": 25.2},
        {"n": "humidity", "u": "%RH", "v": 30},
        {"bn": "2001:db8::1/", "n": "temperature", "u": "Cel", "v": 12.3},
        {"n": "humidity", "u": "%RH", "v": 67},
    ]
    last = resolve(pack, NOW)[3]
    assert (last.name, last.time_ms, last.value) == ("2001:db8::1/humidity", 1320078429000, 67)
    assert resolve([{"bn": "urn:dev:ow:10e2073a01080063"}], NOW) == []


@pytest.mark.parametrize(
    "entry",
    [
        {"n": "a", "v": 1, "x_": 2},
        {"bver": 11, "n": "a", "v": 1},
        {"n": "-a", "v": 1},
        {"n": "a b", "v": 1},
        {"v": 1},
        {"n": "a", "v": "1"},
        {"n": "a", "v": 1, "t": "soon"},
        7,
    ],
)
def test_senml_must_not_be_used(entry: object) -> None:
    """RFC 8428 sections 4.4 and 4.5: must-understand fields, newer versions, bad names, types."""
    with pytest.raises(DecodeError):
        resolve([entry], NOW)


def test_senml_time_limit_between_relative_and_absolute() -> None:
    """RFC 8428 section 4.5.3: below 2**28 s a time is relative to now."""
    below, at = resolve([{"n": "a", "v": 1, "t": 2**28 - 1}, {"n": "a", "v": 1, "t": 2**28}], NOW)
    assert below.time_ms == NOW + (2**28 - 1) * 1000
    assert at.time_ms == 2**28 * 1000


def test_senml_unit_of_the_record_wins() -> None:
    """A record in kelvin for a channel in degrees Celsius is converted; watts are refused."""
    one = channel("senml:a", "temperature", "Cel")
    found, _ = read(one, b'[{"n":"a","u":"K","v":300.15}]')
    assert found[0].value == pytest.approx(27.0)
    _, refused = read(one, b'[{"n":"a","u":"W","v":300.15}]')
    assert "cannot be turned into Cel" in refused[0]


# Homie convention 4.0.0 and 5, section on payloads
@pytest.mark.parametrize(("payload", "value"), [(b"21.5", 21.5), (b"1e3", 1000.0), (b"-4", -4.0)])
def test_homie_float(payload: bytes, value: float) -> None:
    """Numbers as the Homie convention writes them."""
    assert read(channel("homie"), payload)[0] == [Picked(value)]


@pytest.mark.parametrize("payload", [b"NaN", b"Infinity", b"-", b"", b" 21.5", b"21,5", b"\x00"])
def test_homie_not_a_float(payload: bytes) -> None:
    """What the Homie convention calls invalid is refused."""
    found, refused = read(channel("homie"), payload)
    assert (found, len(refused)) == ([], 1)


@pytest.mark.parametrize(
    ("quantity", "unit", "payload", "kept"),
    [
        ("power", "kW", b"1.25", 1250.0),
        ("energy", "W.h", b"1500", 1.5),
        ("temperature", "[degF]", b"212", 100.0),
        ("temperature", "K", b"273.15", 0.0),
        ("current", "mA", b"250", 0.25),
        ("pressure", "kPa", b"150", 1.5),
        ("flow", "m3/h", b"0.6", 10.0),
        ("fuel_volume", "L", b"28.316", 0.028316),
        ("contact", "1", b"ON", 1.0),
    ],
)
def test_unit_conversion(quantity: str, unit: str, payload: bytes, kept: float) -> None:
    """Plant-file units arrive in the kept unit; factors by definition of the units (UCUM)."""
    (picked,), _ = read(channel("", quantity, unit), payload)
    assert picked.value == pytest.approx(kept, rel=1e-12, abs=1e-9)


def test_json_null_is_unknown_and_truth_is_no_power() -> None:
    """A null says the device does not know; true is no number of watts."""
    (picked,), _ = read(channel("/power"), b'{"power":null}')
    assert math.isnan(picked.value)
    assert read(channel("/power"), b'{"power":true}')[0] == []
    assert read(channel("/x", "contact", "1"), b'{"x":true}')[0] == [Picked(1.0)]


def test_one_message_is_parsed_once_for_all_its_channels() -> None:
    """Channels of one topic share the parsed payload and its time."""
    groups = groups_for({"p": channel("/power"), "v": channel("/voltage", "voltage", "V")})
    found = decode(groups, b'{"power":8,"voltage":230,"ts":1700000000}', NOW, print)
    assert len(groups) == 1
    assert found == [("p", Picked(8.0, 1_700_000_000_000)), ("v", Picked(230.0, 1_700_000_000_000))]


@pytest.mark.parametrize(
    ("stamp", "expected"),
    [
        (1700000000, 1_700_000_000_000),
        (1700000000.25, 1_700_000_000_250),
        (1700000000123, 1_700_000_000_123),
        ("2023-11-14T22:13:20Z", 1_700_000_000_000),
        ("2023-11-14T23:13:20+01:00", 1_700_000_000_000),
        ("2023-11-14T22:13:20", None),
        (35, None),
        (True, None),
        ("soon", None),
        (None, None),
    ],
)
def test_device_time(stamp: object, expected: int | None) -> None:
    """Unix seconds, milliseconds and ISO 8601 with offset; local times and uptimes are no time."""
    assert device_time_ms(stamp) == expected


@given(st.binary(max_size=200))
def test_any_bytes_give_readings_or_a_reason(payload: bytes) -> None:
    """No payload whatever raises, and each channel gets a number or a reason."""
    for entry in ("", "/power", "senml:a", "homie"):
        found, refused = read(channel(entry), payload)
        assert len(found) + len(refused) >= 1


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3)
    ),
    max_leaves=8,
)


@given(json_values)
def test_any_json_gives_readings_or_a_reason(content: object) -> None:
    """No JSON whatever raises."""
    payload = json.dumps(content).encode()
    for entry in ("/power", "/0/v", "senml:a"):
        found, refused = read(channel(entry), payload)
        assert len(found) + len(refused) >= 1


def test_huge_and_deep_payloads_are_refused() -> None:
    """Too long is refused unread, too deep by the parser."""
    _, refused = read(channel("/a"), b'{"a":' + b"1" * MAX_BYTES + b"}")
    assert "at most" in refused[0]
    with pytest.raises(DecodeError):
        parse_json(b"[" * 100_000)


@pytest.mark.parametrize(
    "record",
    [
        b'{"n":"a","u":["W"],"v":1}',
        b'{"n":"a","u":{},"v":1}',
        '{"n":"a","u":"§","v":1}'.encode(),
        b'{"n":"a","u":"","v":1}',
        b'{"n":"a","u":"W W","v":1}',
    ],
)
def test_senml_unit_that_is_none_is_refused(record: bytes) -> None:
    """RFC 8428 section 4.1: a unit is text; what no table knows is refused with a reason."""
    found, refused = read(channel("senml:a"), b"[" + record + b"]")
    assert found == []
    assert len(refused) == 1


@pytest.mark.parametrize("base", [b"1e308", b"-1e300", b"-1e15", b"3e8"])
def test_senml_time_of_no_calendar_leaves_the_arrival(base: bytes) -> None:
    """A clock that was never set dates nothing: no year 1979, none that a store cannot hold."""
    pack = b'[{"bt":' + base + b',"n":"a","v":7}]'
    assert read(channel("senml:a"), pack) == ([Picked(7.0, None)], [])


def test_decoder_that_fails_costs_its_own_message_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """What no decoder thought of is a reason like others; it must not end the collecting."""

    def fails(_pack: object, _now: int) -> None:
        raise ZeroDivisionError("unthought of")

    monkeypatch.setattr("collector.payloads.decode.senml.resolve", fails)
    assert read(channel("senml:a"), b"[]") == ([], ["ZeroDivisionError: unthought of"])
