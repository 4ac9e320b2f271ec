"""Log files: what is written comes back, and bad rows cost nothing but themselves."""

import math
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.base.time import EARLIEST_MS
from analysis.plant.plant import Channel
from analysis.readings.readings import Readings
from collector.errors import LogFileError
from collector.files.log_file import BadRow, Report, load_log
from collector.files.log_writing import write_log

POWER = Channel(id="heating.power", of="heating", quantity="power", unit="kW")
FLOW = Channel(id="boiler.flow", of="boiler", quantity="temperature", unit="Cel", place="flow")
CHANNELS = {c.id: c for c in (POWER, FLOW)}
SUFFIXES = ["log.csv", "log.csv.gz", "log.parquet"]


def load(path: Path) -> tuple[dict[str, Readings], Report]:
    report = Report()
    return load_log(path, CHANNELS, report), report


@pytest.mark.parametrize("name", SUFFIXES)
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    values=st.lists(
        st.tuples(
            st.integers(EARLIEST_MS, 4_000_000_000_000),
            st.one_of(st.just(math.nan), st.floats(-4, 20_000)),
        ),
        max_size=30,
        unique_by=lambda row: row[0],
    )
)
def test_write_then_load_gives_the_same(
    tmp_path: Path, name: str, values: list[tuple[int, float]]
) -> None:
    """Any readings survive each form of file, unknown ones too, within the unit conversion."""
    readings = Readings.of([t for t, _ in values], [v for _, v in values])
    assert write_log(tmp_path / name, [(POWER, readings), (FLOW, Readings.empty())]) == len(values)
    found, report = load(tmp_path / name)
    back = found.get("heating.power", Readings.empty())
    assert back.time_ms.tolist() == readings.time_ms.tolist()
    np.testing.assert_allclose(back.value, readings.value, rtol=1e-11, atol=1e-300)
    assert report.words(tmp_path / name) == []


def test_bad_rows_are_named_by_line_and_the_rest_is_read(tmp_path: Path) -> None:
    """Every kind of broken row is reported with its line; good ones around it are kept."""
    path = tmp_path / "log.csv"
    path.write_bytes(
        b"\xef\xbb\xbftime,channel,value\r\n"
        b"2026-01-01T00:00:00Z,boiler.flow,60\r\n"
        b"2026-01-01T00:00:10,boiler.flow,61\r\n"
        b"yesterday,boiler.flow,61\r\n"
        b"2026-02-30T00:00:00Z,boiler.flow,61\r\n"
        b"2026-01-01T00:00:20Z,boiler.flow,warm\r\n"
        b"2026-01-01T00:00:30Z,boiler.flow\r\n"
        b"\r\n"
        b"2026-01-01T00:00:40Z,boiler.flow,1,2\r\n"
        b"2026-01-01T00:00:50Z,attic.flow,55\r\n"
        b"2026-01-01T00:01:00Z,boiler.flow,900\r\n"
        b"2026-01-01T00:01:10Z,boiler.flow,\xff\xfe\r\n"
        b"2026-01-01T01:01:20.5+01:00,boiler.flow,+6.2e1\r\n"
        b"2026-01-01T00:01:30Z,boiler.flow,\r\n"
        b"2026-01-01T00:00:00Z,boiler.flow,60.5"
    )
    found, report = load(path)
    start = 1_767_225_600_000
    flow = found["boiler.flow"]
    assert flow.time_ms.tolist() == [start, start + 80_500, start + 90_000]
    np.testing.assert_array_equal(flow.value, [60.5, 62.0, math.nan])
    assert sorted(row.line for row in report.shown) == [3, 4, 5, 6, 7, 8, 9, 11, 12]
    assert BadRow(6, "value is no number") in report.shown
    assert report.unknown_channels == {"attic.flow": 1}
    assert f"{path}:3: time is no RFC 3339 time with offset; row skipped" in report.words(path)
    assert report.rows == 14


@pytest.mark.parametrize(
    "stamp", ["0001-01-01T00:00:00Z", "1970-01-01T00:00:00Z", "9999-12-31T23:59:59Z"]
)
def test_clock_that_was_never_set_is_a_bad_row(tmp_path: Path, stamp: str) -> None:
    """A row of another age would stretch the span over centuries."""
    path = tmp_path / "log.csv"
    path.write_text(
        f"time,channel,value\n{stamp},boiler.flow,60\n2026-01-01T00:00:00Z,boiler.flow,61\n"
    )
    found, report = load(path)
    assert found["boiler.flow"].value.tolist() == [61.0]
    assert [row.line for row in report.shown] == [2]


@pytest.mark.parametrize("name", ["log.xlsx", "log.txt", "log.gz"])
def test_log_is_written_under_an_ending_that_tells_its_form(tmp_path: Path, name: str) -> None:
    """No CSV under the name of something else."""
    with pytest.raises(LogFileError, match=r"written as \.csv, \.csv\.gz or \.parquet"):
        write_log(tmp_path / name, [])
    assert not (tmp_path / name).exists()


