"""The page of costs: figures with intervals, the signature with this week on it."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from analysis.base.time import DAY_MS, MINUTE_MS, Span
from analysis.energy.costs import plant_costs
from analysis.plant.plant import Tariff
from analysis.readings.readings import Readings
from collector.installation.site import Site
from collector.store.protocol import clock_ms
from houses import PLANT, served


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[Site, str]]:
    with served(tmp_path) as found:
        yield found


def worked_out(site: Site, days: int = 60) -> None:
    """Two months in which the burner fires the longer the colder, and the night's result."""
    now = clock_ms()
    time_ms = np.arange(now - days * DAY_MS, now, 2 * MINUTE_MS)
    day = (time_ms - time_ms[0]) // DAY_MS
    outdoor = 6 + 6 * np.sin(day * 0.9)
    fires = (time_ms // MINUTE_MS) % 60 < 10 + 2.5 * np.maximum(15 - outdoor, 0)
    record = {
        "heating.power": Readings.of(time_ms, 24 + 0.5 * np.sin(day)),
        "boiler.power": Readings.of(time_ms, np.where(fires, 45.0, 4.0)),
        "plant.outdoor": Readings.of(time_ms, outdoor),
    }
    priced = replace(PLANT, tariff=Tariff(electricity_per_kwh=0.31, fuel_per_kwh=0.11))
    found = plant_costs(priced, record, Span(int(time_ms[0]), now))
    site.journal.save_result(PLANT.key, "costs", now, found.document())


def test_nothing_yet_is_said(house: tuple[Site, str], browser_page: Page) -> None:
    """Before the first night there is no result, and the page says when there will be."""
    _, url = house
    browser_page.goto(f"{url}/costs")
    expect(browser_page.locator("p.empty")).to_contain_text("during the night")


def test_machines_and_fuel_with_their_intervals(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """The table gives figure, interval and money; an unmeasured pump is named as such."""
    site, url = house
    worked_out(site)
    browser_page.goto(f"{url}/costs")
    heating = browser_page.locator("tr", has_text="Heating")
    expect(heating.locator("td[data-label='A year']")).to_contain_text("kWh (")
    expect(heating.locator("td[data-label='Costs a year']")).to_contain_text("EUR (")
    charging = browser_page.locator("tr", has_text="Charging")
    expect(charging).to_contain_text("not measured")
    expect(browser_page.get_by_text("Boiler size over this need")).to_be_visible()


def test_this_week_lies_on_the_signature(house: tuple[Site, str], browser_page: Page) -> None:
    """Days are drawn as points, the last seven apart, and the words compare the two."""
    site, url = house
    worked_out(site)
    browser_page.goto(f"{url}/costs")
    chart = browser_page.locator("figure", has_text="This week")
    expect(chart.locator(".legendtext", has_text="this week")).to_be_visible()
    points = chart.locator(".scatterlayer .trace path.point")
    expect(points.first).to_be_attached()
    assert points.count() >= 55


@pytest.mark.parametrize("width", [390, 1440])
def test_fits_the_screen(house: tuple[Site, str], browser_page: Page, width: int) -> None:
    """Nothing is wider than a phone or a desk screen."""
    site, url = house
    worked_out(site)
    browser_page.set_viewport_size({"width": width, "height": 900})
    browser_page.goto(f"{url}/costs")
    expect(browser_page.locator("h1", has_text="Costs")).to_be_visible()
    expect(browser_page.locator(".js-plotly-plot .barlayer path").first).to_be_attached()
    wide = browser_page.evaluate("document.documentElement.scrollWidth")
    assert wide <= width
