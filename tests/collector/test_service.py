"""The whole process: one at a time on a store, embedded broker, clean end."""

from pathlib import Path

import pytest

from collecting import FLOW, PLANT, publish
from collector.errors import StoreUnavailableError
from collector.service import Service
from collector.settings import BrokerSettings, Settings
from servers import answers, free_port, program, wait_for


def test_service_collects_over_its_own_broker_and_ends_cleanly(tmp_path: Path) -> None:
    """Start, take a reading, refuse a second process, stop, start again with it still there."""
    program("mosquitto")
    settings = Settings(broker=BrokerSettings(port=free_port()), folder=tmp_path)
    port = settings.broker.used_port
    with Service([PLANT], settings) as service:
        wait_for(lambda: service.site.live.subscribed, what="the subscription")
        publish(port, ("cellar/pipe-1", "47.5"))
        wait_for(lambda: FLOW in service.site.live.latest, what="the reading")
        with pytest.raises(StoreUnavailableError, match="another stokehold already works"):
            Service([PLANT], settings).__enter__()
    assert not answers(port)
    with Service([PLANT], settings) as service:
        wait_for(lambda: FLOW in service.site.live.latest, what="the last reading known")
        assert service.site.live.latest[FLOW][1] == 47.5
        assert [e.what for e in service.site.journal.events()].count("started") == 2
