"""The alarm page: sorted by urgency, honest about age; what a person does is journalled."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from analysis.alarms.states import Alarm
from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS
from analysis.plant.finding import Evidence, Finding
from collector.installation.site import Site
from collector.journal.journal import StandingAlarm
from collector.store.protocol import clock_ms
from dashboard.parts.cards import urgency_then_time
from houses import PLANT, lay_in, left_unwatched, served


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[Site, str]]:
    with served(tmp_path) as found:
        yield found


def stall(now: int) -> StandingAlarm:
    alarm = Alarm(
        plant=PLANT.key, subject="heating", fault="stall", urgency="now", state="unacknowledged",
        since_ms=now - 5 * MINUTE_MS, raised_ms=now - 5 * MINUTE_MS, is_present=True,
    )  # fmt: skip
    sign = Evidence("heating.power", "power while heat is asked for", 0.4, "about 24", "W")
    finding = Finding(
        subject="heating", fault="stall", start_ms=now - 8 * MINUTE_MS, end_ms=None,
        urgency="now", confidence=0.8, evidence=(sign,), ruled_out=("summer: heat is asked for",),
        possible=("rotor seized", "controller output off"), first_check="Is its lamp lit?",
        who="Owner: look.",
    )  # fmt: skip
    return StandingAlarm(alarm, finding.document())


def kept(site: Site) -> Alarm:
    return next(a.alarm for a in site.journal.alarms(PLANT.key) if a.alarm.fault == "stall")


def test_finding_is_told_in_full(house: tuple[Site, str], browser_page: Page) -> None:
    """Title, evidence with value and expectation, causes, first check, who, caution, ages."""
    site, url = house
    now = lay_in(site)
    site.live.latest["quay-house/heating.power"] = (now - 3 * MINUTE_MS, 0.4)
    site.journal.save_alarms([stall(now)])
    browser_page.goto(f"{url}/alarms")
    card = browser_page.locator(".card.now")
    for told in (
        "Pump does not run although it should", "0.4 W power while heat is asked for",
        "expected about 24", "rotor seized", "summer: heat is asked for", "Is its lamp lit?",
        "Owner: look.", "mains voltage", "likely", "heating.power 3 min ago",
        "unacknowledged",
    ):  # fmt: skip
        expect(card).to_contain_text(told)
    expect(browser_page.locator("nav .badge")).to_have_text("1")


def test_acknowledging_changes_the_journal(house: tuple[Site, str], browser_page: Page) -> None:
    """The state moves to acknowledged, an event says so, and the page follows by itself."""
    site, url = house
    site.journal.save_alarms([stall(lay_in(site))])
    browser_page.goto(f"{url}/alarms")
    browser_page.get_by_role("button", name="Acknowledge").click()
    expect(browser_page.locator("#said")).to_contain_text("now acknowledged")
    assert kept(site).state == "acknowledged"
    words = "Pump does not run although it should: acknowledged"
    assert [e.words for e in site.journal.events(PLANT.key)] == [words]
    expect(browser_page.locator(".card .chip").nth(1)).to_have_text("acknowledged")
    expect(browser_page.get_by_role("button", name="Acknowledge")).to_have_count(0)
    expect(browser_page.locator("nav .badge")).to_have_count(0)


def test_shelved_alarm_shows_its_end_and_comes_back(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """Shelving has an expiry, shown as moment and rest; it can be taken off before."""
    site, url = house
    site.journal.save_alarms([stall(lay_in(site))])
    browser_page.goto(f"{url}/alarms")
    browser_page.get_by_text("Shelve for ...").click()
    browser_page.get_by_role("button", name="8 hours").click()
    row = browser_page.locator("tr", has=browser_page.get_by_text("Take off the shelf"))
    expect(row).to_contain_text("in 7 h")
    now = clock_ms()
    shelved = kept(site)
    assert shelved.state == "shelved"
    assert shelved.shelved_until_ms == pytest.approx(now + 8 * HOUR_MS, abs=MINUTE_MS)
    browser_page.get_by_role("button", name="Take off the shelf").click()
    expect(browser_page.locator(".card.now")).to_contain_text("unacknowledged")
    assert kept(site).state == "unacknowledged"


def test_part_under_work_raises_nothing(house: tuple[Site, str], browser_page: Page) -> None:
    """Out of service before work, also what never occurred; back after it."""
    site, url = house
    lay_in(site)
    browser_page.goto(f"{url}/alarms")
    browser_page.get_by_role("button", name="Take heating out of service").click()
    expect(browser_page.locator("tr", has_text="out of service").first).to_be_visible()
    assert kept(site).state == "out_of_service"
    assert {a.alarm.subject for a in site.journal.alarms()} == {"heating"}
    browser_page.get_by_role("button", name="Put heating back").click()
    expect(browser_page.get_by_role("button", name="Take heating out of service")).to_be_visible()
    assert {a.alarm.state for a in site.journal.alarms()} == {"normal"}


def test_test_notice_without_an_address_says_what_to_do(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """No silent success: without an address the page names the setting."""
    browser_page.goto(f"{house[1]}/alarms")
    expect(browser_page.locator("#page")).to_contain_text("alarms stand on these pages only")
    browser_page.get_by_role("button", name="Send a test notice").click()
    expect(browser_page.locator("#said")).to_contain_text("set [notify] in the settings")


def test_sorted_by_urgency_then_newest_first() -> None:
    """What must be known at once comes before what is new."""
    rows = [("note", 9), ("now", 1), ("soon", 5), ("now", 7)]
    alarms = [
        Alarm(plant="p", subject="s", fault="f", urgency=u, since_ms=t * DAY_MS)  # type: ignore[arg-type]
        for u, t in rows
    ]
    order = [(a.urgency, a.since_ms // DAY_MS) for a in sorted(alarms, key=urgency_then_time)]
    assert order == [("now", 7), ("now", 1), ("soon", 5), ("note", 9)]


def test_no_alarm_while_nobody_watches_is_no_all_clear(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """The watch has stood still for an hour: the page says so instead of that nothing waits."""
    site, url = house
    now = lay_in(site)
    browser_page.goto(f"{url}/alarms")
    expect(browser_page.locator("#page")).to_contain_text("No alarm waits for anybody.")
    expect(browser_page.locator("#top")).to_contain_text("(Europe/Dublin)")
    left_unwatched(site, now)
    expect(browser_page.locator(".empty").first).to_contain_text("this is no all-clear")
    expect(browser_page.locator(".banner.now")).to_contain_text("and not since")


def test_alarm_that_is_over_does_not_ask_to_act_now(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """Returned but unacknowledged: it is said to be over, from when to when, below what lasts."""
    site, url = house
    now = lay_in(site)
    lasting = stall(now)
    over = StandingAlarm(
        replace(lasting.alarm, subject="charging", state="returned", since_ms=now, raised_ms=now),
        lasting.finding,
    )
    site.journal.save_alarms([lasting, over])
    browser_page.goto(f"{url}/alarms")
    cards = browser_page.locator(".card")
    expect(cards.nth(0)).to_contain_text("act now")
    expect(cards.nth(1)).to_contain_text("over")
    expect(cards.nth(1)).not_to_contain_text("act now")
    expect(cards.nth(1)).to_contain_text(" to ")
    browser_page.goto(f"{url}/")
    expect(browser_page.locator(".banner.now")).to_have_count(1)
    expect(browser_page.locator(".banner.note")).to_contain_text("returned to normal")
