"""Runs the README's commands on a bare machine and looks at what they do; see bare.sh.

Needs nothing but Python itself. As root, then as an ordinary user in a path with a space:
``deploy/start.sh`` must show the demo's live values, log nothing above INFO and end cleanly.
"""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

USER, AS_ROOT, AS_USER = "warden", Path("/root/stokehold"), Path("/home/warden/the house")
INSTALL_S, FIRST_PAGE_S, END_S = 1200.0, 30.0, 600.0
LOUD = re.compile(r"\b(WARNING|ERROR|CRITICAL)\b|Traceback")


class FailedError(Exception):
    """Something is not as a newcomer should meet it."""


def say(words: str) -> None:
    """Tell what goes on, with the seconds since the beginning."""
    print(f"bare: {time.monotonic() - BEGAN:5.0f} s  {words}", file=sys.stderr, flush=True)


BEGAN = time.monotonic()


def free_port() -> int:
    """Give a port nobody listens on: this root shares the network of the machine around it."""
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Demo:
    """``sh deploy/start.sh`` at work, with what it has said so far."""

    def __init__(self, folder: Path, ports: tuple[int, int], *, user: bool = False) -> None:
        self.ports = ports
        self._log = Path(f"/tmp/demo-{time.monotonic_ns()}.log")
        line = ["sh", "deploy/start.sh", "--minutes", "1"]
        line += ["--port", str(ports[0]), "--broker-port", str(ports[1])]
        home = {"HOME": f"/home/{USER}"} if user else {}
        with self._log.open("wb") as log:
            self.process = subprocess.Popen(
                line,
                cwd=folder,
                stdout=log,
                stderr=log,
                stdin=subprocess.DEVNULL,
                env=os.environ | home,
                start_new_session=True,
                **({"user": USER, "group": USER, "extra_groups": []} if user else {}),
            )

    def said(self) -> str:
        """Everything it printed."""
        return self._log.read_text(errors="replace")

    def until(self, holds: Callable[[], object], seconds: float, what: str) -> None:
        """Wait for something; the end of the process ends the waiting too."""
        end = time.monotonic() + seconds
        while time.monotonic() < end and self.process.poll() is None:
            if holds():
                return
            time.sleep(0.5)
        raise FailedError(f"no {what} within {seconds:.0f} s; it said:\n{self.said()}")

    def interrupt(self) -> None:
        """Press Ctrl-C: the terminal sends it to the whole group."""
        os.killpg(self.process.pid, signal.SIGINT)

    def ended(self, *statuses: int) -> None:
        """Wait for the end and judge it."""
        try:
            status = self.process.wait(END_S)
        except subprocess.TimeoutExpired as error:
            raise FailedError(f"it does not end; it said:\n{self.said()}") from error
        if status not in statuses:
            raise FailedError(f"it ended with {status}; it said:\n{self.said()}")
        if LOUD.search(self.said()):
            raise FailedError(f"it complained:\n{self.said()}")


def fetched(port: int, path: str, content: object = None) -> str:
    """Answer of the pages, empty while they do not answer."""
    body = None if content is None else json.dumps(content).encode()
    asked = urllib.request.Request(
        f"http://127.0.0.1:{port}{path}", body, {"Content-Type": "application/json"}
    )
    direct = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with closing(direct.open(asked, timeout=20)) as answer:
            return str(answer.read().decode())
    except OSError:
        return ""


def page(port: int) -> str:
    """First page as the browser gets it: the parts its script asks for, as JSON."""
    told = fetched(port, "/_dash-dependencies")
    for one in json.loads(told) if told else ():
        if "page.children" in one["output"] and any(i["id"] == "address" for i in one["inputs"]):
            given = {"pathname": "/", "search": "", "n_intervals": 0}
            inputs = [i | {"value": given[i["property"]]} for i in one["inputs"]]
            outputs = [
                dict(zip(("id", "property"), name.split("."), strict=True))
                for name in one["output"].strip(".").split("...")
            ]
            asked = {
                "output": one["output"],
                "outputs": outputs,
                "inputs": inputs,
                "changedPropIds": ["address.pathname"],
                "state": [],
            }
            return fetched(port, "/_dash-update-component", asked)
    return ""


