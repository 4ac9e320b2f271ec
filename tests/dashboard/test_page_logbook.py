"""The logbook page: an entry written here is in the journal, and nonsense is refused in words."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from analysis.base.time import HOUR_MS, parse_rfc3339
from collector.installation.site import Site
from collector.store.protocol import clock_ms
from dashboard.pages.logbook import entry_of
from dashboard.parts.page import View
from houses import PLANT, served

NOW = parse_rfc3339("2026-07-01T12:00:00Z")


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[Site, str]]:
    with served(tmp_path) as found:
        yield found


def test_entry_is_written_down_and_listed(house: tuple[Site, str], browser_page: Page) -> None:
    """Words, part and kind arrive in the journal; the page shows the entry at once."""
    site, url = house
    browser_page.goto(f"{url}/logbook")
    expect(browser_page.locator(".empty")).to_contain_text("Nothing is written down yet")
    browser_page.locator("#entry-words").fill("Topped up to 1.4 bar <b>")
    browser_page.locator("#entry-kind").click()
    browser_page.locator(".dash-options-list-option", has_text="refill").click()
    browser_page.locator("#entry-who").fill("Ann")
    browser_page.get_by_role("button", name="Write down").click()
    card = browser_page.locator(".card")
    expect(card).to_contain_text("Topped up to 1.4 bar <b>")
    expect(card).to_contain_text("Ann")
    (entry,) = site.journal.logbook(PLANT.key)
    assert (entry.kind, entry.subject, entry.who) == ("refill", "plant", "Ann")
    assert abs(entry.time_ms - clock_ms()) < HOUR_MS
    expect(browser_page.locator("#entry-words")).to_have_value("")


def test_empty_entry_is_refused_in_words(house: tuple[Site, str], browser_page: Page) -> None:
    """Nothing is written down, and the page says what is missing."""
    site, url = house
    browser_page.goto(f"{url}/logbook")
    browser_page.get_by_role("button", name="Write down").click()
    expect(browser_page.locator("#said")).to_contain_text("Say what was done")
    assert site.journal.logbook(PLANT.key) == []


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({0: "  "}, "Say what"), ({0: "x" * 2001}, "Too long"), ({1: "cat"}, "Choose part"),
        ({2: "party"}, "Choose part"), ({3: "yesterday"}, "no past moment"),
        ({3: "2031-01-01 10:00"}, "no past moment"), ({4: "y" * 81}, "Too long"),
    ],
)  # fmt: skip
def test_what_the_form_refuses(house: tuple[Site, str], changed: dict[int, str], said: str) -> None:
    """Each wrong field has its own words."""
    fields = ["vented", "heating", "vented", "", "Ann"]
    for i, text in changed.items():
        fields[i] = text
    answer = entry_of(View(house[0], PLANT, NOW), fields)
    assert isinstance(answer, str)
    assert said in answer


def test_moment_is_typed_on_the_plants_clock(house: tuple[Site, str]) -> None:
    """Half past nine in Dublin's summer is 08:30 UTC."""
    fields = ["vented", "heating", "vented", "2026-07-01 09:30", None]
    entry = entry_of(View(house[0], PLANT, NOW), fields)
    assert not isinstance(entry, str)
    assert entry.time_ms == parse_rfc3339("2026-07-01T08:30:00Z")
