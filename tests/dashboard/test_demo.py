"""The demo as a person meets it in the shell: taken ports, Ctrl-C."""

import signal
import socket
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from dashboard.cli import main
from servers import free_port, program

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("option", ["--port", "--broker-port"])
def test_demo_names_the_port_that_is_taken(option: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A second demo ends at once, and says which option gives it another port."""
    with closing(socket.create_server(("127.0.0.1", 0))) as other:
        taken = str(other.getsockname()[1])
        free = {"--port": "--broker-port", "--broker-port": "--port"}[option]
        assert main(["demo", option, taken, free, str(free_port()), "--minutes", "0"]) == 2
    told = capsys.readouterr().err
    assert f"port {taken} is taken" in told
    assert f"with {option}" in told


def test_demo_ends_cleanly_at_the_keyboard_while_its_history_comes() -> None:
    """Live pages first; Ctrl-C during the laying-in leaves no trace of an error."""
    program("mosquitto")
    ports = ("--port", str(free_port()), "--broker-port", str(free_port()))
    line = [sys.executable, "-m", "dashboard", "demo", *ports]
    with subprocess.Popen(
        line, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as demo:
        assert demo.stdout is not None
        assert demo.stderr is not None
        said = [next(demo.stdout) for _ in range(3)]
        demo.send_signal(signal.SIGINT)
        assert demo.wait(120) in (0, 130)
        assert "http://127.0.0.1:" in said[1]
        assert "history" in said[2]
        assert demo.stderr.read().strip() in ("", "stokehold: stopped")
