"""The swap page: figures apart, both pictures, the sum, and nothing wider than a phone."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from analysis.base.time import DAY_MS, MINUTE_MS, Span, from_ms
from analysis.plant.plant import PumpPlate, Swap, Tariff
from analysis.readings.readings import Readings
from analysis.savings.saving import saving_of
from collector.installation.site import Site
from collector.store.protocol import clock_ms
from dashboard.pages.swap import claimed_so_far
from houses import PLANT, served


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[Site, str]]:
    with served(tmp_path) as found:
        yield found


def _save_a_swap(site: Site, claim: float | None) -> None:
    """Twenty days of 70 W, twenty of 10 W with three missing, judged as the night would."""
    now = clock_ms()
    at = now - 20 * DAY_MS
    swap = Swap(
        pump="heating",
        time=from_ms(at) + timedelta(0),
        claim_kwh_per_year=claim,
        old=PumpPlate(drive="induction", always_on=True, rated_power_w=(45, 75)),
        new=PumpPlate(drive="electronic", always_on=True),
    )
    tariff = Tariff(electricity_per_kwh=0.30, fuel_per_kwh=0.10)
    plant = replace(PLANT, tariff=tariff, swaps=(swap,))
    time_ms = np.arange(at - 20 * DAY_MS, now, MINUTE_MS)
    time_ms = time_ms[(time_ms < at + 5 * DAY_MS) | (time_ms > at + 8 * DAY_MS)]
    record = {"heating.power": Readings.of(time_ms, np.where(time_ms < at, 70.0, 10.0))}
    span = Span(int(time_ms[0]), now)
    document = saving_of(plant, swap, record, span=span).document()
    change = {"value": -2.1, "low": -3.0, "high": -1.2, "basis": "days at equal weather"}
    row = {"boiler": "boiler", "before_per_day": 8.0, "after_per_day": 6.5}
    document["cycling"] = [row | {"change_per_day": change}]
    site.journal.save_result(PLANT.key, "saving", now, [document])


def test_measured_projected_and_claimed_stand_apart(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """Three figures, a verdict that refuses 900 kWh by the ceiling's sum, and two pictures."""
    site, url = house
    _save_a_swap(site, 900.0)
    browser_page.goto(f"{url}/swap")
    for label in ("Measured so far", "Projected", "Claimed"):
        expect(browser_page.locator(".fact", has_text=label)).to_be_visible()
    expect(browser_page.get_by_text("refuted", exact=True)).to_be_visible()
    expect(browser_page.get_by_text("No exchange saves more.")).to_contain_text("W x 8,760 h")
    expect(browser_page.locator(".js-plotly-plot .main-svg").first).to_be_visible()
    expect(browser_page.locator(".js-plotly-plot")).to_have_count(2)
    expect(browser_page.locator(".fact", has_text="Change")).to_contain_text("-2.1 a day (-3.0")
    expect(browser_page.locator(".fact", has_text="Change")).to_contain_text("fewer")


def test_the_claim_line_follows_the_season() -> None:
    """A quarter of the old pump's year in two days bears a quarter of the claim."""
    days = [{"day": f"2026-01-1{k}T00:00:00Z", "old_kwh": kwh} for k, kwh in enumerate([9, 30, 20])]
    saving = {
        "days": days, "swap_time": "2026-01-11T00:00:00Z", "claim_kwh_per_year": 100.0,
        "before": {"per_year": {"value": 200.0}},
    }  # fmt: skip
    assert claimed_so_far(saving) == pytest.approx([15.0, 25.0])


def test_nothing_is_wider_than_a_phone(house: tuple[Site, str], browser_page: Page) -> None:
    """At 390 px the page does not scroll sideways."""
    site, url = house
    _save_a_swap(site, None)
    browser_page.set_viewport_size({"width": 390, "height": 844})
    browser_page.goto(f"{url}/swap")
    expect(browser_page.get_by_text("nothing claimed")).to_be_visible()
    wide = browser_page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 390


def test_plant_without_a_swap_is_told_how(house: tuple[Site, str], browser_page: Page) -> None:
    """No swap: how to record one."""
    _, url = house
    browser_page.goto(f"{url}/swap")
    expect(browser_page.get_by_text("stokehold swap")).to_be_visible()
