"""The page of the present, in a real browser: values move by themselves, silence is shown."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from analysis.alarms.states import Alarm
from collector.installation.site import Site
from collector.journal.journal import StandingAlarm
from collector.store.protocol import clock_ms
from houses import PLANT, lay_in, served


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[Site, str]]:
    with served(tmp_path) as found:
        yield found


@pytest.mark.smoke
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


def test_arriving_history_is_noted_until_it_is_there(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """While readings of the past are being laid in, every page says so; then no longer."""
    site, url = house
    lay_in(site)
    site.live.arriving = "3 of 16 channels are there."
    browser_page.goto(url)
    note = browser_page.locator("#top .arriving")
    expect(note).to_have_text("3 of 16 channels are there.")
    site.live.arriving = ""
    expect(note).to_have_count(0)


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


def test_what_keeps_alarms_from_people_stands_on_top(tmp_path: Path, browser_page: Page) -> None:
    """No all-clear hides an address that nothing reaches, or a plant file left out."""
    left_out = ("plants/mill.toml:3: [plant]: is unknown",)
    with served(tmp_path, left_out=left_out) as (site, url):
        now = lay_in(site)
        site.live.unreached["notification address number 2"] = now - 3_600_000
        browser_page.goto(url)
        banners = browser_page.locator(".banner.now")
        expect(banners.nth(0)).to_contain_text(f"A plant file is left out: {left_out[0]}")
        expect(banners.nth(1)).to_contain_text("No notice reaches notification address number 2")


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


def test_page_without_an_answer_does_not_pass_old_numbers_for_the_present(
    house: tuple[Site, str], chromium: Browser
) -> None:
    """Left open while the program is away, a page says so, and goes on once it is back."""
    site, url = house
    lay_in(site)
    window = chromium.new_context()
    page = window.new_page()
    page.goto(url)
    expect(page.locator(".tile")).to_have_count(3)
    window.set_offline(True)
    expect(page.locator("#silence")).to_contain_text("Nothing new from the program since")
    window.set_offline(False)
    expect(page.locator("#silence")).to_have_count(0)
    window.close()


def test_address_of_a_plant_of_the_past_shows_no_other_one(
    tmp_path: Path, browser_page: Page
) -> None:
    """A bookmark of a plant that was renamed must not show the first one's boiler instead."""
    other = replace(PLANT, name="Mill House")
    with served(tmp_path, (PLANT, other)) as (site, url):
        lay_in(site)
        browser_page.goto(f"{url}/boiler?plant=old-mill")
        expect(browser_page.locator("h1")).to_have_text("No such plant")
        expect(browser_page.locator("#page")).to_contain_text("No plant 'old-mill' is looked after")
        browser_page.locator("#page").get_by_role("link", name="Mill House").click()
        expect(browser_page.locator(".tile")).to_have_count(3)


def test_plant_elsewhere_that_asks_is_seen_and_comes_first(
    tmp_path: Path, browser_page: Page
) -> None:
    """The mark at Alarms counts this plant's; the choice of plants shows who else waits."""
    mill, yard = (replace(PLANT, name=name) for name in ("Mill House", "Yard House"))
    with served(tmp_path, (PLANT, mill, yard)) as (site, url):
        now = lay_in(site)
        for plant, number in (("yard-house", 2), ("gone-house", 5)):
            site.journal.save_alarms(
                StandingAlarm(
                    Alarm(
                        plant=plant, subject="heating", fault=f"fault-{i}", urgency="now",
                        state="unacknowledged", since_ms=now, raised_ms=now, is_present=True,
                    ),
                    None,
                )
                for i in range(number)
            )  # fmt: skip
        browser_page.goto(url)
        expect(browser_page.locator("nav .badge")).to_have_count(0)
        expect(browser_page.locator(".plants summary .badge")).to_have_text("2")
        browser_page.locator(".plants summary").click()
        links = browser_page.locator(".plants a")
        expect(links).to_have_text(["Yard House2", "Mill House"])
