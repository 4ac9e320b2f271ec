"""Real servers for the tests: each on a free loopback port, in a folder of its own."""

import contextlib
import getpass
import os
import shutil
import socket
import subprocess
import threading
import time
import urllib.request
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest


def free_port() -> int:
    """Give a loopback port that nothing listens on."""
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def program(name: str, first: str = "") -> str:
    """Path of a program, or leave the test out and say why; under CI that is a failure."""
    places = f"{first}:{os.environ['PATH']}:/usr/sbin:/usr/local/sbin"
    found = shutil.which(name, path=places)
    if found:
        return found
    message = f"{name} is not installed; 'sh deploy/test.sh' as root installs it"
    if os.environ.get("STOKEHOLD_NEEDS_ALL"):
        pytest.fail(message)
    pytest.skip(message)


def wait_for(condition: Callable[[], object], seconds: float = 20.0, what: str = "") -> None:
    """Wait until something becomes true, or fail naming it."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return
        time.sleep(0.02)
    pytest.fail(f"waited {seconds} s in vain for {what or condition}")


def answers(port: int) -> bool:
    """Whether something accepts connections on a loopback port."""
    with closing(socket.socket()) as probe:
        probe.settimeout(0.5)
        return probe.connect_ex(("127.0.0.1", port)) == 0


class Mosquitto:
    """A real broker that a test can stop, kill and start again on the same port."""

    def __init__(self, folder: Path, extra: str = "") -> None:
        self.port = free_port()
        self.host = "127.0.0.1"
        self._folder = folder
        self._config = folder / "broker.conf"
        self._config.write_text(
            f"listener {self.port} 127.0.0.1\nuser {getpass.getuser()}\npersistence true\n"
            f"persistence_location {folder}/\nautosave_interval 1\n"
            "max_queued_messages 0\n" + (extra or "allow_anonymous true\n")
        )
        self.start()

    def start(self) -> None:
        """Start, and wait until it answers."""
        command = [program("mosquitto"), "-c", str(self._config)]
        self._process = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        wait_for(lambda: answers(self.port), what="the broker")

    def stop(self, *, hard: bool = False) -> None:
        """Stop it, or kill it."""
        if hard:
            self._process.kill()
        else:
            self._process.terminate()
        self._process.wait(10)


class TimeSeriesServer:
    """A real time-series server that a test can kill and start again on the same data."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self._folder = folder
        self.start()

    def start(self) -> None:
        """Start, and wait until it answers."""
        self._process = subprocess.Popen(
            [
                program("victoria-metrics"),
                f"-storageDataPath={self._folder}",
                "-retentionPeriod=100y",
                "-dedup.minScrapeInterval=1ms",
                f"-httpListenAddr=127.0.0.1:{self.port}",
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        wait_for(lambda: answers(self.port), what="the time-series server")

    def flush(self) -> None:
        """Make written readings visible."""
        with closing(urllib.request.urlopen(f"{self.url}/internal/force_flush")) as answer:
            answer.read()

    def stop(self, *, hard: bool = False) -> None:
        """Stop it, or kill it."""
        if hard:
            self._process.kill()
        else:
            self._process.terminate()
        self._process.wait(20)


class Postgres:
    """A real PostgreSQL on a socket of its own, run by the user it insists on."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self._data = folder / "data"
        self._tools = Path(program("initdb", _POSTGRES)).resolve().parent
        self._as = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        self._databases = 0
        if self._as:
            for path in (folder, *folder.parents[:3]):
                path.chmod(0o755)
            shutil.chown(folder, "postgres")
        self._run("initdb", "-D", str(self._data), "-U", "stokehold", "-A", "trust", "-N")
        options = f"-p {self.port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync=off"
        self._run(
            "pg_ctl", "-D", str(self._data), "-o", options, "-l", f"{folder}/log", "-w", "start"
        )

    def _run(self, tool: str, *arguments: str) -> None:
        command = [*self._as, str(self._tools / tool), *arguments]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    def fresh_database(self) -> str:
        """Make an empty database and give its address."""
        self._databases += 1
        name = f"journal{self._databases}"
        self._run("createdb", "-h", "127.0.0.1", "-p", str(self.port), "-U", "stokehold", name)
        return f"postgresql+psycopg://stokehold@127.0.0.1:{self.port}/{name}"

    def stop(self) -> None:
        """End it; where another run of the tests cleared its folder away, it ends by itself."""
        if self._data.exists():
            self._run("pg_ctl", "-D", str(self._data), "-m", "immediate", "-w", "stop")


_POSTGRES = ":".join(sorted(map(str, Path("/usr/lib/postgresql").glob("*/bin")), reverse=True))


BROWSER_FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


class OldBroker:
    """Stands before a broker: waits for ever on a greeting in MQTT 5, passes on the older ones."""

    def __init__(self, behind: int) -> None:
        self._behind = behind
        self._held: list[socket.socket] = []
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._door.getsockname()[1])
        threading.Thread(target=self._answer, daemon=True).start()

    def _answer(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                guest, _ = self._door.accept()
                self._held.append(guest)
                greeting = guest.recv(4096)
                if greeting.partition(b"\x00\x04MQTT")[2][:1] == b"\x05":
                    continue
                inner = socket.create_connection(("127.0.0.1", self._behind))
                self._held.append(inner)
                inner.sendall(greeting)
                for one, other in ((guest, inner), (inner, guest)):
                    threading.Thread(target=_pass_on, args=(one, other), daemon=True).start()

    def stop(self) -> None:
        """Hang up on everybody."""
        self._door.close()
        for held in self._held:
            held.close()


def _pass_on(one: socket.socket, other: socket.socket) -> None:
    with contextlib.suppress(OSError):
        while data := one.recv(65536):
            other.sendall(data)