def live_values(port: int) -> set[str]:
    """Readings shown on the first page that are seconds old, as the drawing marks them."""
    text = page(port).encode().decode("unicode_escape", errors="replace")
    marked = r'class="value" data-channel="([\w.]+)"><title>[^<]*?\b\d+ s old</title>([-\d.]+)'
    return {f"{channel}={value}" for channel, value in re.findall(marked, text)}


def see_demo(folder: Path, *, user: bool) -> None:
    """One demo from its start to its own end."""
    ports = free_port(), free_port()
    demo = Demo(folder, ports, user=user)
    demo.until(lambda: "Preparing the demo" in demo.said(), INSTALL_S, "end of the installation")
    say("installed: " + size_of(folder / ".venv"))
    began = time.monotonic()
    demo.until(lambda: fetched(ports[0], "/"), 10 * FIRST_PAGE_S, "first page")
    took = time.monotonic() - began
    say(f"first page {took:.0f} s after the installation (meant: within {FIRST_PAGE_S:.0f} s)")
    demo.until(lambda: len(live_values(ports[0])) >= 6, 150.0, "six live values on the page")
    first = live_values(ports[0])
    demo.until(lambda: live_values(ports[0]) - first, 150.0, "change of the values shown")
    say(f"live values: {', '.join(sorted(live_values(ports[0])))}")
    second = Demo(folder, ports, user=user)
    second.ended(2)
    if "is taken" not in second.said():
        raise FailedError(f"a second start does not say that the port is taken:\n{second.said()}")
    say("a second start says that the port is taken")
    demo.until(lambda: "history is there" in demo.said(), END_S, "whole history")
    demo.ended(0)
    say("history came, a minute passed, nothing above INFO was logged, the end was clean")


def interrupted(folder: Path) -> None:
    """Ctrl-C in the middle of the installation, and in the middle of the laying-in."""
    ports = free_port(), free_port()
    demo = Demo(folder, ports, user=True)
    demo.until(lambda: "Installing Python packages" in demo.said(), INSTALL_S, "installation")
    time.sleep(8)
    demo.interrupt()
    demo.ended(130)
    say("an interrupted installation ended: " + demo.said().splitlines()[-1])
    demo = Demo(folder, ports, user=True)
    demo.until(lambda: "Laying in" in demo.said(), INSTALL_S, "laying-in of the history")
    demo.interrupt()
    demo.ended(0, 130)
    say("the next start mended it; Ctrl-C during the laying-in of history ended cleanly")


def size_of(folder: Path) -> str:
    """Megabytes of a folder."""
    told = subprocess.run(["du", "-sm", folder], capture_output=True, text=True, check=True)
    return f"{told.stdout.split()[0]} MB"


def main() -> int:
    """Everything in turn."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        say("sh deploy/start.sh as root")
        see_demo(AS_ROOT, user=False)
        subprocess.run(["useradd", "--create-home", USER], check=True, stderr=subprocess.DEVNULL)
        subprocess.run(["chown", "-R", f"{USER}:", f"/home/{USER}"], check=True)
        subprocess.run(["chmod", "-R", "a+rwX", "/var/cache/pip"], check=True)
        say("sh deploy/start.sh as an ordinary user, in a path with a space")
        interrupted(AS_USER)
        see_demo(AS_USER, user=True)
        say("sh deploy/test.sh -m smoke as root")
        subprocess.run(["sh", "deploy/test.sh", "-m", "smoke"], cwd=AS_ROOT, check=True)
    except (FailedError, subprocess.CalledProcessError) as error:
        say(f"FAILED: {error}")
        return 1
    say("all is well")
    return 0


sys.exit(main())
