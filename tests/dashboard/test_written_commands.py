"""Every command that the texts show is run as it stands there, on a small plant."""

import io
import re
import shlex
import shutil
import signal
import threading
from collections.abc import Iterator
from pathlib import Path

import orjson
import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from PIL import Image

from collector.files.plant_file import load_plant
from collector.files.settings import load_settings
from dashboard.cli import COMMANDS, main, parser
from servers import Mosquitto, free_port

ROOT = Path(__file__).parents[2]
TEXTS = sorted(p for p in (*ROOT.glob("*.md"), *ROOT.glob("*/README.md")))
SAMPLE = ROOT / "sample_logs/swap"
LAST_DAY = "2026-03-15T00:00:00Z"

FIELDS = ("power", "energy", "voltage", "current", "power_factor", "temperature", "value")
"""Fields that the sample plant's messages hold."""

SMALLER = (
    (r"--seconds \d+", "--seconds 1"),
    (r"--live", "--live --seconds 1"),
    (r"^demo$", f"demo --days 1 --minutes 0.02 --port {free_port()} --broker-port {free_port()}"),
    (r"^run .*", r"\g<0> --minutes 0.02"),
    (r"^rehearse .*--out (\w+)", r"rehearse stall --days 3 --no-year --parquet --out \1"),
    (r"--pictures", "stall --pictures"),
)
"""What a test changes in a command: shorter times, one small house and ports of its own."""

NOT_THERE = {
    "survey": ("plant.toml",),
    "restore": ("plant.toml", "stokehold*.sqlite*"),
}
"""What a command makes, and what must therefore not be there before."""

ELSEWHERE = {"rehearse --samples sample_logs": "tests/dashboard/test_rehearsal_commands.py"}
"""What takes minutes, and the test that runs it with a part played."""

TELLS = {"health", "score", "check", "saving", "mode"}
"""Commands that may end with status 1: the sample logs hold bad rows and faults on purpose."""


def commands(text: Path) -> Iterator[tuple[str, ...]]:
    """The program's commands in each indented block of a text."""
    for block in re.findall(r"(?:^ {4,}\S.*\n)+", text.read_text(encoding="utf-8"), re.MULTILINE):
        if found := tuple(re.findall(r"^ +stokehold (.*)$", block, re.MULTILINE)):
            yield found


BLOCKS = {f"{p.relative_to(ROOT)} {k}": b for p in TEXTS for k, b in enumerate(commands(p))}


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    """A broker that the plant's sensors publish to all the while."""
    made = Mosquitto(tmp_path_factory.mktemp("broker"))
    stop = threading.Event()
    sensors = threading.Thread(target=publish, args=(made.port, stop))
    sensors.start()
    yield made
    stop.set()
    sensors.join()
    made.stop(hard=True)


def publish(port: int, stop: threading.Event) -> None:
    """Readings on every topic of the sample plant, several times a second."""
    topics = {c.topic for c in load_plant(SAMPLE / "plant.toml").channels if c.topic}
    message = orjson.dumps(dict.fromkeys(FIELDS, 20.5))
    client = Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    while not stop.wait(0.2):
        for topic in topics:
            client.publish(topic, message)
    client.loop_stop()


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory, broker: Mosquitto) -> Path:
    """A folder with all that the texts take for granted, as their reader would have it."""
    folder = tmp_path_factory.mktemp("house")
    shutil.copytree(ROOT / "sample_logs", folder / "sample_logs")
    shutil.copytree(SAMPLE, folder / "plants", ignore=lambda *_: ["log.csv.gz", "truth.json"])
    shutil.copy(SAMPLE / "plant.toml", folder)
    (folder / "settings.toml").write_text(
        f'[broker]\nhost = "127.0.0.1"\nport = {broker.port}\n[web]\nport = {free_port()}\n'
        '[notify]\nmqtt_topic = "house/notices"\n'
    )
    Image.new("RGB", (8, 8)).save(folder / "plate.jpg")
    (folder / "pump.csv").write_text(
        "flow_m3h,head_m,power_w\n2,4,45\n1.5,3.5,28\n1,3,17\n0.5,2.5,10\n"
    )
    files = ["--plant", str(folder / "plant.toml"), "--settings", str(folder / "settings.toml")]
    main(["import", str(SAMPLE / "log.csv.gz"), *files])
    main(["export", str(folder / "old.csv.gz"), *files, "--from", LAST_DAY])
    return folder


def smaller(written: str, settings: Path) -> list[str]:
    """A command as it is run here: small, with the broker and the ports of the test."""
    parser(written.split(maxsplit=1)[0]).parse_args(shlex.split(written, comments=True))
    for pattern, instead in SMALLER:
        written = re.sub(pattern, instead, written)
    words = shlex.split(written, comments=True)
    broker = load_settings(settings).broker
    if "--broker" in words:
        at = words.index("--broker")
        words[at : at + 2] = ["--broker", str(broker.host), "--port", str(broker.port)]
    if words[0] == "run" and "--settings" not in words:
        words += ["--settings", str(settings)]
    return words


@pytest.fixture
def signals_kept() -> Iterator[None]:
    """`run` and `demo` listen for signals; afterwards they are the test runner's again."""
    kept = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    yield
    for number, handler in kept.items():
        signal.signal(number, handler)


class Runner:
    """Runs commands in a folder; the one small house is played once and then copied."""

    def __init__(self) -> None:
        self._played: Path | None = None

    def run(self, words: list[str], folder: Path) -> int:
        """Exit status of a command."""
        for pattern in NOT_THERE.get(words[0], ()):
            for there in folder.glob(pattern):
                there.unlink()
        is_play = words[0] == "rehearse" and "--out" in words
        if is_play and self._played:
            shutil.copytree(self._played, folder / words[-1])
            return 0
        status = main(words)
        if is_play:
            self._played = folder / words[-1]
        return status


@pytest.fixture(scope="module")
def runner() -> Runner:
    return Runner()


@pytest.mark.usefixtures("signals_kept")
@pytest.mark.parametrize("name", BLOCKS)
def test_commands_of_a_text_do_what_they_say(
    name: str, house: Path, runner: Runner, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each ends well, in the order in which they stand; only a finding or a bad row may be told."""
    folder = tmp_path / "here"
    shutil.copytree(house, folder)
    monkeypatch.chdir(folder)
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    for written in BLOCKS[name]:
        if written in ELSEWHERE:
            continue
        words = smaller(written, folder / "settings.toml")
        status = runner.run(words, folder)
        assert status == 0 or (status == 1 and words[0] in TELLS), words


def test_every_command_is_written_somewhere() -> None:
    """No command that no text shows."""
    shown = {command.split()[0] for block in BLOCKS.values() for command in block}
    assert shown == {command.name for command in COMMANDS}


@pytest.mark.parametrize(("command", "test"), ELSEWHERE.items())
def test_what_is_left_to_another_test_is_there(command: str, test: str) -> None:
    """Its option stands in that test."""
    option = next(word for word in command.split() if word.startswith("--"))
    assert f'"{option}"' in (ROOT / test).read_text()
