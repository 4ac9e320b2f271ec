"""What a message's payload says: the table of payload forms and their decoders.

A new form is a new row of `FORMS`: which `payload` entries of the plant file it serves, how
the bytes are parsed (once a message), and how one channel's readings are picked out of them.
"""

import math
import re
from collections.abc import Callable, Iterable
from datetime import datetime
from functools import partial
from typing import Any, NamedTuple

import orjson
from jsonpointer import JsonPointer, JsonPointerException

from analysis.base.quantities import QUANTITIES
from analysis.base.time import EARLIEST_MS, LATEST_MS, to_ms
from analysis.plant.plant import Channel
from collector.errors import DecodeError
from collector.payloads import senml
from collector.payloads.units import Linear, conversion

MAX_BYTES = 1 << 18
"""Longer payloads are no readings of a heating plant and are refused unread."""

_TIME_KEYS = ("time", "timestamp", "ts", "datetime", "unixtime", "Time", "Timestamp", "DateTime")
_ON = {"on": 1.0, "true": 1.0, "open": 1.0, "off": 0.0, "false": 0.0, "closed": 0.0}
_FLOAT = re.compile(rb"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?")


class Picked(NamedTuple):
    """One reading out of a payload: value in the kept unit, device time where it bears one."""

    value: float
    time_ms: int | None = None


Parse = Callable[[bytes, int], Any]
Pick = Callable[[Any], list[Picked]]


class Form(NamedTuple):
    """One payload form; `serves` tells whether a plant file's `payload` entry is of it."""

    name: str
    serves: Callable[[str], bool]
    parse: Parse
    picker: Callable[[Channel], Pick]


class _Json(NamedTuple):
    """Parsed JSON and the moment it names itself, if any."""

    content: Any
    time_ms: int | None


def parse_json(payload: bytes, _now_ms: int = 0) -> _Json:
    """JSON content and its own time.

    Raises
    ------
    DecodeError
        Not JSON.
    """
    try:
        content = orjson.loads(payload)
    except orjson.JSONDecodeError as error:
        raise DecodeError(f"is no JSON: {error}") from error
    return _Json(content, _own_time(content) if type(content) is dict else None)


def _own_time(content: dict[str, Any]) -> int | None:
    for key in _TIME_KEYS:
        if key in content and (found := device_time_ms(content[key])) is not None:
            return found
    return None


def device_time_ms(stamp: Any) -> int | None:
    """Moment of a device's time stamp, or None where it is none or not certain.

    Unix seconds or milliseconds, or ISO 8601 with offset; a local time without
    offset is not certain.
    """
    if isinstance(stamp, str):
        try:
            moment = datetime.fromisoformat(stamp)
        except ValueError:
            return None
        found = to_ms(moment) if moment.tzinfo else 0
    elif isinstance(stamp, (int, float)) and not isinstance(stamp, bool):
        found = round(stamp if abs(stamp) > 1e11 else stamp * 1000)
    else:
        return None
    return found if EARLIEST_MS <= found <= LATEST_MS else None


def _to_number(value: Any, *, state: bool) -> float:
    """A JSON value as number; null is unknown; on and off only for states."""
    kind = type(value)
    if kind is float or kind is int:
        return float(value)
    if value is None:
        return math.nan
    if kind is bool:
        if state:
            return float(value)
    elif kind is str:
        return _text_number(value.encode(), state=state)
    raise DecodeError(f"{value!r:.60} is no number")


def _text_number(text: bytes, *, state: bool) -> float:
    text = text.strip()
    if _FLOAT.fullmatch(text):
        return float(text)
    word = text.decode("utf-8", "replace").lower()
    if state and word in _ON:
        return _ON[word]
    if word in ("nan", "inf", "-inf", "infinity", "-infinity", "+inf"):
        return math.inf
    raise DecodeError(f"{word!r:.60} is no number")


def _scale(channel: Channel) -> Linear:
    return conversion(channel.unit, channel.quantity)


def _is_state(channel: Channel) -> bool:
    return QUANTITIES[channel.quantity].kind == "state"


def _pointer_picker(channel: Channel) -> Pick:
    pointer = JsonPointer(channel.payload)
    parts, (scale, offset), state = pointer.parts, _scale(channel), _is_state(channel)
    key = parts[0] if len(parts) == 1 else None

    def pick(document: _Json) -> list[Picked]:
        content, time_ms = document
        try:
            if key is not None and type(content) is dict:
                value = content[key]
            else:
                value = pointer.resolve(content)
        except (KeyError, JsonPointerException) as error:
            raise DecodeError(f"has nothing at {channel.payload!r}") from error
        return [Picked(_to_number(value, state=state) * scale + offset, time_ms)]

    return pick


