"""The embedded broker, a real one."""

from contextlib import ExitStack
from pathlib import Path

import pytest

from collecting import FLOW, Collecting, publish
from collector.errors import BrokerError
from collector.files.settings import BROKER_PASSWORD, BrokerSettings, Settings
from collector.mqtt.broker import start_broker
from servers import answers, free_port, program, wait_for


def settings(tmp_path: Path, **broker: object) -> Settings:
    chosen = BrokerSettings(**({"port": free_port()} | broker))  # type: ignore[arg-type]
    return Settings(broker=chosen, folder=tmp_path)


def test_embedded_broker_carries_readings(tmp_path: Path, cleanup: ExitStack) -> None:
    """A reading published to it reaches the store."""
    program("mosquitto")
    chosen = settings(tmp_path)
    broker = start_broker(chosen, tmp_path / "broker")
    cleanup.callback(broker.stop)
    port = chosen.broker.used_port
    one = Collecting(BrokerSettings(host="127.0.0.1", port=port), tmp_path / "s.sqlite")
    cleanup.callback(one.stop)
    wait_for(lambda: one.live.subscribed, what="the subscription")
    publish(port, ("cellar/pipe-1", "48.5"))
    wait_for(lambda: one.values(FLOW) == [48.5], what="the reading")


def test_missing_mosquitto_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where it is not installed, the words say what to install or to set."""
    monkeypatch.setattr("collector.mqtt.broker.shutil.which", lambda *_args, **_more: None)
    with pytest.raises(BrokerError, match=r"apt-get install mosquitto.*\[broker\] host"):
        start_broker(settings(tmp_path), tmp_path / "broker")


def test_stopped_broker_is_gone(tmp_path: Path) -> None:
    """Stopping ends the child and frees the port."""
    program("mosquitto")
    chosen = settings(tmp_path)
    broker = start_broker(chosen, tmp_path / "broker")
    assert broker.alive()
    broker.stop()
    assert not broker.alive()
    assert not answers(chosen.broker.used_port)


def test_open_to_the_network_needs_a_password(tmp_path: Path) -> None:
    """Without user and password the broker listens to this machine only."""
    with pytest.raises(BrokerError, match="let anybody on the network in"):
        start_broker(settings(tmp_path, listen="0.0.0.0"), tmp_path / "broker")


def test_password_is_asked_for(
    tmp_path: Path, cleanup: ExitStack, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With a user set, a client without password is refused, one with it let in."""
    program("mosquitto")
    monkeypatch.setenv(BROKER_PASSWORD, "keys")
    chosen = settings(tmp_path, username="cellar")
    broker = start_broker(chosen, tmp_path / "broker")
    cleanup.callback(broker.stop)
    users = (tmp_path / "broker" / "broker.users").read_text()
    assert "keys" not in users
    port = chosen.broker.used_port
    stranger = Collecting(BrokerSettings(host="127.0.0.1", port=port), tmp_path / "a.sqlite")
    cleanup.callback(stranger.stop)
    wait_for(lambda: "refuses us" in (stranger.live.trouble or ""), what="the refusal")
    known = BrokerSettings(host="127.0.0.1", port=port, username="cellar", client_id="known")
    friend = Collecting(known, tmp_path / "b.sqlite")
    cleanup.callback(friend.stop)
    wait_for(lambda: friend.live.subscribed, what="the subscription")


def test_child_of_a_killed_parent_is_ended(tmp_path: Path, cleanup: ExitStack) -> None:
    """After kill -9 of the program its broker lives on; the next start takes its place."""
    program("mosquitto")
    chosen = settings(tmp_path)
    orphan = start_broker(chosen, tmp_path / "broker")
    cleanup.callback(orphan.stop)
    broker = start_broker(chosen, tmp_path / "broker")
    cleanup.callback(broker.stop)
    assert broker.alive()
    wait_for(lambda: not orphan.alive(), what="the orphan's end")


def test_taken_port_is_told(tmp_path: Path, cleanup: ExitStack) -> None:
    """A port in use names the setting to change."""
    program("mosquitto")
    chosen = settings(tmp_path)
    broker = start_broker(chosen, tmp_path / "one")
    cleanup.callback(broker.stop)
    with pytest.raises(BrokerError, match="taken by another program; set"):
        start_broker(chosen, tmp_path / "two")
