"""Fixtures that stand for what users have: a broker, a time-series server, measured data."""

import os
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import hypothesis
import pytest
from playwright.sync_api import Browser, expect, sync_playwright
from playwright.sync_api import Page as BrowserPage

from servers import BROWSER_FLAGS, Mosquitto, Postgres, TimeSeriesServer, program

SHARED_DATA = Path(
    os.environ.get("STOKEHOLD_SHARED_DATA", Path(__file__).parents[2] / "shared/data")
)

# Speed is measured in tests/bench, never judged in a test.
hypothesis.settings.register_profile("stokehold", deadline=None)
hypothesis.settings.load_profile("stokehold")
expect.set_options(timeout=30_000)


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker without passwords, with lasting sessions."""
    folder = tmp_path / "broker"
    folder.mkdir()
    broker = Mosquitto(folder)
    yield broker
    broker.stop(hard=True)


@pytest.fixture
def timeseries(tmp_path: Path) -> Iterator[TimeSeriesServer]:
    """A time-series server with empty storage."""
    server = TimeSeriesServer(tmp_path / "timeseries")
    yield server
    server.stop(hard=True)


@pytest.fixture(scope="session")
def shared_timeseries(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TimeSeriesServer]:
    """One time-series server for all tests that do not stop it; use a bucket of your own."""
    server = TimeSeriesServer(tmp_path_factory.mktemp("timeseries"))
    yield server
    server.stop(hard=True)


@pytest.fixture(scope="session")
def postgres(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Postgres]:
    """One PostgreSQL for all tests; each takes a database of its own."""
    server = Postgres(tmp_path_factory.mktemp("postgres"))
    yield server
    server.stop()


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """One real browser for the tests of a module; its driver occupies the thread's event loop."""
    path = program("chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(BROWSER_FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def browser_page(chromium: Browser) -> Iterator[BrowserPage]:
    """A window of a phone's width that allows no word of complaint from the browser."""
    window = chromium.new_context(viewport={"width": 390, "height": 844})
    page = window.new_page()
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
    page.on("request", lambda r: complaints.append(r.url) if "//127.0.0.1" not in r.url else None)
    yield page
    window.close()
    assert complaints == []


@pytest.fixture
def cleanup() -> Iterator[ExitStack]:
    """Calls registered here run after the test, whatever happens."""
    with ExitStack() as stack:
        yield stack


@pytest.fixture
def shared_data() -> Path:
    """The folder of measured open data, or leave the test out and say so."""
    if not SHARED_DATA.is_dir():
        pytest.skip(f"no folder of measured data at {SHARED_DATA}")
    return SHARED_DATA
