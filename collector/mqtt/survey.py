"""Listens to a broker that already carries messages and drafts a plant file from them."""

import math
import re
import time
from collections import defaultdict
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import orjson

from analysis.base.quantities import QUANTITIES
from collector.errors import BrokerError, DecodeError
from collector.files.plant_file import quoted
from collector.files.settings import BROKER_PASSWORD, Settings
from collector.payloads.senml import UCUM, resolve
from collector.store.protocol import clock_ms

_MOST_SAMPLES = 50
_MOST_FIELDS = 200


@dataclass(slots=True)
class Field:
    """One numeric field seen: where it is and what it held."""

    topic: str
    payload: str
    values: list[float] = field(default_factory=list)
    times_ms: list[int] = field(default_factory=list)
    unit: str | None = None
    name: str = ""

    @property
    def interval_s(self) -> float | None:
        """Median distance of its messages [s]."""
        steps = sorted(b - a for a, b in zip(self.times_ms, self.times_ms[1:], strict=False))
        return steps[len(steps) // 2] / 1000 if steps else None


@dataclass(frozen=True, slots=True)
class Guess:
    """What a field probably is; `sure` is between 0 and 1."""

    quantity: str
    unit: str
    place: str | None
    sure: float


class Survey:
    """Collects numeric fields from messages."""

    def __init__(self) -> None:
        self.fields: dict[tuple[str, str], Field] = {}
        self._homie: dict[str, dict[str, Any]] = {}
        self.messages = 0

    def take(self, topic: str, payload: bytes, time_ms: int) -> None:
        """Note one message."""
        self.messages += 1
        if topic.rpartition("/")[2].startswith("$") or "/$" in topic:
            self._take_homie_meta(topic, payload)
            return
        for seen in _numbers(payload, time_ms):
            self._note(topic, seen, time_ms)

    def _note(self, topic: str, seen: "_Seen", time_ms: int) -> None:
        known = self.fields.setdefault(
            (topic, seen.payload), Field(topic, seen.payload, name=seen.name)
        )
        known.unit = seen.unit or known.unit
        if len(known.values) < _MOST_SAMPLES:
            known.values.append(seen.value)
            known.times_ms.append(time_ms)

    def _take_homie_meta(self, topic: str, payload: bytes) -> None:
        """Units of Homie properties, from version 4 attributes or a version 5 description."""
        base, _, word = topic.rpartition("/")
        if word in ("$unit", "$datatype", "$name"):
            self._homie.setdefault(base, {})[word] = payload.decode("utf-8", "replace")
        elif word == "$description":
            try:
                nodes = orjson.loads(payload).get("nodes", {})
                for node, content in nodes.items():
                    for name, about in content.get("properties", {}).items():
                        self._homie[f"{base}/{node}/{name}"] = {
                            "$unit": about.get("unit", ""),
                            "$datatype": about.get("datatype", ""),
                        }
            except (orjson.JSONDecodeError, AttributeError, TypeError):
                return

    def found(self) -> list[Field]:
        """Fields in order of topic, Homie properties marked as such."""
        result = []
        for one in self.fields.values():
            meta = self._homie.get(one.topic)
            if meta is not None and one.payload == "":
                kind = meta.get("$datatype", "")
                if kind not in ("", "float", "integer", "boolean"):
                    continue
                result.append(replace(one, payload="homie", unit=_homie_unit(meta) or one.unit))
            else:
                result.append(one)
        return sorted(result, key=lambda f: (f.topic, f.payload))


def _homie_unit(meta: dict[str, Any]) -> str | None:
    return {"°C": "Cel", "°F": "[degF]", "kWh": "kW.h", "Wh": "W.h"}.get(
        meta.get("$unit", ""), meta.get("$unit") or None
    )


class _Seen(NamedTuple):
    """One number in a payload, with the plant file's `payload` entry that finds it."""

    payload: str
    value: float
    unit: str | None
    name: str


def _numbers(payload: bytes, now_ms: int) -> list[_Seen]:
    """Every number in a payload."""
    try:
        content = orjson.loads(payload)
    except orjson.JSONDecodeError:
        return []
    if isinstance(content, list):
        # A list that is no SenML pack is walked through like any other JSON.
        with suppress(DecodeError):
            return [
                _Seen(f"senml:{r.name}", float(r.value), UCUM.get(r.unit or ""), r.name)
                for r in resolve(content, now_ms)
                if isinstance(r.value, (int, float)) and not isinstance(r.value, bool)
            ]
    found: list[_Seen] = []
    _walk(content, "", found)
    return found[:_MOST_FIELDS]


def _walk(content: Any, pointer: str, found: list[_Seen]) -> None:
    if isinstance(content, dict):
        for key, inner in content.items():
            step = str(key).replace("~", "~0").replace("/", "~1")
            _walk(inner, f"{pointer}/{step}", found)
    elif isinstance(content, list):
        for i, inner in enumerate(content[:20]):
            _walk(inner, f"{pointer}/{i}", found)
    elif isinstance(content, (int, float)) and not isinstance(content, bool):
        found.append(_Seen(pointer, float(content), None, pointer))


_NAMES: tuple[tuple[str, str, str], ...] = (
    (r"power_?factor|\bpf\b|cos_?phi", "power_factor", "1"),
    (r"apparent|reactive|rssi|signal|uptime|battery|linkquality", "", ""),
    (r"energy|kwh|total|import|\bwh\b", "energy", "kW.h"),
    (r"power|watt|apower|\bw\b", "power", "W"),
    (r"volt|\bv\b", "voltage", "V"),
    (r"current|ampere?|\ba\b", "current", "A"),
    (r"gas|fuel|oil", "fuel_volume", "m3"),
    (r"press|\bbar\b", "pressure", "bar"),
    (r"flow_?rate|l_?min|litre|liter", "flow", "L/min"),
    (r"temp|\btc\b|\bt\b|celsius|°c|flow|return|outdoor|outside|room|pipe", "temperature", "Cel"),
)
_PLACES: tuple[tuple[str, str], ...] = (
    (r"return|ret\b|\brl\b|back", "return"),
    (r"flow|supply|\bvl\b|forward", "flow"),
    (r"outdoor|outside|out\b|garden", "outdoor"),
    (r"room|living|hall|bed|kitchen", "room"),
    (r"flue|exhaust|chimney", "flue"),
    (r"top|upper", "top"),
    (r"bottom|lower", "bottom"),
    (r"body|case|pump", "body"),
)
_BY_UNIT = {u: q.name for q in QUANTITIES.values() for u in q.units if u != "1"}


def guess(one: Field) -> Guess | None:
    """What a field probably is, by its unit, its name, then its values; None for no idea."""
    words = re.sub(r"[^a-z0-9°]+", " ", f"{one.topic} {one.name or one.payload}".lower())
    last = re.sub(r"[^a-z0-9°]+", " ", (one.name or one.payload or one.topic).lower())
    if one.unit in _BY_UNIT:
        quantity, unit, sure = _BY_UNIT[one.unit], one.unit, 0.95
    else:
        named = _named(last) or _named(words)
        if not named or not named[0]:
            return None
        quantity, unit = named
        sure = 0.7
    if not _plausible(quantity, unit, one.values):
        return None
    place = None
    if quantity == "temperature":
        place = next((p for pattern, p in _PLACES if re.search(pattern, words)), "ambient")
    if quantity == "energy" and unit == "kW.h" and one.unit is None and max(one.values) > 20_000:
        unit = "W.h"
    return Guess(quantity, unit, place, sure)


def _named(words: str) -> tuple[str, str] | None:
    for pattern, quantity, unit in _NAMES:
        if re.search(pattern, words):
            return quantity, unit
    return None


def _plausible(quantity: str, unit: str, values: list[float]) -> bool:
    if not values or not all(map(math.isfinite, values)):
        return False
    row = QUANTITIES[quantity]
    if unit != row.unit:
        return True
    return row.low <= min(values) and max(values) <= row.high


def listen(settings: Settings, seconds: float, pattern: str = "#") -> Survey:
    """Listen to a broker for a while.

    Parameters
    ----------
    settings : Settings
        Which broker.
    seconds : float
        How long.
    pattern : str
        Topic filter.

    Raises
    ------
    BrokerError
        The broker cannot be reached or refuses us.
    """
    from collector.mqtt.client import plain_client  # noqa: PLC0415 - paho is slow to load

    survey = Survey()
    broker = settings.broker
    password = settings.secret(BROKER_PASSWORD, broker.password_file)
    client = plain_client(settings, password)
    refused: list[str] = []

    def on_connect(_c: Any, _d: Any, _f: Any, reason: Any, _p: Any) -> None:
        if reason.is_failure:
            refused.append(str(reason))
        else:
            client.subscribe(pattern, 0)

    client.on_connect = on_connect
    client.on_message = lambda _c, _d, m: survey.take(m.topic, bytes(m.payload), clock_ms())
    try:
        client.connect(broker.host or broker.listen, broker.used_port)
    except (OSError, ValueError) as error:
        raise BrokerError(
            f"{broker.host}:{broker.used_port}: no broker answers ({error}); "
            "start it, or check --broker and --port"
        ) from error
    client.loop_start()
    end = time.monotonic() + seconds
    while time.monotonic() < end and not refused:
        time.sleep(0.05)
    client.disconnect()
    client.loop_stop()
    if refused:
        raise BrokerError(f"the broker refuses us: {refused[0]}; check username and password")
    return survey


def draft(survey: Survey, *, timezone: str) -> str:
    """Plant file with every field guessed; name and drives are left for the person to fill in."""
    devices: dict[str, list[tuple[Field, Guess]]] = defaultdict(list)
    for one in survey.found():
        if guessed := guess(one):
            devices[_device(one)].append((one, guessed))
    lines = [
        "# Draft made by 'stokehold survey'. Fill in what is empty, rename pumps and channels to",
        "# your liking, throw out what you do not need; then run 'stokehold check --plant FILE'.",
        "[plant]",
        'name = ""                       # what you call this plant',
        f"timezone = {quoted(timezone)}",
    ]
    ids: set[str] = set()
    owners = {}
    for device, found in devices.items():
        if any(g.quantity == "power" for _, g in found):
            owners[device] = _unique(_slug(device), ids)
            lines += [
                "",
                f"# measured on {found[0][0].topic}; if it is a boiler, write [[boiler]] and fuel",
                "[[pump]]",
                f"id = {quoted(owners[device])}",
                'drive = ""                      # "electronic" or "induction"',
            ]
    seen: set[str] = set()
    for device, found in devices.items():
        for one, guessed in found:
            lines += _channel(one, guessed, of=owners.get(device, "plant"), seen=seen)
    return "\n".join(lines) + "\n"


def _device(one: Field) -> str:
    """Part of the topic that names the device."""
    levels = one.topic.split("/")
    if one.payload == "homie":
        return "/".join(levels[:-2])
    return one.topic if len(levels) == 1 else "/".join(levels[:-1])


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", text.rpartition("/")[2].lower()).strip("-") or "device"


def _unique(name: str, seen: set[str]) -> str:
    number, tried = 1, name
    while tried in seen or tried == "plant":
        number += 1
        tried = f"{name}-{number}"
    seen.add(tried)
    return tried


def _channel(one: Field, guessed: Guess, *, of: str, seen: set[str]) -> list[str]:
    low, high = min(one.values), max(one.values)
    told = "told by its unit" if guessed.sure > 0.9 else "guessed from its name: check it"
    stem = of if of != "plant" else _slug(_device(one))
    name = _unique(f"{stem}.{guessed.place or guessed.quantity}", seen)
    lines = [
        "",
        f"# {len(one.values)} values from {low:g} to {high:g}; {told}",
        "[[channel]]",
        f"id = {quoted(name)}",
        f"of = {quoted(of)}",
        f"quantity = {quoted(guessed.quantity)}",
        f"unit = {quoted(guessed.unit)}",
        f"topic = {quoted(one.topic)}",
        f"payload = {quoted(one.payload)}",
    ]
    if guessed.place:
        lines.insert(6, f"place = {quoted(guessed.place)}")
    return lines
