"""The fitting page: a person ticks the list off at the pump, and reads what the days say."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from analysis.base.time import DAY_MS
from analysis.exchange.checklist import STEPS
from analysis.exchange.checks import Judged
from analysis.exchange.commissioning import MISTAKES, CommissioningReport, FittingCheck
from analysis.plant.finding import Evidence
from analysis.plant.plant import PumpPlate, Swap
from collector.installation.site import Site
from collector.journal.exchanges import swap_book
from collector.store.protocol import clock_ms
from dashboard.pages.fitting import done, verdict
from houses import PLANT, served


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[Site, str]]:
    with served(tmp_path) as found:
        yield found


def test_the_list_is_stepped_through_on_a_phone(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """Begin, tick two steps with a remark, leave, come back: it goes on where it stood."""
    site, url = house
    browser_page.set_viewport_size({"width": 390, "height": 844})
    browser_page.goto(f"{url}/swap")
    browser_page.get_by_role("link", name="Fitting").click()
    browser_page.get_by_role("button", name="Begin an exchange").click()
    expect(browser_page.locator(".card h3")).to_contain_text("Before")
    browser_page.locator(".card input").first.fill("cold week, III")
    browser_page.locator(".card").get_by_role("button", name="Done").click()
    expect(browser_page.locator(".card h3")).to_contain_text("Photos")
    browser_page.locator(".card").get_by_role("button", name="Done").click()
    expect(browser_page.locator(".card .caution")).to_contain_text("Mains voltage kills")
    browser_page.goto(f"{url}/swap/fitting?id=heating")
    expect(browser_page.locator(".card h3")).to_contain_text("Dead")
    expect(browser_page.get_by_text(f"2 of {len(STEPS)} steps done")).to_be_visible()
    record = swap_book(site.settings, site.journal).open_record(PLANT.key, "heating")
    assert record.steps["before"].words == "cold week, III"
    assert browser_page.evaluate("document.documentElement.scrollWidth") <= 390


def test_exchange_that_stands_in_the_plant_file_only_is_named(
    tmp_path: Path, browser_page: Page
) -> None:
    """No list was kept of it, but it is known: the page must not deny it."""
    plate = PumpPlate(drive="electronic")
    at = datetime(2026, 3, 14, 10, 30, tzinfo=UTC)
    plant = replace(PLANT, swaps=(Swap(pump="heating", time=at, old=plate, new=plate),))
    with served(tmp_path, (plant,)) as (_, url):
        browser_page.goto(f"{url}/swap/fitting?id=heating")
        expect(browser_page.locator("#page")).to_contain_text("14 Mar 10:30, as the plant file")
        browser_page.goto(f"{url}/swap/fitting?id=charging")
        expect(browser_page.locator("#page")).to_contain_text("No exchange of Charging is recorded")


def test_what_must_come_first_is_kept(house: tuple[Site, str]) -> None:
    """Nothing is unscrewed before the pump is dead and cool, whatever is pressed."""
    site, _ = house
    what = {"plant": PLANT.key, "pump": "heating"}
    assert "is begun" in done(site, what | {"deed": "begin"}, ("", "Ann"), 10)
    assert "not finished" in done(site, what | {"deed": "begin"}, ("", "Ann"), 11)
    assert "comes after dead" in done(site, what | {"deed": "step:isolated"}, ("", "Ann"), 12)
    for step in STEPS:
        assert "done" in done(site, what | {"deed": f"step:{step.name}"}, ("", "Ann"), DAY_MS)
    record = swap_book(site.settings, site.journal).open_record(PLANT.key, "heating")
    assert record.time_ms == DAY_MS
    assert [e.kind for e in site.journal.logbook(PLANT.key)] == ["swap"]


def test_reports_tell_what_was_found(house: tuple[Site, str], browser_page: Page) -> None:
    """A week's report: the mistake with its signs and what to do, the rest in a word."""
    site, url = house
    now = clock_ms()
    sign = Evidence("heating.flow", "water against what the power would move", 0.7, "above 1", "1")
    judged = {"isolator_half_shut": Judged("found", 0.9, (sign,))}
    unknown = Judged("unknown", needs="the new pump's rated power")
    report = CommissioningReport(
        pump="heating", swap_ms=now - 8 * DAY_MS, stage="week", until_ms=now - DAY_MS,
        checks=tuple(FittingCheck(m, judged.get(m.name, unknown)) for m in MISTAKES),
    )  # fmt: skip
    site.journal.save_result(PLANT.key, "commissioning", now, [report.document()])
    browser_page.goto(f"{url}/swap/fitting?id=heating")
    card = browser_page.locator(".card", has_text="After a week")
    expect(card).to_contain_text("1 mistake")
    expect(card).to_contain_text("Open both isolating valves fully")
    expect(card).to_contain_text("needs the new pump's rated power")
    browser_page.goto(f"{url}/swap/fitting?id=charging")
    expect(browser_page.get_by_text("A report follows a day")).to_be_visible()


def test_what_cannot_be_said_is_not_called_sound() -> None:
    """A report reads as sound only when every check could be made."""
    assert verdict(["sound", "sound"]) == ("nothing found", "fine")
    assert verdict(["sound", "unknown", "unknown"]) == ("2 of 3 cannot be said", "")
    assert verdict(["unknown", "found"]) == ("1 mistake", "soon")
