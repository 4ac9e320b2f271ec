"""The boiler's page in a real browser: strips, calendar, lengths, findings, on phone and desk."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from analysis.base.time import DAY_MS, MINUTE_MS, Span
from analysis.energy.costs import plant_costs
from analysis.faults.registry import examine, grouped
from analysis.plant.plant import Channel
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation
from analysis.reports.boiler import boiler_report
from collector.installation.site import Site
from collector.store.protocol import clock_ms
from houses import PLANT, served, standing


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[Site, str]]:
    with served(tmp_path) as found:
        yield found


def worked_out(site: Site, days: int = 40) -> None:
    """Forty days: firings of 12 min each half hour, then of 4 min each nine; a store too cool."""
    now = clock_ms()
    time_ms = np.arange(now - days * DAY_MS, now, MINUTE_MS)
    minute = (time_ms - time_ms[0]) // MINUTE_MS
    early = minute < days * 1440 * 0.7
    # At six o'clock UTC whenever the test runs: a short charge over two clock hours shows less.
    charges = (time_ms // MINUTE_MS - 360) % 1440 < 40
    fires = np.where(early, minute % 30 < 12, minute % 9 < 4)
    record = {
        "boiler.power": Readings.of(time_ms, np.where(fires, 45.0, 4.0)),
        "boiler.flow": Readings.of(time_ms, np.where(fires, 55.0, 45.0)),
        "charging.power": Readings.of(time_ms, np.where(charges, 48.0, 0.0)),
        "store.top": Readings.of(time_ms, 40.0 + 5.0 * charges),
        "plant.outdoor": Readings.of(time_ms, 4 + 3 * np.sin(minute / 1440)),
    }
    span = Span(int(time_ms[0]), now)
    boiler = PLANT.boilers[0]
    report = boiler_report(PLANT, boiler, record, span=span).document()
    site.journal.save_result(PLANT.key, "boilers", now, [report])
    site.journal.save_result(PLANT.key, "costs", now, plant_costs(PLANT, record, span).document())
    health = examine(Situation(plant=PLANT, record=record, span=span), grouped("boiler"))
    site.journal.save_result(PLANT.key, "slow", now, health.document())


def test_alarm_of_the_boiler_stands_on_its_page(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """Water above its limit: no "nothing found" beside it, and it can be acknowledged here."""
    site, url = house
    now = clock_ms()
    site.journal.save_result(PLANT.key, "watch", now, {"cannot_judge": []})
    browser_page.goto(f"{url}/boiler")
    expect(browser_page.locator(".lead")).to_contain_text("Nothing wrong was found.")
    site.journal.save_alarms([standing("boiler", "overheating", now)])
    expect(browser_page.locator(".lead")).to_contain_text("Alarm: Temperature above its limit.")
    browser_page.goto(f"{url}/boiler")
    browser_page.get_by_role("button", name="Acknowledge").click()
    expect(browser_page.locator("#said")).to_contain_text("now acknowledged")


def test_nothing_yet_is_said(house: tuple[Site, str], browser_page: Page) -> None:
    """Before the first night the page says when there will be something."""
    _, url = house
    browser_page.goto(f"{url}/boiler")
    expect(browser_page.locator("p.empty").first).to_contain_text("tonight")


def test_charts_and_findings_in_plain_words(house: tuple[Site, str], browser_page: Page) -> None:
    """Strip, calendar, lengths are drawn; the findings stand with first check and who."""
    site, url = house
    worked_out(site)
    browser_page.goto(f"{url}/boiler")
    expect(browser_page.locator("p.lead")).to_contain_text("Burner starts too often")
    strip = browser_page.locator("section", has_text="Firings, day by day")
    expect(strip.locator(".barlayer path").first).to_be_attached()
    assert strip.locator(".barlayer path").count() > 100
    calendar = browser_page.locator("section", has_text="Starts through the year")
    expect(calendar.locator(".heatmaplayer image")).to_be_attached()
    findings = browser_page.locator("section", has_text="Findings").last
    expect(findings).to_contain_text("Hot-water store too cool")
    expect(findings).to_contain_text("local rules decide")
    expect(browser_page.get_by_text("rule of thumb").first).to_be_visible()


def test_findings_stand_ahead_of_the_charts_on_a_phone(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """In the cellar one reads what is wrong first, and writes the logbook last."""
    site, url = house
    worked_out(site)
    browser_page.set_viewport_size({"width": 390, "height": 844})
    browser_page.goto(f"{url}/boiler")
    tops = [
        browser_page.get_by_role("heading", name=name, exact=True).bounding_box()
        for name in ("Alarms and findings", "Firings, day by day", "Logbook")
    ]
    heights = [box["y"] for box in tops if box is not None]
    assert len(heights) == len(tops)
    assert heights == sorted(heights)


def test_fuel_electricity_size_and_losses_stand_beside_the_firings(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """What the boiler and the pumps cost a year, how large it is, how it cools, how it charges."""
    site, url = house
    worked_out(site)
    browser_page.goto(f"{url}/boiler")
    year = browser_page.locator("section", has_text="What a year comes to")
    for words in ("Fuel", "Boiler's electricity", "Electricity, pump Charging"):
        expect(year).to_contain_text(words)
    condition = browser_page.locator("section", has_text="Condition").last
    expect(condition).to_contain_text("Charging the store")
    expect(condition).to_contain_text("Cooling at rest, boiler")


@pytest.mark.parametrize("width", [390, 1440])
def test_fits_the_screen(house: tuple[Site, str], browser_page: Page, width: int) -> None:
    """Nothing is wider than a phone or a desk screen."""
    site, url = house
    worked_out(site)
    browser_page.set_viewport_size({"width": width, "height": 900})
    browser_page.goto(f"{url}/boiler")
    expect(browser_page.locator(".js-plotly-plot .barlayer path").first).to_be_attached()
    assert browser_page.evaluate("document.documentElement.scrollWidth") <= width


def test_heat_balance_and_hours_of_running_are_told(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """A plant read hour by hour with a flow meter: running hours, and heat over its water."""
    site, url = house
    now = clock_ms()
    time_ms = np.arange(now - 40 * DAY_MS, now, 60 * MINUTE_MS)
    warm = time_ms > now - 30 * DAY_MS
    record = {
        "boiler.flow": Readings.of(time_ms, np.where(warm, 60.0, 20.0)),
        "boiler.return": Readings.of(time_ms, np.where(warm, 45.0, 20.0)),
        "boiler.rate": Readings.of(time_ms, np.where(warm, 10.0, 0.0)),
    }
    channels = tuple(
        Channel(id=i, of="boiler", quantity=q, place=p, unit=u, interval_s=3600)
        for i, q, p, u in (
            ("boiler.flow", "temperature", "flow", "Cel"),
            ("boiler.return", "temperature", "return", "Cel"),
            ("boiler.rate", "flow", None, "L/min"),
        )
    )
    plant = replace(PLANT, channels=channels)
    span = Span(int(time_ms[0]), now)
    report = boiler_report(plant, plant.boilers[0], record, span=span).document()
    site.journal.save_result(PLANT.key, "boilers", now, [report])
    browser_page.goto(f"{url}/boiler")
    expect(browser_page.locator("main")).to_contain_text("cannot tell single firings")
    expect(browser_page.locator("main")).to_contain_text("75%")
    expect(browser_page.locator("main")).to_contain_text("Heat past boiler.rate")
    expect(browser_page.locator("main")).to_contain_text("1.150 kWh")
