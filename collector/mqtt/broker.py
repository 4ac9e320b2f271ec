"""The embedded broker, for plants without one: Mosquitto as a child process."""

import contextlib
import getpass
import ipaddress
import logging
import os
import shutil
import signal
import socket
import subprocess
import threading
import time
from functools import partial
from pathlib import Path

from collector.errors import BrokerError
from collector.files.settings import BROKER_PASSWORD, BrokerSettings, Settings

_log = logging.getLogger(__name__)

_START_S = 15.0
_LOOK_S = 2.0
_CONFIG, _PID = "broker.conf", "broker.pid"


def start_broker(settings: Settings, folder: Path) -> "MosquittoChild":
    """Start the embedded broker and wait until it answers.

    Parameters
    ----------
    settings : Settings
        Where to listen, and with which user.
    folder : Path
        Where it keeps its files.

    Raises
    ------
    BrokerError
        It would be open to the network without a password, the port is taken,
        Mosquitto is not installed, or it does not start.
    """
    chosen = settings.broker
    password = settings.secret(BROKER_PASSWORD, chosen.password_file)
    _check_open(chosen, password)
    folder.mkdir(parents=True, exist_ok=True)
    _end_orphan(folder / _PID, folder / _CONFIG)
    if _answers(chosen):
        raise BrokerError(
            f"port {chosen.used_port} on {chosen.listen} is taken by another program; set "
            "[broker] port to a free one, or [broker] host to use that broker"
        )
    broker = MosquittoChild(_program(), folder, chosen, password)
    _wait(broker, chosen)
    return broker


def _program() -> str:
    path = os.environ.get("PATH", os.defpath) + ":/usr/sbin:/usr/local/sbin"
    program = shutil.which("mosquitto", path=path)
    if program is None:
        raise BrokerError(
            "Mosquitto, the broker that comes with Stokehold's own plants, is not installed; "
            "install it (Debian: 'apt-get install mosquitto'), or set [broker] host to a broker "
            "that runs already"
        )
    return program


class TendedBroker:
    """An embedded broker that is started again should it end by itself.

    Where memory runs short the system ends what it likes; without a broker nothing is heard.

    Parameters
    ----------
    settings, folder : Settings, Path
        As for `start_broker`, whose errors it raises at first.
    """

    def __init__(self, settings: Settings, folder: Path) -> None:
        self._start = partial(start_broker, settings, folder)
        self._broker = self._start()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._tend, name="broker tender", daemon=True)
        self._thread.start()

    def alive(self) -> bool:
        """Whether it runs at this moment."""
        return self._broker.alive()

    def _tend(self) -> None:
        while not self._ending.wait(_LOOK_S):
            if self._broker.alive():
                continue
            _log.error("broker=mosquitto ended by itself, starting it again")
            try:
                self._broker.stop()
                self._broker = self._start()
            except (BrokerError, OSError):
                _log.exception("broker=mosquitto cannot be started again, trying on")

    def stop(self) -> None:
        """End it for good."""
        self._ending.set()
        self._thread.join()
        self._broker.stop()


def _check_open(chosen: BrokerSettings, password: str | None) -> None:
    try:
        loopback = ipaddress.ip_address(chosen.listen).is_loopback
    except ValueError:
        loopback = chosen.listen == "localhost"
    if not loopback and not (chosen.username and password):
        raise BrokerError(
            f"[broker] listen = '{chosen.listen}' would let anybody on the network in; set "
            f"username, and the password in {BROKER_PASSWORD} or password_file"
        )


def _answers(chosen: BrokerSettings) -> bool:
    host = "127.0.0.1" if chosen.listen in ("0.0.0.0", "::") else chosen.listen  # noqa: S104
    with contextlib.closing(socket.socket()) as probe:
        probe.settimeout(1.0)
        return probe.connect_ex((host, chosen.used_port)) == 0


def _wait(broker: "MosquittoChild", chosen: BrokerSettings) -> None:
    end = time.monotonic() + _START_S
    while time.monotonic() < end and broker.alive():
        if _answers(chosen):
            return
        time.sleep(0.05)
    broker.stop()
    raise BrokerError(
        f"the broker did not start on {chosen.listen}:{chosen.used_port}; see its "
        "log, or set [broker] host to use another"
    )


class MosquittoChild:
    """Mosquitto as a child process, with a configuration made here."""

    def __init__(
        self, program: str, folder: Path, chosen: BrokerSettings, password: str | None
    ) -> None:
        config = folder / _CONFIG
        self._pid = folder / _PID
        config.write_text(_configuration(folder, chosen, password), encoding="utf-8")
        self._log = (folder / "broker.log").open("ab")
        self._process = subprocess.Popen(  # noqa: S603 - a fixed program on our own file
            [program, "-c", str(config)],
            stdout=self._log,
            stderr=self._log,
            start_new_session=True,  # an interrupt from the keyboard is for us, not for it
        )
        self._pid.write_text(str(self._process.pid))

    def alive(self) -> bool:
        """Whether the child still runs."""
        return self._process.poll() is None

    def stop(self) -> None:
        """End the child."""
        self._process.terminate()
        try:
            self._process.wait(5)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._log.close()
        self._pid.unlink(missing_ok=True)


def _end_orphan(pid: Path, config: Path) -> None:
    """End a child that outlived a killed parent, known by its configuration file."""
    with contextlib.suppress(OSError, ValueError):
        number = int(pid.read_text())
        if str(config).encode() in Path(f"/proc/{number}/cmdline").read_bytes():
            os.kill(number, signal.SIGTERM)
            end = time.monotonic() + 5
            while time.monotonic() < end and Path(f"/proc/{number}").exists():
                time.sleep(0.05)


def _configuration(folder: Path, chosen: BrokerSettings, password: str | None) -> str:
    lines = [
        f"listener {chosen.used_port} {chosen.listen}",
        "persistence true",
        f"persistence_location {folder.absolute()}/",
        "autosave_interval 30",
        "max_inflight_messages 0",
        "max_queued_messages 200000",
        f"user {getpass.getuser()}",
    ]
    if chosen.username and password:
        users = folder / "broker.users"
        _write_users(users, chosen.username, password)
        lines += ["allow_anonymous false", f"password_file {users.absolute()}"]
    else:
        lines.append("allow_anonymous true")
    return "\n".join(lines) + "\n"


def _write_users(users: Path, username: str, password: str) -> None:
    """Write the password file, hashed by Mosquitto's own tool, readable by us only."""
    users.touch(mode=0o600)
    users.write_text(f"{username}:{password}\n", encoding="utf-8")
    try:
        subprocess.run(["mosquitto_passwd", "-U", str(users)], check=True, capture_output=True)  # noqa: S603, S607
    except (OSError, subprocess.CalledProcessError) as error:
        users.unlink()
        raise BrokerError(
            "the broker's password could not be hashed; install the package 'mosquitto'"
        ) from error