def _plain_picker(channel: Channel) -> Pick:
    (scale, offset), state = _scale(channel), _is_state(channel)

    def pick(payload: bytes) -> list[Picked]:
        return [Picked(_text_number(payload, state=state) * scale + offset)]

    return pick


def _homie_picker(channel: Channel) -> Pick:
    (scale, offset), state = _scale(channel), _is_state(channel)

    def pick(payload: bytes) -> list[Picked]:
        if state and payload in (b"true", b"false"):
            return [Picked(float(payload == b"true"))]
        if not _FLOAT.fullmatch(payload):
            raise DecodeError(f"{payload!r:.60} is no Homie number")
        return [Picked(float(payload) * scale + offset)]

    return pick


def _parse_senml(payload: bytes, now_ms: int) -> list[senml.SenmlRecord]:
    return senml.resolve(parse_json(payload).content, now_ms)


def _senml_picker(channel: Channel) -> Pick:
    wanted = channel.payload.removeprefix("senml:")

    def pick(records: list[senml.SenmlRecord]) -> list[Picked]:
        found = [r for r in records if r.name == wanted and r.value is not None]
        if not found:
            raise DecodeError(f"has no SenML record named {wanted!r}")
        return [Picked(_senml_value(r, channel), _senml_time(r)) for r in found]

    return pick


def _senml_time(record: senml.SenmlRecord) -> int | None:
    """Moment of a record, or None where its clock was never set."""
    return record.time_ms if EARLIEST_MS <= record.time_ms <= LATEST_MS else None


def _senml_value(record: senml.SenmlRecord, channel: Channel) -> float:
    unit = channel.unit if record.unit is None else senml.UCUM.get(record.unit, record.unit)
    scale, offset = conversion(unit, channel.quantity)
    return _to_number(record.value, state=_is_state(channel)) * scale + offset


def _as_it_is(payload: bytes, _now_ms: int) -> bytes:
    return payload


FORMS: tuple[Form, ...] = (
    Form("plain number", lambda entry: entry == "", _as_it_is, _plain_picker),
    Form("JSON pointer", lambda entry: entry.startswith("/"), parse_json, _pointer_picker),
    Form("SenML", lambda entry: entry.startswith("senml:"), _parse_senml, _senml_picker),
    Form("Homie", lambda entry: entry == "homie", _as_it_is, _homie_picker),
)


def form_of(channel: Channel) -> Form:
    """Row of `FORMS` that serves a channel."""
    return next(form for form in FORMS if form.serves(channel.payload))


class Group(NamedTuple):
    """Channels of one topic that share a parsed payload."""

    parse: Parse
    picks: tuple[tuple[str, Pick], ...]


def groups_for(channels: dict[str, Channel]) -> tuple[Group, ...]:
    """Decoders of one topic's channels, so that each payload is parsed once a form.

    Parameters
    ----------
    channels : dict of str to Channel
        Channels of the topic by address.
    """
    made = []
    for form in FORMS:
        picks = tuple((name, form.picker(c)) for name, c in channels.items() if form_of(c) is form)
        if picks:
            made.append(Group(form.parse, picks))
    return tuple(made)


def decode(
    groups: tuple[Group, ...], payload: bytes, now_ms: int, refuse: Callable[[str, str], None]
) -> list[tuple[str, Picked]]:
    """Readings of one message; what cannot be read is handed to `refuse`.

    Parameters
    ----------
    groups : tuple of Group
        Decoders of the topic.
    payload : bytes
        Content of the message.
    now_ms : int
        Moment of arrival [ms].
    refuse : callable
        Gets the channel's address and what is wrong.
    """
    found: list[tuple[str, Picked]] = []
    if len(payload) > MAX_BYTES:
        _refuse_all(groups, refuse, f"is {len(payload)} bytes long; at most {MAX_BYTES} are read")
        return found
    for parse, picks in groups:
        try:
            document = parse(payload, now_ms)
        except Exception as error:  # noqa: BLE001 - a message may cost no other one
            _refuse_all([Group(parse, picks)], refuse, _why(error))
            continue
        for name, pick in picks:
            try:
                found += map(partial(_named, name), pick(document))
            except Exception as error:  # noqa: BLE001 - nor a channel the others of its message
                refuse(name, _why(error))
    return found


def _why(error: Exception) -> str:
    """What is wrong with a payload; what no decoder thought of bears its kind as well."""
    return str(error) if isinstance(error, DecodeError) else f"{type(error).__name__}: {error}"


def _refuse_all(groups: Iterable[Group], refuse: Callable[[str, str], None], why: str) -> None:
    for group in groups:
        for name, _ in group.picks:
            refuse(name, why)


def _named(name: str, picked: Picked) -> tuple[str, Picked]:
    return name, picked
