"""The data page: age, coverage and what screening kept out, by rule."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from analysis.base.time import HOUR_MS
from collector.installation.site import Site
from collector.mqtt.live import Refused
from houses import lay_in, served


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[Site, str]]:
    with served(tmp_path) as found:
        yield found


def row_of(page: Page, channel: str):
    return page.locator("tr", has=page.get_by_text(channel, exact=True))


def test_every_channel_with_age_and_coverage(house: tuple[Site, str], browser_page: Page) -> None:
    """3.5 of 7 days were measured; a channel two hours silent is marked."""
    site, url = house
    now = lay_in(site, days=3.5)
    site.live.latest["quay-house/store.top"] = (now - 2 * HOUR_MS, 52.0)
    browser_page.goto(f"{url}/data")
    fresh, silent = row_of(browser_page, "heating.power"), row_of(browser_page, "store.top")
    expect(fresh.locator("td[data-label=Known]")).to_contain_text("50.")
    expect(fresh.locator("td[data-label=Expected]")).to_have_text("every 1 min")
    expect(silent.locator("td[data-label=Age]")).to_contain_text("2 h silent")
    expect(fresh.locator(".chip")).to_have_count(0)


def test_screening_is_counted_by_rule(house: tuple[Site, str], browser_page: Page) -> None:
    """Counts of the journal and of the running process add up; refused ones are shown as text."""
    site, url = house
    now = lay_in(site)
    site.journal.add_counts(now // 86_400_000, {("quay-house/boiler.flow", "fault_code"): 2})
    site.live.counts["quay-house/boiler.flow", "fault_code"] = 3
    site.live.counts["quay-house/boiler.flow", "duplicate"] = 1
    site.live.refused.append(Refused(now, "cellar/<b>x</b>", "undecodable", "no JSON"))
    browser_page.goto(f"{url}/data")
    expect(row_of(browser_page, "boiler.flow").locator("td").last).to_have_text(
        "5 fault code, 1 duplicate"
    )
    rule = browser_page.locator("tr", has_text="a value by which the sensor reports a fault")
    expect(rule.locator("td[data-label=Count]")).to_have_text("5")
    expect(browser_page.get_by_text("cellar/<b>x</b>")).to_be_visible()
