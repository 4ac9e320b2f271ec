"""The password before the pages: nothing at all without it."""

import base64
from pathlib import Path

import pytest

from collector.errors import FormError
from collector.files.settings import WEB_PASSWORD, Settings, WebSettings
from collector.installation.site import Site
from dashboard.web.app import create_app
from houses import PLANT

PATHS = ("/", "/_dash-layout", "/_dash-dependencies", "/assets/stokehold.css", "/nowhere")


def client(folder: Path, web: WebSettings | None = None):
    settings = Settings(folder=folder, web=web or WebSettings())
    return create_app(Site.open([PLANT], settings)).server.test_client()


def basic(password: str) -> dict[str, str]:
    return {"Authorization": "Basic " + base64.b64encode(f"ann:{password}".encode()).decode()}


def test_gate_is_closed_on_every_path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """401 with the challenge of RFC 7617 without the password or with a wrong one."""
    monkeypatch.setenv(WEB_PASSWORD, "söt water")
    web = client(tmp_path)
    for path in PATHS:
        for headers in ({}, basic("wrong"), basic(""), {"Authorization": "Bearer söt water"}):
            answer = web.get(path, headers=headers)
            assert answer.status_code == 401
            assert answer.headers["WWW-Authenticate"].startswith("Basic realm=")
    assert web.post("/_dash-update-component", json={}).status_code == 401
    assert web.get("/", headers=basic("söt water")).status_code == 200


def test_guessing_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """After a run of wrong passwords even the right one is refused from there, not from elsewhere.

    Status and header: RFC 6585 section 4.
    """
    monkeypatch.setenv(WEB_PASSWORD, "söt water")
    web = client(tmp_path)
    codes = [web.get("/", headers=basic(f"guess {n}")).status_code for n in range(40)]
    assert codes[:5] == [401] * 5
    assert codes[-1] == 429
    refused = web.get("/", headers=basic("söt water"))
    assert refused.status_code == 429
    assert int(refused.headers["Retry-After"]) > 0
    elsewhere = {"REMOTE_ADDR": "192.0.2.7"}
    assert web.get("/", headers=basic("söt water"), environ_base=elsewhere).status_code == 200


def test_many_pages_with_the_right_password_are_no_guessing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Asking without a password, as a browser first does, and the right one cost no tries."""
    monkeypatch.setenv(WEB_PASSWORD, "söt water")
    web = client(tmp_path)
    for _ in range(30):
        assert web.get("/").status_code == 401
        assert web.get("/", headers=basic("söt water")).status_code == 200


def test_gate_is_open_without_a_password(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On the own machine none is needed."""
    monkeypatch.delenv(WEB_PASSWORD, raising=False)
    assert client(tmp_path).get("/").status_code == 200


def test_password_from_a_file(tmp_path: Path) -> None:
    """The file of the settings holds it; a missing one is an error, not an open gate."""
    (tmp_path / "web.secret").write_text("from file\n")
    web = client(tmp_path, WebSettings(password_file="web.secret"))
    assert web.get("/").status_code == 401
    assert web.get("/", headers=basic("from file")).status_code == 200
    with pytest.raises(FormError, match=r"missing\.secret"):
        client(tmp_path, WebSettings(password_file="missing.secret"))


def test_nothing_foreign_may_be_loaded(tmp_path: Path) -> None:
    """The page names no other host, and the browser is told to allow none."""
    answer = client(tmp_path).get("/")
    assert b"https://" not in answer.data
    assert "default-src 'self'" in answer.headers["Content-Security-Policy"]
    assert b'lang="en"' in answer.data


@pytest.mark.parametrize(
    "host",
    ["127.0.0.1:8050", "[::1]:8050", "192.168.1.7", "localhost:8050", "cellar-box",
     "cellar-box.local", "Heat.Example.org:8443"],
)  # fmt: skip
def test_pages_answer_by_names_of_the_house(tmp_path: Path, host: str) -> None:
    """Addresses, names of one word, names that exist in houses only, and those of the settings."""
    web = client(tmp_path, WebSettings(names=("heat.example.org",)))
    assert web.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("host", ["rebound.example.com", "127.0.0.1.example.com:8050", "a]b"])
def test_page_of_elsewhere_cannot_pass_for_ours(tmp_path: Path, host: str) -> None:
    """A name of the public net that was pointed to this box is refused; 421, RFC 9110 15.5.20."""
    web = client(tmp_path)
    for path in PATHS:
        assert web.get(path, headers={"Host": host}).status_code in (400, 421)
    refused = web.post("/_dash-update-component", json={}, headers={"Host": host})
    assert refused.status_code in (400, 421)


def test_with_a_password_any_name_will_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A browser gives the password to the name it was given for only."""
    monkeypatch.setenv(WEB_PASSWORD, "söt water")
    headers = basic("söt water") | {"Host": "heat.example.org"}
    assert client(tmp_path).get("/", headers=headers).status_code == 200
