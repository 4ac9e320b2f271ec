"""Settings: defaults, the full form, secrets from outside, mistakes named."""

from pathlib import Path

import pytest

from analysis.plant.plant import Plant
from collector.errors import FormError
from collector.files.settings import BROKER_PASSWORD, Settings, load_settings


def test_without_a_file_everything_has_a_default() -> None:
    """No settings file: embedded broker and store, pages on loopback only."""
    settings = load_settings(None)
    assert settings.broker.host is None
    assert settings.broker.listen == settings.web.host == "127.0.0.1"
    assert settings.store.kind == "sqlite"


def test_full_form_and_paths_beside_the_file(tmp_path: Path) -> None:
    """Keys arrive, relative paths begin at the file, TLS picks its own port."""
    path = tmp_path / "settings.toml"
    path.write_text(
        '[broker]\nhost = "cellar-box"\nusername = "stokehold"\ntls = { ca = "ca.pem" }\n'
        '[store]\nkind = "server"\nurl = "http://tsdb:8428"\norganisation = "o"\nbucket = "b"\n'
        "[web]\nport = 8051\n[notify]\n"
    )
    settings = load_settings(path)
    assert settings.broker.used_port == 8883
    assert settings.broker.tls is not None
    assert settings.at(settings.broker.tls.ca or "") == tmp_path / "ca.pem"
    assert (settings.store.kind, settings.web.port) == ("server", 8051)


def test_secrets_come_from_file_or_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A password is never a key of the settings file."""
    settings = Settings(folder=tmp_path)
    monkeypatch.setenv(BROKER_PASSWORD, "from outside")
    assert settings.secret(BROKER_PASSWORD, None) == "from outside"
    (tmp_path / "secret").write_text("from a file\n")
    assert settings.secret(BROKER_PASSWORD, "secret") == "from a file"
    with pytest.raises(FormError, match="secret file cannot be read"):
        settings.secret(BROKER_PASSWORD, "absent")
    path = tmp_path / "settings.toml"
    path.write_text('[broker]\npassword = "oops"\n')
    with pytest.raises(FormError, match="'password': is unknown here"):
        load_settings(path)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[web]\nport = 0\n", ":2: \\[web\\], key 'port': must be between"),
        ("[web]\nport = 80.5\n", "must be a whole number"),
        ('[store]\nkind = "cloud"\n', "use one of 'sqlite' or 'server'"),
        ("[collect]\nbatch_age_s = 0\n", "must be above 0 and at most 60"),
        ("[collect]\nbatch_size = 10\nqueue_size = 5\n", "at most queue_size"),
        ('[broker]\nshare = "a/b"\n', "plain word"),
        ("[brokers]\n", "did you mean 'broker'"),
        ("[store]\nraw_days = -1\n", "key 'raw_days': must be between 0"),
        ("[store]\nminute_days = -30\n", "key 'minute_days': must be between 0"),
        ('[store]\nurl = "nonsense"\n', "key 'url': must be like"),
        ('[store]\nurl = "http://[x"\n', "key 'url': must be like"),
        ("[broker]\nport = 0\n", "key 'port': must be between 1"),
        ("[broker]\nkeepalive_s = -1\n", "key 'keepalive_s': must be between 0"),
        ("[broker]\nsession_expiry_s = -1\n", "key 'session_expiry_s': must be between 0"),
        ("[notify]\nsilence_minutes = -5\n", "key 'silence_minutes': must be between"),
        ("[notify]\nrepeat_minutes = inf\n", "key 'repeat_minutes': must be a finite number"),
        ('[notify]\nquiet_from = "22:00+02:00"\n', "must be a time of day like '22:00'"),
        ('[notify]\nquiet_to = "7"\n', "must be a time of day like '22:00'"),
        ("[notify]\ndigest_at = 08:00:00\n", "is a date or time; put it in quotes"),
    ],
)
def test_mistakes_are_named(tmp_path: Path, text: str, message: str) -> None:
    """Each mistake is refused with line, key and remedy."""
    path = tmp_path / "settings.toml"
    path.write_text(text)
    with pytest.raises(FormError, match=message):
        load_settings(path)


def test_example_settings_are_sound() -> None:
    """The example that ships is accepted as it stands."""
    example = Path(__file__).parents[3] / "deploy" / "settings.example.toml"
    assert load_settings(example).broker.username == "stokehold"


def test_rules_of_thumb_about_the_boiler_are_settings(tmp_path: Path) -> None:
    """A firm with its own limits writes them down; they reach every plant, and 0 is refused."""
    path = tmp_path / "settings.toml"
    path.write_text("[boiler]\nstarts_per_hour = 4\nservice_months = 24\n", encoding="utf-8")
    plant = load_settings(path).ruled([Plant(name="Quay", timezone="UTC")])[0]
    assert plant.rules.cycling("gas").most_per_hour == 4
    assert plant.rules.service_months == 24
    path.write_text("[boiler]\nbusy_days = 0\n", encoding="utf-8")
    with pytest.raises(FormError, match=r"busy_days.*above 0"):
        load_settings(path)
