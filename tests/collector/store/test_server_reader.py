"""Tests of the time-series server opened to be read only."""

import uuid
from pathlib import Path

from collector.files.settings import StoreSettings
from collector.store.protocol import ALL_TIME, clock_ms
from collector.store.server import ServerStore
from collector.store.server_reader import ServerReader
from collector.store.spool import Spool, waiting_in
from servers import TimeSeriesServer, wait_for

A = "quay/heating.power"


def test_a_reader_tells_what_waits_and_sends_nothing(
    shared_timeseries: TimeSeriesServer, tmp_path: Path
) -> None:
    """Readings on the server and those still in the collector's spool, which stays as it is."""
    settings = StoreSettings(
        kind="server", url=shared_timeseries.url, bucket="r" + uuid.uuid4().hex[:8]
    )
    spool, now = tmp_path / "s.spool.sqlite", clock_ms() - 60_000
    store = ServerStore(settings, spool)
    store.write([(A, now, 1.0)])
    wait_for(lambda: len(store._spool) == 0, what="the first batch to be sent")
    store.close()
    held = Spool(spool)
    held.put([(A, now + 10, 2.0)])
    reader = ServerReader(settings, spool)
    shared_timeseries.flush()
    assert reader.read(A, ALL_TIME).value.tolist() == [1.0, 2.0]
    assert reader.latest() == {}  # it was told of no channel
    reader.close()
    assert len(held) == 1
    assert waiting_in(spool).batches[-1].sent_ms is None
    held.close()


def test_a_reader_makes_no_spool(shared_timeseries: TimeSeriesServer, tmp_path: Path) -> None:
    """A box that only reads holds nothing of its own."""
    settings = StoreSettings(kind="server", url=shared_timeseries.url, bucket="none")
    reader = ServerReader(settings, tmp_path / "s.spool.sqlite")
    assert not len(reader.read(A, ALL_TIME))
    reader.close()
    assert list(tmp_path.iterdir()) == []
