"""Reads and writes plant files; refuses what cannot be meant, with line, key and remedy."""

import re
from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from analysis.base.quantities import QUANTITIES
from analysis.energy.instrument_limits import CLASSES
from analysis.plant.plant import Boiler, Channel, Plant, Pump, Store, Swap, Tariff
from collector.errors import FormError
from collector.files.toml_form import Place, TomlForm

_TABLES = {
    "plant": False,
    "tariff": False,
    "boiler": True,
    "pump": True,
    "store": True,
    "channel": True,
    "swap": True,
}
_LONGEST_NAME = 120
_ID = re.compile(r"[a-z0-9._-]+")
_PAYLOAD = re.compile(r"|(/([^~]|~[01])*)+|senml:[A-Za-z0-9\-:./_]+|homie")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Head:
    name: str
    timezone: str


def load_plants(path: Path) -> list[Plant]:
    """Read one plant file, or every ``*.toml`` of a folder.

    Raises
    ------
    FormError
        With one line a mistake, over all files.
    """
    plants, problems = load_sound_plants(path)
    if problems:
        raise FormError(problems)
    return plants


def load_sound_plants(path: Path) -> tuple[list[Plant], list[str]]:
    """Read what is sound of a folder, and what is wrong with the rest, a line a mistake.

    A typo in one plant's file must not leave all the other plants unwatched.

    Raises
    ------
    FormError
        There is no sound plant file at all; with one line a mistake.
    """
    if not path.is_dir():
        return [load_plant(path)], []
    plants: dict[str, Plant] = {}
    problems: list[str] = []
    for file in sorted(path.glob("*.toml")):
        try:
            plant = load_plant(file)
        except FormError as error:
            problems += error.problems
            continue
        if plant.key in plants:
            problems.append(
                f"{file}: [plant], key 'name': another file has a plant of this name; change one"
            )
            continue
        plants[plant.key] = plant
    if not plants:
        raise FormError(problems or [f"{path}: holds no plant file; put one or more *.toml there"])
    return list(plants.values()), problems


def load_plant(path: Path) -> Plant:
    """Read one plant file.

    Raises
    ------
    FormError
        With one line a mistake.
    """
    form = TomlForm(path)
    form.check_tables(_TABLES)
    if not form.tables("plant"):
        form.blame(Place("plant", 0), "is missing; begin the file with [plant], name and timezone")
    head = (form.records("plant", _Head) or [None])[0]
    parts = {
        kind: form.records(kind, record)
        for kind, record in (("boiler", Boiler), ("pump", Pump), ("store", Store))
    }
    channels = form.records("channel", Channel)
    swaps = form.records("swap", Swap)
    tariff = (form.records("tariff", Tariff) or [None])[0]
    if head:
        _check_head(form, head)
    if tariff:
        _check_tariff(form, tariff)
    _check_parts(form, parts)
    _check_channels(form, channels)
    _check_swaps(form, swaps)
    form.finish()
    assert head is not None  # finish() has raised otherwise
    return Plant(
        name=head.name,
        timezone=head.timezone,
        tariff=tariff or Tariff(),
        boilers=tuple(b for b in parts["boiler"] if isinstance(b, Boiler)),
        pumps=tuple(p for p in parts["pump"] if isinstance(p, Pump)),
        stores=tuple(s for s in parts["store"] if isinstance(s, Store)),
        channels=tuple(c for c in channels if c),
        swaps=tuple(s for s in swaps if s),
    )


