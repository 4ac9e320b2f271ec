"""How a finished day of one channel is packed: compact, exact, and open without any row loop.

A day is one Arrow IPC stream with zstd. Times are stored as differences [ms] from the
reading before, values as whole numbers of a decimal step where that is exact, else as they
are; whole numbers are split into low byte and rest, x = rest * 256 + low. The schema's
metadata say which, so any Arrow reader can open a day.
"""

from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from analysis.readings.readings import FloatArray, Readings, Summary

AnyArray = NDArray[Any]

_OPTIONS = pa.ipc.IpcWriteOptions(compression="zstd")
_STEPS = (1, 10, 100, 1000, 16, 10_000)


def pack_day(readings: Readings) -> bytes:
    """One day of one channel as an Arrow IPC stream."""
    first = int(readings.time_ms[0])
    step = np.diff(readings.time_ms, prepend=first).astype(np.int32)
    per_unit, value = _as_whole(readings.value)
    columns = _planes("step_ms", step)
    columns |= _planes("value", value) if per_unit else {"value": value}
    return _stream(columns, {"first_ms": str(first), "per_unit": str(per_unit)})


def unpack_days(payloads: list[bytes]) -> Readings:
    """Readings of several packed days, which must follow each other.

    Days are joined before they are decoded, so that a year costs few array
    operations more than a day.
    """
    if not payloads:
        return Readings.empty()
    days = [_open(p) for p in payloads]
    step: AnyArray = _joined("step_ms", days).astype(np.int64)
    length = np.array([d.rows for d in days])
    begin = np.append([0], np.cumsum(length)[:-1])
    first = np.array([d.first_ms for d in days])
    # Within a day the first difference is 0; there the distance from the day before goes in.
    span = np.add.reduceat(step, begin)
    step[begin] = np.diff(first, prepend=0) - np.append([0], span[:-1])
    return Readings(np.cumsum(step), _values(days, begin, length))


class _Day(NamedTuple):
    """One day's columns, still packed as whole numbers."""

    first_ms: int
    per_unit: int
    rows: int
    columns: dict[str, AnyArray]


def _open(payload: bytes) -> _Day:
    batch = pa.ipc.open_stream(payload).read_next_batch()
    meta = batch.schema.metadata
    columns = {n: c.to_numpy() for n, c in zip(batch.schema.names, batch.columns, strict=True)}
    return _Day(int(meta[b"first_ms"]), int(meta[b"per_unit"]), batch.num_rows, columns)


def _joined(name: str, days: list[_Day]) -> AnyArray:
    """Whole numbers from their low bytes and rests."""
    whole: AnyArray = np.concatenate([d.columns[f"{name}_rest"] for d in days]).astype(np.int32)
    whole <<= 8
    whole |= np.concatenate([d.columns[f"{name}_low"] for d in days])
    return whole


def _values(days: list[_Day], begin: AnyArray, length: AnyArray) -> FloatArray:
    if all(d.per_unit for d in days):
        per_unit = np.array([d.per_unit for d in days])
        whole = _joined("value", days)
        same = (per_unit == per_unit[0]).all()
        scaled: FloatArray = whole / (per_unit[0] if same else np.repeat(per_unit, length))
        return scaled
    value = np.empty(int(length.sum()))
    for day, at in zip(days, begin.tolist(), strict=True):
        part = day.columns.get("value")
        whole = _joined("value", [day]) / day.per_unit if part is None else part
        value[at : at + day.rows] = whole
    return value


_SUMMARY = np.dtype([(name, "<i8" if name == "start_ms" else "<f8") for name in Summary._fields])
_NARROW = 4096.0
_GRAIN = 1024.0
"""Below `_NARROW` a minute's mean is kept to 1/1024 of its unit, in single precision."""


def pack_hours(summary: Summary) -> bytes:
    """Hour summaries of one day as plain little-endian records, for speed over years."""
    some = np.flatnonzero(summary.covered_s > 0)
    rows = np.empty(len(some), _SUMMARY)
    for name, column in summary._asdict().items():
        rows[name] = column[some]
    return rows.tobytes()


def unpack_hours(payloads: list[bytes]) -> Summary:
    """Hour summaries of several days, one after the other."""
    rows = np.frombuffer(b"".join(payloads), _SUMMARY)
    return Summary(*(rows[name] for name in Summary._fields))


def pack_minutes(summary: Summary) -> bytes:
    """Minute summaries of one day as an Arrow IPC stream."""
    some = summary.covered_s > 0
    columns: dict[str, AnyArray] = {n: c[some] for n, c in summary._asdict().items()}
    if some.any() and np.abs([columns["low"], columns["high"]]).max() < _NARROW:
        columns["mean"] = np.round(columns["mean"] * _GRAIN) / _GRAIN
        columns |= {n: columns[n].astype(np.float32) for n in ("mean", "low", "high")}
    return _stream(columns, {})


def unpack_minutes(payloads: list[bytes]) -> Summary:
    """Minute summaries of several days, one after the other."""
    batches = [pa.ipc.open_stream(p).read_next_batch() for p in payloads]
    if not batches:
        return unpack_hours([])
    start, *figures = (
        np.concatenate([b.column(i).to_numpy() for b in batches])
        for i in range(len(Summary._fields))
    )
    return Summary(start, *(f.astype(np.float64) for f in figures))


PACK_SUMMARY = {"minute": pack_minutes, "hour": pack_hours}
UNPACK_SUMMARY = {"minute": unpack_minutes, "hour": unpack_hours}


def _planes(name: str, whole: AnyArray) -> dict[str, AnyArray]:
    """Whole numbers as low byte and rest: the noise of the one spoils not the other's packing."""
    rest = whole >> 8
    small = next(t for t in (np.int8, np.int16, np.int32) if _fits(rest, t))
    return {f"{name}_low": (whole & 0xFF).astype(np.uint8), f"{name}_rest": rest.astype(small)}


def _fits(whole: AnyArray, kind: type[np.signedinteger[Any]]) -> bool:
    info = np.iinfo(kind)
    return bool(info.min <= whole.min() and whole.max() <= info.max)


def _as_whole(value: FloatArray) -> tuple[int, AnyArray]:
    """Values as whole multiples of 1/n where that loses nothing; n is 0 otherwise."""
    if not np.isfinite(value).all() or np.abs(value).max() > 2e5:
        return 0, value
    for per_unit in _STEPS:
        whole = np.round(value * per_unit)
        if np.array_equal(whole / per_unit, value):
            return per_unit, whole.astype(np.int32)
    return 0, value


def _stream(columns: dict[str, AnyArray], meta: dict[str, str]) -> bytes:
    batch = pa.record_batch([pa.array(c) for c in columns.values()], names=list(columns))
    batch = batch.replace_schema_metadata(meta)
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, batch.schema, options=_OPTIONS) as writer:
        writer.write_batch(batch)
    payload: bytes = sink.getvalue().to_pybytes()
    return payload
