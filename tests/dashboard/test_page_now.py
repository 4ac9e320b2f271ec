"""The page of the present, in a real browser: values move by themselves, silence is shown."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from analysis.alarms import Alarm
from collector.journal import StandingAlarm
from collector.site import Site
from collector.store import clock_ms
from houses import PLANT, lay_in, served


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[Site, str]]:
    with served(tmp_path) as found:
        yield found


def test_live_value_moves_without_reload(house: tuple[Site, str], browser_page: Page) -> None:
    """A reading that comes in shows in tile and drawing while the page stays open."""
    site, url = house
    lay_in(site)
    site.live.took([("quay-house/heating.power", clock_ms(), 24.1)])
    browser_page.goto(url)
    tile = browser_page.locator('.tile[data-part="heating"]')
    drawn = browser_page.locator('.drawing [data-channel="heating.power"]')
    expect(tile.locator(".big")).to_have_text("24.1 W")
    expect(tile).to_contain_text("Runs as usual (about 24 W)")
    expect(drawn).to_contain_text("24.1 W")
    browser_page.evaluate("window.stayed = true")
    site.live.took([("quay-house/heating.power", clock_ms() + 1, 9.3)])
    expect(tile.locator(".big")).to_have_text("9.3 W", timeout=15_000)
    expect(tile).to_contain_text("less than its usual")
    expect(drawn).to_contain_text("9.3 W")
    assert browser_page.evaluate("window.stayed") is True


def test_silent_plug_shows_no_value(house: tuple[Site, str], browser_page: Page) -> None:
    """A value too old to hold is a dash, and its state unknown; never the last number."""
    site, url = house
    now = lay_in(site)
    site.live.latest["quay-house/charging.power"] = (now - 600_000, 48.0)
    browser_page.goto(url)
    tile = browser_page.locator('.tile[data-part="charging"]')
    expect(tile.locator(".big")).to_have_text("\u2013")
    expect(tile).to_contain_text("silent")
    expect(tile).to_contain_text("reading 10 min ago")


def test_alarm_stands_on_top_and_shelved_is_counted(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """What waits for a person comes first, in words; what is shelved is not forgotten."""
    site, url = house
    now = lay_in(site)
    browser_page.goto(url)
    expect(browser_page.locator(".banner")).to_contain_text("no alarm")
    stall = Alarm(
        plant=PLANT.key, subject="heating", fault="stall", urgency="now",
        state="unacknowledged", since_ms=now - 240_000, raised_ms=now - 240_000, is_present=True,
    )  # fmt: skip
    shelved = replace(stall, subject="charging", state="shelved", shelved_until_ms=now + 9**9)
    site.journal.save_alarms([StandingAlarm(stall, None), StandingAlarm(shelved, None)])
    banner = browser_page.locator(".banner.now")
    expect(banner).to_contain_text(
        "Pump does not run although it should, 4 min ago", timeout=15_000
    )
    expect(browser_page.locator(".banner.quiet")).to_contain_text("1 alarm shelved")


def test_text_of_a_plant_file_is_never_taken_for_code(tmp_path: Path, browser_page: Page) -> None:
    """A name with angle brackets stays a name, in frame and drawing."""
    plant = replace(PLANT, name='<img src=x onerror="window.broken=1">')
    with served(tmp_path, (plant,)) as (site, url):
        lay_in(site, plant=plant)
        browser_page.goto(url)
        expect(browser_page.locator(".plant")).to_contain_text("<img src=x")
        expect(browser_page.locator(".plant-drawing")).to_be_visible()
        assert browser_page.evaluate("window.broken") is None


def test_plants_are_chosen_in_the_frame(tmp_path: Path, browser_page: Page) -> None:
    """With several plants each page keeps to the one chosen."""
    other = replace(PLANT, name="Mill House", pumps=PLANT.pumps[:1])
    with served(tmp_path, (PLANT, other)) as (site, url):
        lay_in(site)
        browser_page.goto(url)
        expect(browser_page.locator(".tile")).to_have_count(3)
        browser_page.locator(".plants summary").click()
        browser_page.get_by_role("link", name="Mill House").click()
        expect(browser_page.locator(".tile")).to_have_count(2)
        assert "plant=mill-house" in browser_page.url


def test_watch_that_fails_is_no_all_clear(house: tuple[Site, str], browser_page: Page) -> None:
    """Where a job fails for the plant nobody reads that there is no alarm."""
    site, url = house
    lay_in(site)
    site.live.failing["watch", "quay-house"] = "job 'watch' failed: damaged page"
    site.live.failing["watch", "elsewhere"] = "job 'watch' failed: another house"
    browser_page.goto(url)
    expect(browser_page.locator(".banner.now")).to_have_text(
        "collector Job 'watch' failed: damaged page"
    )
    expect(browser_page.locator(".banner", has_text="no alarm")).to_have_count(0)
