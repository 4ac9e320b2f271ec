"""The whole way of real readings: log file, replay, broker, collector, each store, answer."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from servers import Mosquitto, free_port, wait_for

ROOT = Path(__file__).parents[2]
PUMP_PLANT = """
[plant]
name = "Measured house"
timezone = "Europe/Berlin"
[[pump]]
id = "circulation"
drive = "electronic"
[[channel]]
id = "circulation.energy"
of = "circulation"
quantity = "energy"
unit = "kW.h"
topic = "house/circulation"
payload = "/energy"
"""
GAS_PLANT = """
[plant]
name = "Measured furnace"
timezone = "America/Vancouver"
[[boiler]]
id = "furnace"
fuel = "gas"
[[channel]]
id = "furnace.gas"
of = "furnace"
quantity = "fuel_volume"
unit = "L"
reports = "change"
"""


def stokehold(*arguments: object, status: int = 0) -> str:
    """Run one command to its end and give what it printed."""
    done = subprocess.run(
        [sys.executable, "-m", "dashboard", *map(str, arguments)],
        cwd=ROOT, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == status, done.stderr
    return done.stdout


def answered(*arguments: object, status: int = 0) -> Any:
    return json.loads(stokehold(*arguments, "--json", status=status))


@pytest.fixture
def running(cleanup: ExitStack) -> Callable[..., subprocess.Popen[str]]:
    """Start ``stokehold run`` as users do; it ends with the test."""

    def start(*arguments: object) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [sys.executable, "-m", "dashboard", "--verbose", "run", *map(str, arguments)],
            cwd=ROOT, stderr=subprocess.PIPE, text=True, env=os.environ | {"PYTHONUNBUFFERED": "1"},
        )  # fmt: skip
        assert process.stderr is not None
        cleanup.callback(process.stderr.close)
        cleanup.callback(process.wait, 20)
        cleanup.callback(process.send_signal, signal.SIGTERM)
        for line in process.stderr:
            if "broker=connected" in line:
                return process
        pytest.fail("stokehold run ended by itself")

    return start


@pytest.mark.shared_data
@pytest.mark.parametrize("kind", ["sqlite", "server"])
def test_real_pump_from_log_through_the_broker_to_its_energy(
    kind: str,
    tmp_path: Path,
    shared_data: Path,
    mosquitto: Mosquitto,
    running: Callable[..., subprocess.Popen[str]],
    request: pytest.FixtureRequest,
) -> None:
    """19,823 hourly counter readings of a real pump (Open Power System Data, CC BY 4.0).

    Replayed, collected and asked for, they give the counter's own difference.
    """
    frame = pd.read_csv(shared_data / "circulation_pump_house_a_hourly.csv.gz")
    log, plant, settings = tmp_path / "log.csv", tmp_path / "plant.toml", tmp_path / "settings.toml"
    stamp = frame["utc_timestamp"].str.replace(" ", "T")
    pd.DataFrame(
        {"time": stamp, "channel": "circulation.energy", "value": frame["cum_kwh"]}
    ).to_csv(log, index=False)
    plant.write_text(PUMP_PLANT)
    text = f'[broker]\nhost = "127.0.0.1"\nport = {mosquitto.port}\n[web]\nport = {free_port()}\n'
    text += f'[store]\nkind = "{kind}"\n'
    if kind == "server":
        url = request.getfixturevalue("shared_timeseries").url
        text += f'url = "{url}"\nbucket = "walk"\n'
    settings.write_text(text)
    process = running("--plant", plant, "--settings", settings)
    sent = answered(
        "replay", log, "--plant", plant, "--broker", "127.0.0.1", "--port", mosquitto.port,
        "--speed", 0,
    )  # fmt: skip
    assert sent["messages"] == len(frame)
    asked = ("energy", "--plant", plant, "--settings", settings)
    expected = frame["cum_kwh"].iloc[-1] - frame["cum_kwh"].iloc[0]
    hours = len(frame) - 1

    def arrived() -> bool:
        (pump,) = answered(*asked)["pumps"]
        return bool(pump["covered_hours"] >= hours - 0.01)

    wait_for(arrived, 30, "all readings in the store")
    assert process.poll() is None
    (pump,) = answered(*asked)["pumps"]
    assert pump["measured_kwh"] == pytest.approx(expected, abs=1e-6)
    (direct,) = answered("energy", "--plant", plant, "--log", log)["pumps"]
    assert direct["measured_kwh"] == pytest.approx(expected, abs=1e-6)


@pytest.mark.shared_data
def test_real_gas_pulses_by_import_to_cycles(tmp_path: Path, shared_data: Path) -> None:
    """A season of real gas meter pulses (AMPds2, Makonin 2016, CC BY 4.0) gives 842 firings."""
    frame = pd.read_csv(shared_data / "furnace_gas_pulses_year1.csv.gz")
    log, plant, settings = tmp_path / "log.csv.gz", tmp_path / "p.toml", tmp_path / "s.toml"
    pd.DataFrame(
        {
            "time": frame["t"].str.replace(" ", "T"),
            "channel": "furnace.gas",
            "value": frame["dm3"].cumsum().round(3),
        }
    ).to_csv(log, index=False)
    plant.write_text(GAS_PLANT)
    settings.write_text('[store]\npath = "gas.sqlite"\n')
    done = answered("import", log, "--plant", plant, "--settings", settings)
    assert (done["stored"], done["bad"]) == (len(frame), 0)
    (boiler,) = answered("cycles", "--plant", plant, "--settings", settings)["boilers"]
    assert boiler["method"] == "fuel"
    assert boiler["summary"]["starts"] == pytest.approx(842, rel=0.01)
    out = tmp_path / "out.csv"
    answered("export", out, "--plant", plant, "--settings", settings)
    back = pd.read_csv(out)
    assert back["value"].tolist() == frame["dm3"].cumsum().round(3).tolist()
