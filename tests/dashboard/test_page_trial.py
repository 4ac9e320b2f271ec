"""The trial page: begun, watched, interrupted, resumed and kept, with the pump's own table."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from analysis.base.time import MINUTE_MS
from analysis.exchange.trial import Mark
from collector.installation.site import Site
from collector.journal.trials import TrialBook
from dashboard.pages.trial import layout, move, plan_of
from dashboard.parts.page import View
from houses import PLANT, lay_in, served


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[Site, str]]:
    with served(tmp_path) as found:
        lay_in(found[0], days=0.1)
        yield found


def _as_if_earlier(site: Site, minutes: int) -> None:
    """The running step as if it had begun so long ago."""
    trials = TrialBook(site.journal)
    trial = trials.load(PLANT.key, "heating")
    assert trial is not None
    ago = [
        mark._replace(start_ms=mark.start_ms - minutes * MINUTE_MS)
        if mark.end_ms is None
        else Mark(*mark)
        for mark in trial.marks
    ]
    started = trial.started_ms - minutes * MINUTE_MS
    trials.save(replace(trial, started_ms=started, marks=tuple(ago)))


def test_a_trial_from_the_phone(house: tuple[Site, str], browser_page: Page) -> None:
    """One setting, live watts, too soon to go on, resumed, measured, the rest skipped, kept."""
    site, url = house
    browser_page.set_viewport_size({"width": 390, "height": 844})
    browser_page.goto(f"{url}/swap/trial?id=heating")
    for danger in (
        "touch the knob only",
        "Pull only a plug made for it",
        "Only with the burner off",
    ):
        expect(browser_page.locator("#page")).to_contain_text(danger)
    browser_page.get_by_label("Settings as the knob names them").fill("II")
    browser_page.get_by_label("Setting it is left at").fill("II")
    browser_page.get_by_role("button", name="Begin a trial").click()
    browser_page.get_by_role("button", name="It is set: begin").click()
    expect(browser_page.locator("#trial-live")).to_contain_text("Still wanted")
    browser_page.get_by_role("button", name="Next").click()
    expect(browser_page.locator("#said")).to_contain_text("min still wanted")
    _as_if_earlier(site, 14)
    browser_page.goto(f"{url}/swap/trial?id=heating")
    expect(browser_page.locator("#trial-live")).to_contain_text("Enough readings")
    expect(browser_page.locator("#trial-live")).to_contain_text("24.")
    browser_page.get_by_label("What the pump's display shows").fill("24")
    browser_page.get_by_role("button", name="Next").click()
    expect(browser_page.locator("table")).to_contain_text("24 W")
    browser_page.get_by_role("button", name="Skip this step").click()
    browser_page.get_by_role("button", name="Keep the result").click()
    expect(browser_page.locator("#said")).to_contain_text("Set the pump back to 'II'")
    expect(browser_page.locator("#page")).to_contain_text("at II the pump shows 24 W")
    expect(browser_page.locator("#page")).to_contain_text("every setting lies within the plate's")
    assert browser_page.evaluate("document.documentElement.scrollWidth") <= 390
    assert [e.kind for e in site.journal.logbook(PLANT.key)] == ["setting"]
    baseline = site.journal.result(PLANT.key, "normal_w")
    assert baseline is not None
    assert baseline[1]["heating"] == pytest.approx(24.0, abs=0.5)


def test_moves_without_a_trial_are_refused_in_words(house: tuple[Site, str]) -> None:
    """Nothing is under way: each move says so; given up, it is forgotten."""
    site, _ = house
    what = {"plant": PLANT.key, "pump": "heating"}
    given = (plan_of("I, II", "", ["offset", "valve"]), None)
    assert "No trial is under way" in move(site, what | {"deed": "end"}, given, 10)
    move(site, what | {"deed": "start"}, given, 10)
    trial = TrialBook(site.journal).load(PLANT.key, "heating")
    assert trial is not None
    assert [step.label for step in trial.steps] == ["I", "II", "valve shut", "unplugged"]
    assert "no step is running" in move(site, what | {"deed": "end"}, given, 20)
    assert "given up" in move(site, what | {"deed": "drop"}, given, 30)
    assert TrialBook(site.journal).load(PLANT.key, "heating") is None


def test_a_pump_without_a_plug_is_told_so(house: tuple[Site, str]) -> None:
    """The plant file's second pump has one; without its channel there is no trial."""
    site, _ = house
    channels = tuple(c for c in PLANT.channels if c.id != "charging.power")
    bare = replace(PLANT, channels=channels)
    drawn = str(layout(View(site, bare, 10, {"id": "charging"})))
    assert "needs its smart plug" in drawn
