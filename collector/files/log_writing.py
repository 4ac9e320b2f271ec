"""Writes readings as log files: ``time,channel,value`` in CSV, gzipped CSV or Parquet."""

import gzip
from collections.abc import Iterable
from contextlib import ExitStack
from pathlib import Path
from typing import Any, Self

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
import pyarrow.parquet as pq

from analysis.plant.plant import Channel
from analysis.readings.readings import Readings
from collector.errors import LogFileError
from collector.files.log_file import COLUMNS
from collector.payloads.units import conversion

_ENDINGS = (".csv", ".csv.gz", ".parquet")


def write_log(path: Path, parts: Iterable[tuple[Channel, Readings]]) -> int:
    """Write readings as a log file, in the units of the plant file.

    Parameters
    ----------
    path : Path
        ``.csv``, ``.csv.gz`` or ``.parquet``.
    parts : iterable of (Channel, Readings)
        What to write, in this order.

    Returns
    -------
    int
        Rows written.

    Raises
    ------
    LogFileError
        The file cannot be written.
    """
    if not path.name.endswith(_ENDINGS):
        raise LogFileError(
            f"{path}: a log is written as {', '.join(_ENDINGS[:-1])} or {_ENDINGS[-1]}; "
            "name the file so"
        )
    rows = 0
    try:
        with _Writer(path) as writer:
            for channel, readings in parts:
                writer.add(_table(channel, readings))
                rows += len(readings)
    except OSError as error:
        raise LogFileError(
            f"{path}: cannot be written ({error.strerror}); check folder and free space"
        ) from error
    return rows


_SCHEMA = pa.schema(
    [("time", pa.timestamp("ms", "UTC")), ("channel", pa.string()), ("value", pa.float64())]
)


def _table(channel: Channel, readings: Readings) -> pa.Table:
    scale, offset = conversion(channel.unit, channel.quantity).inverse()
    value = readings.value
    if (scale, offset) != (1.0, 0.0):
        value = np.array([float(f"{v:.12g}") for v in value * scale + offset])
    name = pa.array([channel.id], pa.string()).take(pa.array(np.zeros(len(value), np.int64)))
    time = pa.array(readings.time_ms, pa.timestamp("ms", "UTC"))
    return pa.table([time, name, pa.array(value, from_pandas=True)], schema=_SCHEMA)


_PLAIN = pa.csv.WriteOptions(include_header=False, quoting_style="none")


class _Writer:
    """Appends tables to a CSV or Parquet file."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._stack = ExitStack()

    def __enter__(self) -> Self:
        if self._path.suffix == ".parquet":
            self._parquet = self._stack.enter_context(
                pq.ParquetWriter(self._path, _SCHEMA, compression="zstd")
            )
            return self
        raw: Any = self._stack.enter_context(self._path.open("wb"))
        if self._path.suffix == ".gz":
            # A fixed time makes the same readings the same file.
            raw = self._stack.enter_context(gzip.GzipFile("", "wb", 6, raw, mtime=0))
        raw.write((",".join(COLUMNS) + "\n").encode())
        self._raw = raw
        return self

    def add(self, table: pa.Table) -> None:
        """Append rows."""
        if self._path.suffix == ".parquet":
            self._parquet.write_table(table)
            return
        # A tenth of the time of formatting each stamp; the cast gives a blank where RFC 3339 has T.
        stamp = pc.utf8_replace_slice(table["time"].cast(pa.string()), 10, 11, "T")
        rows = table.set_column(0, "time", stamp)
        pa.csv.write_csv(rows, self._raw, _PLAIN)

    def __exit__(self, *error: object) -> None:
        self._stack.close()
