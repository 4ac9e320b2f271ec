"""The whole process: one at a time on a store, embedded broker, clean end."""

import os
import signal
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from collecting import FLOW, PLANT, publish
from collector.errors import StoreUnavailableError
from collector.files.settings import BrokerSettings, Settings
from collector.installation.site import Site
from collector.notify.notify import tell
from collector.process import Service, strangers
from collector.store.protocol import clock_ms
from servers import answers, free_port, program, wait_for


@pytest.mark.smoke
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


def test_renamed_plant_is_told_of_the_readings_it_left_behind(tmp_path: Path) -> None:
    """A new name is another address: what was kept under the old one must not vanish unseen."""
    program("mosquitto")
    settings = Settings(broker=BrokerSettings(port=free_port()), folder=tmp_path)
    with closing(Site.open([PLANT], settings)) as site:
        site.store.write([(FLOW, 1_768_446_000_000, 47.5)])
    with Service([replace(PLANT, name="Quay House")], settings) as service:
        (told,) = [e.words for e in service.site.journal.events() if e.what == "strangers"]
    assert "readings of plant 'quay' that no plant file names now (boiler.flow)" in told
    assert strangers([FLOW], [PLANT]) == {}


def test_plant_file_left_out_is_told_in_journal_and_notice(tmp_path: Path) -> None:
    """A typo in one of many files: the event names it, and its readings are no strangers."""
    program("mosquitto")
    settings = Settings(broker=BrokerSettings(port=free_port()), folder=tmp_path)
    with closing(Site.open([PLANT], settings)) as site:
        site.store.write([("mill/boiler.flow", 1_768_446_000_000, 47.5)])
    problem = "plants/mill.toml:3: [plant], key 'timezon': is unknown"
    with Service([PLANT], settings, jobs=(), left_out=[problem]) as service:
        tell(service.site, clock_ms())
        events = service.site.journal.events()
    (told,) = [e.words for e in events if e.what == "left_out"]
    assert problem in told
    assert [e.words for e in events if e.what == "own"] == ["Stokehold leaves a plant out"]
    assert not any(e.what == "strangers" for e in events)
    with Service([PLANT], settings, jobs=()) as service:
        tell(service.site, clock_ms())
        newest = next(e.words for e in service.site.journal.events() if e.what == "own")
    assert newest == "Stokehold watches every plant again"


def test_embedded_broker_that_dies_is_started_again(tmp_path: Path) -> None:
    """A system short of memory ends the broker: collecting goes on by itself."""
    program("mosquitto")
    settings = Settings(broker=BrokerSettings(port=free_port()), folder=tmp_path)
    with Service([PLANT], settings) as service:
        wait_for(lambda: service.site.live.subscribed, what="the subscription")
        os.kill(int((tmp_path / "stokehold.broker/broker.pid").read_text()), signal.SIGKILL)
        wait_for(lambda: not service.site.live.connected_since_ms, what="the broker's end")
        wait_for(lambda: service.site.live.connected_since_ms, what="the broker's return")
        publish(settings.broker.used_port, ("cellar/pipe-1", "48.5"))
        wait_for(lambda: FLOW in service.site.live.latest, what="the reading")
