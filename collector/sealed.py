"""How a finished day of one channel is packed: compact, exact, and open without any row loop.

A day is one Arrow IPC stream with zstd. Times are stored as differences [ms] from the
reading before, values as whole numbers of a decimal step where that is exact, else as they
are; the schema's metadata say which, so any Arrow reader can open a day.
"""

from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from analysis.readings import FloatArray, IntArray, Readings, Summary

AnyArray = NDArray[Any]

_OPTIONS = pa.ipc.IpcWriteOptions(compression="zstd")
_STEPS = (1, 10, 100, 1000, 16, 10_000)


def pack_day(readings: Readings) -> bytes:
    """One day of one channel as an Arrow IPC stream."""
    first = int(readings.time_ms[0])
    step = np.diff(readings.time_ms, prepend=first).astype(np.int32)
    per_unit, value = _as_whole(readings.value)
    meta = {"first_ms": str(first), "per_unit": str(per_unit)}
    return _stream({"step_ms": step, "value": value}, meta)


def unpack_days(payloads: list[bytes]) -> Readings:
    """Readings of several packed days, which must follow each other."""
    if not payloads:
        return Readings.empty()
    days = [_unpack(p) for p in payloads]
    return Readings(np.concatenate([t for t, _ in days]), np.concatenate([v for _, v in days]))


_SUMMARY = np.dtype([(name, "<i8" if name == "start_ms" else "<f8") for name in Summary._fields])
_NARROW = 4096.0
"""Below this, single precision keeps a minute's figures to 0.0003 of their unit."""


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


def _unpack(payload: bytes) -> tuple[IntArray, FloatArray]:
    batch = pa.ipc.open_stream(payload).read_next_batch()
    meta = batch.schema.metadata
    time_ms = np.cumsum(batch.column(0).to_numpy(), dtype=np.int64)
    time_ms += int(meta[b"first_ms"])
    value = batch.column(1).to_numpy()
    per_unit = int(meta[b"per_unit"])
    return time_ms, value / per_unit if per_unit else value


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
