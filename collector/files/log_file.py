"""Log files: readings as ``time,channel,value`` in CSV, gzipped CSV or Parquet.

Read in blocks with bounded memory; a row that cannot be used is reported with its line number
and left out, nothing else is lost.
"""

import gzip
import io
import zlib
from collections import defaultdict
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
import pyarrow.parquet as pq

from analysis.base.quantities import physical_range
from analysis.base.time import EARLIEST_MS, LATEST_MS
from analysis.plant.plant import Channel
from analysis.readings.readings import IntArray, Readings
from collector.errors import LogFileError
from collector.payloads.units import conversion

COLUMNS = ("time", "channel", "value")
_BLOCK_BYTES = 16 << 20
_RFC3339 = r"^\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}:\d{2}(\.\d+)?([Zz]|[+-]\d{2}:\d{2})$"
_NUMBER = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"
_SHOWN = 20


class BadRow(NamedTuple):
    """One row that cannot be used."""

    line: int
    why: str


@dataclass(slots=True)
class Report:
    """What reading a log came to; only the first bad rows are kept in words."""

    rows: int = 0
    bad: int = 0
    shown: list[BadRow] = field(default_factory=list)
    unknown_channels: dict[str, int] = field(default_factory=dict)

    def refuse(self, lines: IntArray, why: str) -> None:
        """Note rows that cannot be used."""
        self.bad += len(lines)
        room = _SHOWN - len(self.shown)
        self.shown += [BadRow(int(n), why) for n in lines[: max(room, 0)]]

    @property
    def has_skipped(self) -> bool:
        """Whether rows were left out, for whatever reason: something to be told."""
        return self.bad > 0 or bool(self.unknown_channels)

    def words(self, path: Path) -> list[str]:
        """Lines for a person."""
        said = [f"{path}:{row.line}: {row.why}; row skipped" for row in sorted(self.shown)]
        if self.bad > len(self.shown):
            said.append(f"{path}: {self.bad - len(self.shown)} more bad rows skipped")
        if self.unknown_channels:
            names = ", ".join(sorted(self.unknown_channels)[:8])
            said.append(
                f"{path}: {sum(self.unknown_channels.values())} rows of channels that are not in "
                f"the plant file skipped ({names}); add a [[channel]] for them to keep them"
            )
        return said


class _Block(NamedTuple):
    """Part of a file, with the line number of each row; columns are text, or typed in Parquet."""

    time: pa.Array
    channel: pa.Array
    value: pa.Array
    line: IntArray


def read_log(
    path: Path, channels: Mapping[str, Channel], report: Report
) -> Iterator[dict[str, Readings]]:
    """Readings of a log file by channel, block after block, in kept units.

    Parameters
    ----------
    path : Path
        ``.csv``, ``.csv.gz`` or ``.parquet``.
    channels : mapping of str to Channel
        Channels of the plant file; rows of others are counted and left out.
    report : Report
        Gets counts and bad rows.

    Yields
    ------
    dict of str to Readings
        In the order of the file; where blocks overlap, later ones win.

    Raises
    ------
    LogFileError
        The file as a whole cannot be read.
    """
    for block in _blocks(path, report):
        report.rows += len(block.line)
        yield _readings(block, channels, report)


def load_log(path: Path, channels: Mapping[str, Channel], report: Report) -> dict[str, Readings]:
    """Read a whole log file at once, by channel."""
    parts: dict[str, list[Readings]] = defaultdict(list)
    for block in read_log(path, channels, report):
        for name, readings in block.items():
            parts[name].append(readings)
    return {
        name: Readings.of(
            np.concatenate([p.time_ms for p in found]), np.concatenate([p.value for p in found])
        )
        for name, found in parts.items()
    }


# text columns


def _blocks(path: Path, report: Report) -> Iterator[_Block]:
    try:
        if path.suffix == ".parquet":
            yield from _parquet_blocks(path)
        else:
            yield from _csv_blocks(path, report)
    except (OSError, EOFError, pa.ArrowException, zlib.error) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise LogFileError(f"{path}: cannot be read ({reason}); check the file") from error


def _csv_blocks(path: Path, report: Report) -> Iterator[_Block]:
    with ExitStack() as stack:
        raw: Any = stack.enter_context(path.open("rb"))
        if path.suffix == ".gz":
            raw = stack.enter_context(gzip.open(raw))
        header = raw.readline().decode("utf-8-sig", "replace").strip().replace('"', "")
        if tuple(header.split(",")) != COLUMNS:
            raise LogFileError(
                f"{path}:1: header is {header[:60]!r}; the first line must be 'time,channel,value'"
            )
        line = 2
        for text in _whole_lines(raw):
            yield _parse_csv(text, line, report)
            line += text.count(b"\n")


def _whole_lines(raw: BinaryIO) -> Iterator[bytes]:
    """Blocks that end with a line end."""
    rest = b""
    while chunk := raw.read(_BLOCK_BYTES):
        head, newline, tail = chunk.rpartition(b"\n")
        if newline:
            yield rest + head + newline
            rest = tail
        else:
            rest += tail
    if rest:
        yield rest + b"\n"


def _parse_csv(text: bytes, first_line: int, report: Report) -> _Block:
    bad: list[int] = []

    def skip(row: Any) -> str:
        bad.append(row.number - 1)
        return "skip"

    text = _cleaned(text)
    count = text.count(b"\n")
    table = pa.csv.read_csv(
        io.BytesIO(text),
        read_options=pa.csv.ReadOptions(
            column_names=list(COLUMNS), use_threads=False, block_size=max(len(text), 1024)
        ),
        parse_options=pa.csv.ParseOptions(
            quote_char=False, ignore_empty_lines=False, invalid_row_handler=skip
        ),
        convert_options=pa.csv.ConvertOptions(
            column_types=dict.fromkeys(COLUMNS, pa.string()), strings_can_be_null=False
        ),
    )
    lines = np.delete(np.arange(count), bad)[: table.num_rows] + first_line
    if bad:
        report.refuse(np.array(bad) + first_line, "has not three fields 'time,channel,value'")
        report.rows += len(bad)
    time, channel, value = (
        pc.utf8_trim_whitespace(table[name].combine_chunks()) for name in COLUMNS
    )
    return _Block(time, channel, value, lines.astype(np.int64))


