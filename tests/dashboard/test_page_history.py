"""The history page: gaps are drawn as gaps, spikes survive, zoom fetches what it shows."""

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, Span, parse_rfc3339
from analysis.readings.readings import Readings
from collector.installation.site import Site
from collector.store.chart_spans import picture
from collector.store.protocol import clock_ms
from dashboard.pages.history import (
    asked,
    clock_change,
    day_span,
    history_figure,
    offset_ms,
    zoomed_span,
)
from dashboard.parts.page import View
from houses import PLANT, served

POWER = PLANT.channels[0]


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[Site, str]]:
    with served(tmp_path) as found:
        yield found


def lay_in_with_gap(site: Site, days: float, gap_h: tuple[float, float]) -> int:
    """A reading a minute of 24 W with one spike of 88 W, and a gap so many hours ago."""
    now = clock_ms()
    time_ms = np.arange(now - round(days * DAY_MS), now, MINUTE_MS)
    value = np.full(len(time_ms), 24.0)
    value[len(value) // 3] = 88.0
    age_h = (now - time_ms) / HOUR_MS
    keep = (age_h > gap_h[0]) | (age_h < gap_h[1])
    site.store.load("quay-house/heating.power", Readings.of(time_ms[keep], value[keep]))
    return now


def strokes(page: Page, trace: int = -1) -> list[tuple[float, float]]:
    """Where every stroke of a line begins and ends on the screen, from left to right."""
    drawn = page.locator(".js-plotly-plot .scatterlayer .trace")
    expect(drawn.last.locator("path.js-line").first).to_be_attached()
    paths = drawn.nth(trace).locator("path.js-line")
    found = []
    for i in range(paths.count()):
        for stroke in (paths.nth(i).get_attribute("d") or "").split("M")[1:]:
            x = [float(pair.split(",")[0]) for pair in re.split("[LHV]", stroke) if "," in pair]
            found.append((min(x), max(x)))
    return sorted(found)


def test_gap_is_drawn_as_a_gap(house: tuple[Site, str], browser_page: Page) -> None:
    """The line on the screen has two strokes with a space between, none across the gap."""
    site, url = house
    lay_in_with_gap(site, 1.0, (12.0, 6.0))
    browser_page.goto(f"{url}/history?span=day&channels=heating.power")
    before, after = strokes(browser_page)
    assert (after[0] - before[1]) / (after[1] - before[0]) == pytest.approx(0.25, abs=0.03)
    expect(browser_page.locator("td[data-label=Known]")).to_contain_text("75.")


def test_spike_survives_a_year_and_shows_in_the_figures(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """One minute of 88 W in 370 days: in the band, and as the greatest value."""
    site, url = house
    lay_in_with_gap(site, 370.0, (0.0, 0.0))
    browser_page.goto(f"{url}/history?span=year&channels=heating.power")
    expect(browser_page.locator("td[data-label=Greatest]")).to_have_text("88.0 W")
    expect(browser_page.locator("figcaption")).to_contain_text("hour summaries")
    assert strokes(browser_page)
    highest = browser_page.evaluate(
        "Math.max(...document.querySelector('.js-plotly-plot').calcdata[0].map(p => p.y || 0))"
    )
    assert highest == 88.0


def test_zoom_fetches_finer_readings(house: tuple[Site, str], browser_page: Page) -> None:
    """Dragging over a piece of a month gives single readings of just that piece; back undoes it."""
    site, url = house
    lay_in_with_gap(site, 30.0, (0.0, 0.0))
    browser_page.goto(f"{url}/history?span=month&channels=heating.power")
    caption = browser_page.locator("figcaption")
    expect(caption).to_contain_text("minute summaries")
    box = browser_page.locator(".js-plotly-plot .nsewdrag").first.bounding_box()
    assert box is not None
    middle = box["y"] + box["height"] / 2
    browser_page.mouse.move(box["x"] + 0.5 * box["width"], middle)
    browser_page.mouse.down()
    browser_page.mouse.move(box["x"] + 0.7 * box["width"], middle, steps=8)
    browser_page.mouse.up()
    expect(caption).to_contain_text("single readings", timeout=15_000)
    start, end = (int(re.findall(rf"{k}=(\d+)", browser_page.url)[0]) for k in ("from", "to"))
    assert (end - start) / (30 * DAY_MS) == pytest.approx(0.2, abs=0.03)
    browser_page.go_back()
    expect(caption).to_contain_text("minute summaries", timeout=15_000)


def test_channels_chosen_stand_in_the_address(house: tuple[Site, str], browser_page: Page) -> None:
    """Another quantity gets a row of its own; what was never measured is said to be so."""
    site, url = house
    lay_in_with_gap(site, 1.0, (0.0, 0.0))
    browser_page.goto(f"{url}/history?span=day&channels=heating.power,store.top,nonsense")
    expect(browser_page.locator(".js-plotly-plot .ytitle")).to_have_text("power [W]")
    expect(browser_page.locator(".js-plotly-plot .y2title")).to_have_text("temperature [°C]")
    row = browser_page.locator("tr", has_text="Store top temperature")
    expect(row.locator("td[data-label=Known]")).to_have_text("never")
    browser_page.locator("#history-channels").click()
    browser_page.locator(".dash-options-list-option", has_text="Charging power").click()
    browser_page.wait_for_url(re.compile("charging.power"))
    expect(browser_page.locator("tr", has_text="Charging power")).to_be_visible()


def test_empty_span_says_so(house: tuple[Site, str], browser_page: Page) -> None:
    """No empty chart that could be taken for zero."""
    browser_page.goto(f"{house[1]}/history")
    expect(browser_page.locator(".empty")).to_contain_text("Nothing was measured")


@pytest.mark.parametrize(
    "query",
    [
        {"from": "x", "to": "1"}, {"from": "9", "to": "3"}, {"span": "eternity"},
        {"from": "1", "to": str(1 << 60)}, {"channels": ",,'"}, {"span": "all"},
    ],
)  # fmt: skip
def test_wrong_address_shows_the_last_day(house: tuple[Site, str], query: dict[str, str]) -> None:
    """Whatever stands in the address, a span and channels come of it."""
    what = asked(View(house[0], PLANT, 1_800_000_000_000, query))
    assert what.span == Span(1_800_000_000_000 - DAY_MS, 1_800_000_000_000)
    assert what.channels


def test_thinned_out_readings_are_replaced_by_what_is_kept(house: tuple[Site, str]) -> None:
    """Where single readings are gone, an hour of last year comes from minute summaries."""
    site, _ = house
    now = lay_in_with_gap(site, 40.0, (0.0, 0.0))
    site.store._keep_days["sealed"] = 10  # type: ignore[attr-defined]
    site.store.tend(now)
    old = Span(now - 30 * DAY_MS, now - 30 * DAY_MS + HOUR_MS)
    drawn = picture(site.store, PLANT, POWER, old, pixels=500)
    assert drawn.resolution == "minute"
    assert drawn.overall.coverage > 0.95
    recent = picture(site.store, PLANT, POWER, Span(now - 2 * HOUR_MS, now), pixels=500)
    assert recent.resolution == "raw"


def test_chart_shows_the_plants_clock_and_zoom_comes_back_to_utc() -> None:
    """Summer in Dublin is an hour ahead; a drag over the chart's clock gives true moments."""
    noon = parse_rfc3339("2026-07-01T12:00:00Z")
    span = Span(noon - DAY_MS, noon)
    assert offset_ms(span, "Europe/Dublin") == HOUR_MS
    drag = {"xaxis.range[0]": "2026-07-01 10:30", "xaxis.range[1]": "2026-07-01 11:45:30.5"}
    found = zoomed_span(drag, span, "Europe/Dublin")
    assert found == Span(noon - 150 * MINUTE_MS, noon - 75 * MINUTE_MS + 30_500)
    assert zoomed_span({"autosize": True}, span, "Europe/Dublin") is None


def test_day_of_a_clock_change_has_its_own_length() -> None:
    """The day chosen runs from local midnight to local midnight: 25 hours in October."""
    span = Span(parse_rfc3339("2026-10-20T10:00:00Z"), parse_rfc3339("2026-10-21T10:00:00Z"))
    day = day_span("2026-10-25", span, "Europe/Dublin")
    assert day is not None
    assert day.hours == 25
    assert day_span("2026-10-20", span, "Europe/Dublin") is None


def test_figure_keeps_units_apart(house: tuple[Site, str]) -> None:
    """Watts and degrees never share an axis."""
    site, _ = house
    now = lay_in_with_gap(site, 1.0, (0.0, 0.0))
    query = {"channels": "heating.power,charging.power,store.top"}
    what = asked(View(site, PLANT, now, query))
    drawn = [picture(site.store, PLANT, c, what.span, pixels=100) for c in what.channels]
    figure = history_figure(what, drawn, "Europe/Dublin")
    axes = {t["meta"]: t["yaxis"] for t in figure["data"] if "meta" in t}
    assert axes == {"heating.power": "y", "charging.power": "y", "store.top": "y2"}


def test_a_clock_change_within_a_chart_is_told() -> None:
    """A week about the end of summer time in Dublin (25 October 2026) and one without a change."""
    at = parse_rfc3339("2026-10-25T01:00:00Z")
    across = Span(at - 3 * DAY_MS, at + 4 * DAY_MS)
    assert "60 minutes behind the clock on the wall" in clock_change(across, "Europe/Dublin")
    assert clock_change(across, "UTC") == ""
    spring = parse_rfc3339("2026-03-29T01:00:00Z")
    assert "60 minutes ahead" in clock_change(Span(spring - 1, spring + DAY_MS), "Europe/Dublin")
