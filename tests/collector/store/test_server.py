"""What only the server store promises: nothing acknowledged is lost when the server dies."""

import threading
import time
from pathlib import Path

import numpy as np
import pytest

from analysis.base.time import Span
from analysis.readings.readings import Readings
from collector.errors import StoreUnavailableError
from collector.files.settings import Settings, StoreSettings
from collector.store.opening import open_store
from collector.store.protocol import ALL_TIME, clock_ms
from collector.store.server import ServerStore
from collector.store.server_query import (
    ExportDialect,
    FluxDialect,
    Http,
    Series,
    readings_from_annotated_csv,
)
from servers import TimeSeriesServer, wait_for

A = "quay/heating.power"


def test_server_killed_under_load_loses_and_doubles_nothing(
    timeseries: TimeSeriesServer, tmp_path: Path
) -> None:
    """After kill -9 and restart the server itself holds every batch exactly once."""
    settings = StoreSettings(kind="server", url=timeseries.url, bucket="load")
    store = ServerStore(settings, tmp_path / "spool.sqlite")
    start = clock_ms() - 3_600_000
    written: list[int] = []
    stop = threading.Event()

    def load() -> None:
        while not stop.is_set():
            n = len(written)
            batch = [(A, start + n + i, float(n + i)) for i in range(100)]
            store.write(batch)
            written.extend(t for _, t, _ in batch)
            time.sleep(0.005)

    writer = threading.Thread(target=load)
    writer.start()
    for _ in range(2):
        time.sleep(1.5)
        timeseries.stop(hard=True)
        time.sleep(0.7)
        timeseries.start()
    time.sleep(1.0)
    stop.set()
    writer.join()
    dialect = ExportDialect(Http(timeseries.url, None))

    def on_server() -> Readings:
        timeseries.flush()
        return dialect.read(Series("load_reading", "value", A), ALL_TIME)

    assert len(store.read(A, ALL_TIME)) == len(written)
    wait_for(lambda: len(on_server()) == len(written), 30, "all batches on the server")
    found = on_server()
    assert found.time_ms.tolist() == written
    assert found.value.tolist() == [float(i) for i in range(len(written))]
    store.close()


def test_readings_wait_while_the_server_is_away(
    timeseries: TimeSeriesServer, tmp_path: Path
) -> None:
    """Batches taken while the server is down are kept over our own restart and delivered."""
    settings = StoreSettings(kind="server", url=timeseries.url, bucket="away")
    timeseries.stop()
    store = ServerStore(settings, tmp_path / "spool.sqlite")
    now = clock_ms()
    store.write([(A, now, 1.0)])
    store.write([(A, now + 1, 2.0)])
    store.close()
    timeseries.start()
    store = ServerStore(settings, tmp_path / "spool.sqlite")
    wait_for(lambda: len(store._spool) == 0, what="the spool to empty")
    assert store.read(A, ALL_TIME).value.tolist() == [1.0, 2.0]
    store.close()


def test_server_away_says_what_to_do(tmp_path: Path) -> None:
    """Reading from a server that is not there names the address and the remedy."""
    settings = StoreSettings(kind="server", url="http://127.0.0.1:9", bucket="b")
    store = ServerStore(settings, tmp_path / "spool.sqlite")
    with pytest.raises(StoreUnavailableError, match=r"127.0.0.1:9.*start it, or check url"):
        store.read(A, ALL_TIME)
    store.close()


def test_open_store_refuses_retention_for_a_server(tmp_path: Path) -> None:
    """A server thins out by itself; the setting is refused, not ignored."""
    settings = Settings(store=StoreSettings(kind="server", raw_days=30), folder=tmp_path)
    with pytest.raises(Exception, match="own retention"):
        open_store(settings, [])


ANNOTATED = """\
#group,false,false,true,true,false,false,true,true,true\r
#datatype,string,long,dateTime:RFC3339,dateTime:RFC3339,dateTime:RFC3339,double,string,string,string\r
#default,_result,,,,,,,,\r
,result,table,_start,_stop,_time,_value,_field,_measurement,host\r
,,0,2020-02-18T22:00:00Z,2020-02-18T23:00:00Z,2020-02-18T22:18:22.123456789Z,15.43,usage,cpu,A\r
,,0,2020-02-18T22:00:00Z,2020-02-18T23:00:00Z,2020-02-18T22:20:00Z,59.25,usage,cpu,A\r
\r
#group,false,false,true,true,false,false,true,true,true\r
#datatype,string,long,dateTime:RFC3339,dateTime:RFC3339,dateTime:RFC3339,double,string,string,string\r
#default,_result,,,,,,,,\r
,result,table,_start,_stop,_time,_value,_field,_measurement,host\r
,,1,2020-02-18T22:00:00Z,2020-02-18T23:00:00Z,2020-02-18T22:19:00Z,52.62,usage,cpu,B\r
\r
"""
"""Form of the annotated CSV reference of InfluxDB 2, from memory; no such server is at hand."""


def test_readings_from_annotated_csv() -> None:
    """Tables with annotations and CRLF give their readings in order of time."""
    found = readings_from_annotated_csv(ANNOTATED)
    assert found.value.tolist() == [15.43, 52.62, 59.25]
    assert found.time_ms[0] == 1_582_064_302_123
    assert not len(readings_from_annotated_csv("\r\n"))


def test_readings_from_annotated_csv_error_is_told() -> None:
    """A refused query, which arrives as a table too, is an error."""
    answer = "#datatype,string,string\n#group,true,true\n#default,,\n,error,reference\n,bad,897\n"
    with pytest.raises(StoreUnavailableError, match="refused the query"):
        readings_from_annotated_csv(answer)


def test_flux_dialect_asks_for_its_series_only() -> None:
    """The query names bucket, span, measurement, field and channel."""
    asked: list[str] = []

    def ask(flux: str) -> str:
        asked.append(flux)
        return ANNOTATED

    dialect = FluxDialect(ask, "house")
    found = dialect.read(
        Series("house_reading", "value", A), Span(1_582_064_300_000, 1_582_064_350_000)
    )
    np.testing.assert_array_equal(found.value, [15.43, 52.62])
    for part in (
        'from(bucket: "house")',
        "start: time(v: 1582064300000000000)",
        'r._measurement == "house_reading"',
        'r._field == "value"',
        f'r.channel == "{A}"',
    ):
        assert part in asked[0]