def _cleaned(text: bytes) -> bytes:
    """Valid UTF-8 in which only line ends end lines, so that line numbers hold.

    Quotes go: no time, channel or number has one in it, and spreadsheets put them around each.
    """
    text = text.replace(b'"', b"")
    text = text.replace(b"\r\n", b"\n").replace(b"\r", b"?").replace(b"\x00", b"?")
    return text.decode("utf-8", "replace").encode()


def _parquet_blocks(path: Path) -> Iterator[_Block]:
    with pq.ParquetFile(path) as file:
        missing = [c for c in COLUMNS if c not in file.schema_arrow.names]
        if missing:
            raise LogFileError(
                f"{path}: has no column '{missing[0]}'; columns time, channel, value are needed"
            )
        line = 1
        for batch in file.iter_batches(batch_size=500_000, columns=list(COLUMNS)):
            time = batch["time"]
            if pa.types.is_timestamp(time.type) and time.type.tz is None:
                raise LogFileError(
                    f"{path}: column 'time' bears no time zone; write it as timestamp with UTC"
                )
            rows = np.arange(line, line + batch.num_rows)
            value = batch["value"]
            if not pa.types.is_floating(value.type):
                value = pc.fill_null(value.cast(pa.string()), "")
            if not pa.types.is_timestamp(time.type):
                time = pc.fill_null(time.cast(pa.string()), "")
            yield _Block(time, pc.fill_null(batch["channel"].cast(pa.string()), ""), value, rows)
            line += batch.num_rows


# columns to readings


def _readings(
    block: _Block, channels: Mapping[str, Channel], report: Report
) -> dict[str, Readings]:
    if not len(block.line):
        return {}
    time_ms, dated = _times(block.time)
    report.refuse(block.line[~dated], "time is no RFC 3339 time with offset")
    strange = dated & ((time_ms < EARLIEST_MS) | (time_ms > LATEST_MS))
    report.refuse(block.line[strange], "time lies outside the years 2000 to 2100")
    dated = dated & ~strange
    value, numeric = _values(block.value)
    report.refuse(block.line[dated & ~numeric], "value is no number")
    named = pc.not_equal(block.channel, "").to_numpy(zero_copy_only=False)
    report.refuse(block.line[dated & numeric & ~named], "names no channel")
    names = block.channel.dictionary_encode()
    code = names.indices.to_numpy(zero_copy_only=False)
    good = dated & numeric & named
    found = {}
    for i, name in enumerate(names.dictionary.to_pylist()):
        mine = good & (code == i)
        channel = channels.get(name)
        if not mine.any():
            continue
        if channel is None:
            seen = report.unknown_channels.get(name, 0) + int(mine.sum())
            report.unknown_channels[name] = seen
            continue
        found[name] = _kept(
            channel, time_ms[mine], value[mine], lines=block.line[mine], report=report
        )
    return {name: readings for name, readings in found.items() if len(readings)}


def _times(text: pa.Array) -> tuple[IntArray, Any]:
    """Milliseconds and whether each is a time; each different text is parsed once."""
    if pa.types.is_timestamp(text.type):
        ms = text.cast(pa.timestamp("ms", "UTC"), safe=False).cast(pa.int64())
        return pc.fill_null(ms, 0).to_numpy(), text.is_valid().to_numpy(zero_copy_only=False)
    coded = text.dictionary_encode()
    different = coded.dictionary
    formed = pc.match_substring_regex(different, _RFC3339).to_numpy(zero_copy_only=False)
    stamps = pd.to_datetime(
        pd.Series(different.to_pylist(), dtype=object).where(formed), utc=True, format="ISO8601",
        errors="coerce",
    )  # fmt: skip
    known = stamps.notna().to_numpy()
    index = pd.DatetimeIndex(stamps.where(stamps.notna(), pd.Timestamp(0, tz="UTC")))
    ms = index.as_unit("ms").astype(np.int64).to_numpy()
    at = coded.indices.to_numpy(zero_copy_only=False)
    return ms[at], known[at]


def _values(text: pa.Array) -> tuple[Any, Any]:
    """Numbers and whether each is one; empty is the unknown value."""
    if pa.types.is_floating(text.type):
        numbers = text.cast(pa.float64()).to_numpy(zero_copy_only=False)
        return numbers, ~np.isinf(numbers)
    empty = pc.equal(text, "").to_numpy(zero_copy_only=False)
    formed = pc.match_substring_regex(text, _NUMBER)
    plain = pc.utf8_ltrim(pc.if_else(formed, text, None), "+")
    numbers = plain.cast(pa.float64()).to_numpy(zero_copy_only=False)
    return numbers, np.isfinite(numbers) | empty


def _kept(
    channel: Channel, time_ms: IntArray, value: Any, *, lines: IntArray, report: Report
) -> Readings:
    scale, offset = conversion(channel.unit, channel.quantity)
    kept = value * scale + offset
    low, high = physical_range(channel.quantity, channel.place)
    possible = np.isnan(kept) | ((kept >= low) & (kept <= high))
    report.refuse(lines[~possible], f"value is impossible for {channel.quantity}")
    return Readings.of(time_ms[possible], kept[possible])
