"""A broker that already carries messages: fields found, guessed, and drafted."""

from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.errors import BrokerError, FormError
from collector.files.plant_file import load_plant
from collector.files.settings import BrokerSettings, Settings
from collector.mqtt.survey import Survey, draft, guess, listen
from servers import Mosquitto

DESCRIPTION = b'{"nodes":{"pipe":{"properties":{"flow":{"datatype":"float","unit":"\xc2\xb0C"}}}}}'
MESSAGES: list[tuple[str, bytes]] = [
    ("cellar/plug-2/state", b'{"power": 42.5, "voltage": 231.2, "energy": 12.5, "rssi": -61}'),
    ("cellar/pipe/return", b"48.5"),
    ("garden/outside_temperature", b"7.5"),
    ("cellar/meter", b'[{"bn":"meter:","n":"current","u":"A","v":0.21}]'),
    ("homie/5/box/$description", DESCRIPTION),
    ("homie/5/box/pipe/flow", b"61.2"),
    ("homie/old/relay/kwh/$unit", b"kWh"),
    ("homie/old/relay/kwh", b"3.5"),
    ("cellar/rubbish", b"\x00\xff"),
    ("cellar/words", b'{"mode": "auto", "on": true}'),
]  # fmt: skip


@pytest.fixture
def survey() -> Survey:
    made = Survey()
    for i, (topic, payload) in enumerate(MESSAGES * 2):
        made.take(topic, payload, 1_700_000_000_000 + i * 1000)
    return made


def test_guesses_by_unit_name_and_value(survey: Survey) -> None:
    """Units tell first, then names; what is neither is left alone."""
    found = {
        (f.topic, f.payload): (g.quantity, g.unit, g.place) if (g := guess(f)) else None
        for f in survey.found()
    }
    assert found == {
        ("cellar/plug-2/state", "/power"): ("power", "W", None),
        ("cellar/plug-2/state", "/voltage"): ("voltage", "V", None),
        ("cellar/plug-2/state", "/energy"): ("energy", "kW.h", None),
        ("cellar/plug-2/state", "/rssi"): None,
        ("cellar/pipe/return", ""): ("temperature", "Cel", "return"),
        ("garden/outside_temperature", ""): ("temperature", "Cel", "outdoor"),
        ("cellar/meter", "senml:meter:current"): ("current", "A", None),
        ("homie/5/box/pipe/flow", "homie"): ("temperature", "Cel", "flow"),
        ("homie/old/relay/kwh", "homie"): ("energy", "kW.h", None),
    }


def test_draft_is_accepted_once_the_person_has_filled_it_in(survey: Survey, tmp_path: Path) -> None:
    """As drafted it asks for name and drive; with these it is a sound plant file."""
    path = tmp_path / "plant.toml"
    text = draft(survey, timezone="Europe/Dublin")
    path.write_text(text)
    with pytest.raises(FormError) as refused:
        load_plant(path)
    assert ["'name'" in p or "'drive'" in p for p in refused.value.problems] == [True, True]
    path.write_text(
        text.replace('name = ""', 'name = "Quay"').replace('drive = ""', 'drive = "electronic"')
    )
    plant = load_plant(path)
    assert [p.id for p in plant.pumps] == ["plug-2"]
    assert {c.of for c in plant.select(quantity="power")} == {"plug-2"}
    assert len(plant.channels) == 8


def test_listen_to_a_real_broker(mosquitto: Mosquitto) -> None:
    """Retained messages on a real broker are enough for a survey."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", mosquitto.port)
    client.loop_start()
    for topic, payload in MESSAGES:
        client.publish(topic, payload, qos=1, retain=True).wait_for_publish(10)
    client.disconnect()
    client.loop_stop()
    settings = Settings(broker=BrokerSettings(host="127.0.0.1", port=mosquitto.port))
    found = listen(settings, 1.0)
    assert len(found.fields) == 9
    with pytest.raises(BrokerError, match="no broker answers"):
        listen(Settings(broker=BrokerSettings(host="127.0.0.1", port=9)), 1.0)