def test_order_and_duplicates(tmp_path: Path) -> None:
    """Any order is read; of rows for one moment the last in the file wins."""
    path = tmp_path / "log.csv"
    path.write_text(
        "time,channel,value\n"
        "2026-01-01T00:00:20Z,boiler.flow,3\n"
        "2026-01-01T00:00:10Z,boiler.flow,2\n"
        "2026-01-01T00:00:20Z,boiler.flow,1\n"
    )
    found, _ = load(path)
    assert found["boiler.flow"].value.tolist() == [2.0, 1.0]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(st.binary(max_size=400))
def test_any_bytes_after_the_header_are_read_or_reported(tmp_path: Path, rubbish: bytes) -> None:
    """No content whatever stops the reading, and a good last row is always found."""
    path = tmp_path / "log.csv"
    path.write_bytes(b"time,channel,value\n" + rubbish + b"\n2026-01-01T00:00:00Z,boiler.flow,60\n")
    found, _ = load(path)
    assert 60.0 in found["boiler.flow"].value


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("log.csv", b"when,what,how\n", "first line must be 'time,channel,value'"),
        ("log.csv.gz", b"no gzip", "cannot be read"),
        ("log.parquet", b"no parquet", "cannot be read"),
    ],
)
def test_unusable_file_is_refused_in_one_line(
    tmp_path: Path, name: str, content: bytes, message: str
) -> None:
    """A file that is no log at all says so, with its path."""
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(LogFileError, match=message) as refused:
        load(path)
    assert str(path) in str(refused.value)
    with pytest.raises(LogFileError, match="cannot be read"):
        load(tmp_path / f"absent-{name}")


def test_parquet_without_zone_or_column_is_refused(tmp_path: Path) -> None:
    """Times of an unknown zone are not guessed at."""
    path = tmp_path / "log.parquet"
    naive = pa.array([0], pa.timestamp("ms"))
    pq.write_table(pa.table({"time": naive, "channel": ["boiler.flow"], "value": [1.0]}), path)
    with pytest.raises(LogFileError, match="no time zone"):
        load(path)
    pq.write_table(pa.table({"time": naive}), path)
    with pytest.raises(LogFileError, match="no column 'channel'"):
        load(path)


def test_typed_parquet_keeps_the_rules_of_text(tmp_path: Path) -> None:
    """Missing times and infinite values are refused with their row; a missing value is unknown."""
    path = tmp_path / "log.parquet"
    time = pa.array(
        [EARLIEST_MS * 1000 + us if us is not None else None for us in (0, None, 2000, 3000)],
        pa.timestamp("us", "Europe/Vienna"),
    )
    value = pa.array([50.0, 51.0, float("inf"), None])
    pq.write_table(pa.table({"time": time, "channel": ["boiler.flow"] * 4, "value": value}), path)
    found, report = load(path)
    assert found["boiler.flow"].time_ms.tolist() == [EARLIEST_MS, EARLIEST_MS + 3]
    assert np.array_equal(found["boiler.flow"].value, [50.0, np.nan], equal_nan=True)
    assert [row.line for row in report.shown] == [2, 3]


def test_parquet_text_with_holes_is_refused_row_by_row(tmp_path: Path) -> None:
    """A row without time or channel is told with its number, and costs no other."""
    path = tmp_path / "log.parquet"
    time = [f"2026-01-01T00:00:0{i}Z" if i != 1 else None for i in range(4)]
    channel = ["boiler.flow", "boiler.flow", None, "boiler.flow"]
    pq.write_table(pa.table({"time": time, "channel": channel, "value": [50.0] * 4}), path)
    found, report = load(path)
    assert len(found["boiler.flow"]) == 2
    assert sorted(report.shown) == [
        BadRow(2, "time is no RFC 3339 time with offset"),
        BadRow(3, "names no channel"),
    ]


def test_quotes_around_every_field_are_read(tmp_path: Path) -> None:
    """RFC 4180 section 2: fields may stand in quotes, as spreadsheets write them."""
    path = tmp_path / "log.csv"
    path.write_text('"time","channel","value"\n"2026-01-01T00:00:00Z","boiler.flow","60.5"\n')
    found, report = load(path)
    assert found["boiler.flow"].value.tolist() == [60.5]
    assert report.bad == 0


def test_damaged_gzip_is_refused_in_words(tmp_path: Path) -> None:
    """A byte that went wrong within the compressed part is no traceback."""
    path = tmp_path / "log.csv.gz"
    write_log(path, [(FLOW, Readings.of([EARLIEST_MS], [60.0]))])
    content = bytearray(path.read_bytes())
    content[10:14] = b"\xff\xff\xff\xff"
    path.write_bytes(content)
    with pytest.raises(LogFileError, match="cannot be read"):
        load(path)
