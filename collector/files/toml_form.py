"""TOML files that people write: typed records out, every mistake with its line and remedy."""

import dataclasses
import difflib
import math
import re
import tomllib
import types
import typing
from datetime import date, datetime, time
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

import orjson
from pydantic import TypeAdapter, ValidationError

from collector.errors import FormError

T = TypeVar("T")

_HEADER = re.compile(r"^\s*\[(\[)?\s*([A-Za-z0-9_.\"'-]+)\s*\]?\]")
_KEY = re.compile(r"^\s*([A-Za-z0-9_-]+)\s*(?:\.[A-Za-z0-9_.-]+\s*)?=")

_MESSAGES = {
    "missing": "is missing; add it",
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "bool_type": "must be true or false",
    "string_type": "must be text in quotes",
    "tuple_type": "must be a list like [4, 40]",
    "too_long": "has too many entries",
    "datetime_type": "must be a time like 2026-03-14T10:30:00Z, without quotes",
    "finite_number": "must be a finite number",
}


class Place(NamedTuple):
    """Where in a file something stands: table name, its number among its kind, key."""

    table: str
    number: int
    key: str | None = None


class TomlForm:
    """One parsed file with the line of every table and key, and the problems found in it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.problems: list[str] = []
        text = self._text()
        self.lines = _lines(text)
        try:
            self.content: dict[str, Any] = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise FormError([f"{path}: is no valid TOML: {error}; mend that line"]) from error

    def _text(self) -> str:
        try:
            return self.path.read_text(encoding="utf-8-sig")
        except OSError as error:
            reason = error.strerror or str(error)
            raise FormError([f"{self.path}: cannot be read ({reason}); check the path"]) from error
        except UnicodeDecodeError as error:
            raise FormError([f"{self.path}: is not UTF-8 text; save it as UTF-8"]) from error

    def blame(self, place: Place, message: str) -> None:
        """Note one mistake."""
        outer = place.key.split(".")[0] if place.key else None
        line = self.lines.get(place._replace(key=outer)) or self.lines.get(place._replace(key=None))
        where = f"{self.path}:{line}" if line else f"{self.path}"
        key = f", key '{place.key}'" if place.key else ""
        self.problems.append(f"{where}: [{place.table}]{key}: {message}")

    def check_tables(self, known: dict[str, bool]) -> None:
        """Refuse unknown tables; `known` says of each whether it comes as a list."""
        for name, content in list(self.content.items()):
            if name not in known:
                self.blame(Place(name, 0), f"is unknown here{_hint(name, known)}")
                del self.content[name]
            elif known[name] != isinstance(content, list):
                brackets = f"[[{name}]]" if known[name] else f"[{name}]"
                self.blame(Place(name, 0), f"must be written {brackets}")
                del self.content[name]

    def tables(self, name: str) -> list[dict[str, Any]]:
        """All tables of a name; one that comes once is a list of one."""
        content = self.content.get(name, [])
        return content if isinstance(content, list) else [content]

    def records(self, name: str, kind: type[T]) -> list[T | None]:
        """Typed records of all tables of a name; None where one has a mistake."""
        return [
            self.record(table, Place(name, i), kind) for i, table in enumerate(self.tables(name))
        ]

    def record(self, table: Any, place: Place, kind: type[T]) -> T | None:
        """One typed record, or None after noting its mistakes."""
        before = len(self.problems)
        if not isinstance(table, dict):
            self.blame(place, "must be a table of keys and values")
            return None
        cleaned = self._known_keys(table, place, kind)
        try:
            made: T = _adapter(kind).validate_json(orjson.dumps(cleaned), strict=True)  # type: ignore[arg-type]
        except ValidationError as error:
            for row in error.errors():
                is_blamed = row["type"] == "missing" and row["loc"] in {(key,) for key in table}
                if not is_blamed:
                    self._blame_value(place, row)
            return None
        return made if len(self.problems) == before else None

    def _known_keys(self, table: dict[str, Any], place: Place, kind: type) -> dict[str, Any]:
        fields = {f.name: f.type for f in dataclasses.fields(kind)}
        kept: dict[str, Any] = {}
        for key, value in table.items():
            if key not in fields:
                inside = f"{place.key}.{key}" if place.key else key
                self.blame(place._replace(key=inside), f"is unknown here{_hint(key, fields)}")
                continue
            inner = _record_type(fields[key])
            if inner and isinstance(value, dict):
                kept[key] = self._known_keys(value, place._replace(key=key), inner)
            elif why := _unusable(value, may_be_time=fields[key] is datetime):
                inside = f"{place.key}.{key}" if place.key else key
                self.blame(place._replace(key=inside), why)
            else:
                kept[key] = value
        return kept

    def _blame_value(self, place: Place, row: Any) -> None:
        key = str(row["loc"][0]) if row["loc"] else None
        inner = ".".join(str(p) for p in row["loc"][1:] if not isinstance(p, int))
        message = _MESSAGES.get(row["type"]) or row["msg"].lower().replace("input", "it", 1)
        if row["type"] == "literal_error":
            message = f"is {row['input']!r}; use one of {row['ctx']['expected']}"
        if row["type"] == "missing" and isinstance(row["loc"][-1], int):
            message = _MESSAGES["tuple_type"]
        self.blame(place._replace(key=key), f"{inner + ' ' if inner else ''}{message}")

    def finish(self) -> None:
        """Raise all mistakes at once, if there are any."""
        if self.problems:
            raise FormError(self.problems)


@cache
def _adapter(kind: type[Any]) -> TypeAdapter[Any]:
    return TypeAdapter(kind)


def _record_type(annotation: Any) -> type | None:
    """The dataclass in an annotation, if there is one."""
    options = typing.get_args(annotation) if isinstance(annotation, types.UnionType) else ()
    for option in options or (annotation,):
        if dataclasses.is_dataclass(option):
            return option if isinstance(option, type) else None
    return None


_WIDEST = 1 << 63


def _unusable(value: Any, *, may_be_time: bool) -> str | None:
    """Why a value that TOML can hold is of no use here; None where it can be judged further."""
    if isinstance(value, list | dict):
        parts = value.values() if isinstance(value, dict) else value
        found = (_unusable(part, may_be_time=may_be_time) for part in parts)
        return next((why for why in found if why), None)
    if isinstance(value, float) and not math.isfinite(value):
        return _MESSAGES["finite_number"]
    if isinstance(value, int) and not -_WIDEST <= value < _WIDEST:
        return "is far too great; check its digits"
    if isinstance(value, date | time) and not may_be_time:
        return "is a date or time; put it in quotes if text is meant"
    return None


def _hint(word: str, known: Any) -> str:
    close = difflib.get_close_matches(word, list(known), n=1)
    return f"; did you mean '{close[0]}'?" if close else f"; known: {', '.join(sorted(known))}"


def _lines(text: str) -> dict[Place, int]:
    """Line numbers of tables and keys, found by their form."""
    found: dict[Place, int] = {}
    seen: dict[str, int] = {}
    table, number = "", 0
    for at, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            table = header.group(2).strip("\"'").split(".")[0]
            number = seen.get(table, -1) + 1 if header.group(1) else 0
            seen[table] = number
            found.setdefault(Place(table, number), at)
        elif key := _KEY.match(line):
            found.setdefault(Place(table, number, key.group(1)), at)
    return found