def _check_head(form: TomlForm, head: _Head) -> None:
    if not head.name.strip():
        form.blame(Place("plant", 0, "name"), "is empty; give the plant a name")
    if len(head.name) > _LONGEST_NAME or _CONTROL.search(head.name):
        words = f"must be one line of at most {_LONGEST_NAME} letters; shorten it"
        form.blame(Place("plant", 0, "name"), words)
    try:
        ZoneInfo(head.timezone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        form.blame(
            Place("plant", 0, "timezone"),
            f"{head.timezone!r} is no IANA time zone; write one like 'Europe/Dublin'",
        )


_GAS_RANGES = {"gas_mj_per_m3": (20.0, 60.0), "gas_correction": (0.5, 1.5)}
"""Wider than any supply of natural gas at a house's pressure (common practice, no source)."""


def _check_tariff(form: TomlForm, tariff: Tariff) -> None:
    if not tariff.currency.strip():
        form.blame(Place("tariff", 0, "currency"), "is empty; write one like 'EUR'")
    for key in ("electricity_per_kwh", "fuel_per_kwh"):
        price = getattr(tariff, key)
        if price is not None and price < 0:
            form.blame(Place("tariff", 0, key), "must be 0 or more")
    for key, (least, most) in _GAS_RANGES.items():
        factor = getattr(tariff, key)
        if factor is not None and not least <= factor <= most:
            words = f"must be between {least:g} and {most:g}, as the gas bill has it"
            form.blame(Place("tariff", 0, key), words)


def _check_parts(form: TomlForm, parts: dict[str, list[Any]]) -> None:
    seen = {"plant"}
    for kind, records in parts.items():
        for i, part in enumerate(records):
            if part is None:
                continue
            _check_id(form, Place(kind, i, "id"), part.id, seen)
            if isinstance(part, Pump):
                _check_rating(form, Place(kind, i, "rated_power_w"), part.rated_power_w)
            for key in ("input_kw", "volume_l", "port_to_port_mm"):
                size = getattr(part, key, None)
                if size is not None and not size > 0:
                    form.blame(Place(kind, i, key), "must be above 0")


def _check_id(form: TomlForm, place: Place, name: str, seen: set[str]) -> None:
    if not _ID.fullmatch(name):
        form.blame(place, f"{name!r} may hold only a-z, 0-9, '.', '_' and '-'")
    if name in seen:
        form.blame(place, f"{name!r} is used twice; give each part and channel an id of its own")
    seen.add(name)


def _check_rating(form: TomlForm, place: Place, rating: tuple[float, float] | None) -> None:
    if rating and not 0 <= rating[0] <= rating[1]:
        form.blame(place, "must be [least, greatest] watts, like [4, 40]")


def _check_channels(form: TomlForm, channels: list[Channel | None]) -> None:
    known = {"plant"} | {
        t.get("id") for kind in ("boiler", "pump", "store") for t in form.tables(kind)
    }
    seen: set[str] = set()
    for i, channel in enumerate(channels):
        if channel is None:
            continue
        place = Place("channel", i)
        _check_id(form, place._replace(key="id"), channel.id, seen)
        if channel.of not in known:
            names = ", ".join(sorted(str(k) for k in known))
            form.blame(
                place._replace(key="of"),
                f"{channel.of!r} is no boiler, pump or store of this file; known: {names}",
            )
        _check_channel_form(form, channel, place)


def _check_channel_form(form: TomlForm, channel: Channel, place: Place) -> None:
    units = QUANTITIES[channel.quantity].units
    if channel.unit not in units:
        form.blame(
            place._replace(key="unit"),
            f"{channel.unit!r} does not fit '{channel.quantity}'; use {' or '.join(units)}",
        )
    if channel.quantity == "temperature" and channel.place is None:
        form.blame(place._replace(key="place"), "is missing; a temperature needs its place")
    if channel.topic is not None and (not channel.topic or re.search(r"[+#\0]", channel.topic)):
        form.blame(place._replace(key="topic"), "must be one full topic, without '+' or '#'")
    if not _PAYLOAD.fullmatch(channel.payload):
        form.blame(
            place._replace(key="payload"),
            f'{channel.payload!r} is neither "" nor a pointer like "/power", '
            '"senml:NAME" or "homie"',
        )
    _check_class(form, channel, place)
    if channel.interval_s is not None and not channel.interval_s > 0:
        form.blame(place._replace(key="interval_s"), "must be above 0")


def _check_class(form: TomlForm, channel: Channel, place: Place) -> None:
    known = CLASSES.get(channel.quantity, ())
    if channel.accuracy_class is None or channel.accuracy_class in known:
        return
    remedy = (
        f"use {' or '.join(known)}" if known else f"a '{channel.quantity}' has none; leave it out"
    )
    words = f"{channel.accuracy_class!r} is no class known here; {remedy}"
    form.blame(place._replace(key="accuracy_class"), words)


def _check_swaps(form: TomlForm, swaps: list[Swap | None]) -> None:
    pumps = {t.get("id") for t in form.tables("pump")}
    known = ", ".join(sorted(str(pump) for pump in pumps)) or "none"
    for i, swap in enumerate(swaps):
        if swap is None:
            continue
        if swap.pump not in pumps:
            form.blame(
                Place("swap", i, "pump"), f"{swap.pump!r} is no pump of this file; known: {known}"
            )
        if not isinstance(swap.time, datetime) or swap.time.tzinfo is None:
            form.blame(
                Place("swap", i, "time"),
                "needs its offset from UTC; write it like 2026-03-14T10:30:00Z",
            )
        if swap.claim_kwh_per_year is not None and swap.claim_kwh_per_year < 0:
            form.blame(Place("swap", i, "claim_kwh_per_year"), "must be 0 or more")
        _check_rating(form, Place("swap", i, "old"), swap.old.rated_power_w)
        _check_rating(form, Place("swap", i, "new"), swap.new.rated_power_w)
    doubled = [t for t, n in Counter((s.pump, s.time) for s in swaps if s).items() if n > 1]
    for pump, _ in doubled:
        form.blame(
            Place("swap", 0, "time"), f"pump {pump!r} is swapped twice at one time; take one out"
        )


def quoted(text: str) -> str:
    """Text as a TOML string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{re.sub(_CONTROL, _unicode_escape, escaped)}"'


_CONTROL = re.compile(r"[\x00-\x1f\x7f]")


def _unicode_escape(found: re.Match[str]) -> str:
    return f"\\u{ord(found[0]):04x}"
