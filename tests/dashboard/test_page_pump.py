"""The pump page: its state in a sentence, signs over what was usual, findings, logbook."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from analysis.alarms.states import Alarm
from analysis.base.time import DAY_MS, HOUR_MS, Span, from_ms
from analysis.faults.registry import FAULTS
from analysis.plant.finding import DataProblem, Evidence, Finding
from analysis.plant.plant import Plant, PumpPlate, Swap
from analysis.pump.epochs import pump_history
from analysis.pump.mode_advice import Advice
from analysis.reports.pump import pump_sheet
from collector.installation.alarm_acts import Act, act_on_part
from collector.installation.site import Site
from collector.journal.journal import StandingAlarm
from collector.store.protocol import StoreRecord
from houses import PLANT, lay_in, left_unwatched, served, standing


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[Site, str]]:
    with served(tmp_path) as found:
        yield found


def work_out(site: Site, now: int, days: float, plant: Plant = PLANT) -> None:
    """What the night would have worked out."""
    span = Span(now - round(days * DAY_MS), now)
    record = StoreRecord(site.store, plant, span)
    histories = [pump_history(plant, pump, record, span) for pump in plant.pumps]
    sheets = [pump_sheet(h) for h in histories if h is not None]
    site.journal.save_result(PLANT.key, "pumps", now, sheets)


def finding(now: int, end_ms: int | None) -> Finding:
    sign = Evidence("charging.power", "power while running", 57.0, "47 to 49", "W")
    return Finding(
        subject="charging", fault="bearing_drag", start_ms=now - 9 * DAY_MS, end_ms=end_ms,
        urgency="soon", confidence=0.7, evidence=(sign,),
    )  # fmt: skip


def test_signs_lie_over_what_was_usual(house: tuple[Site, str], browser_page: Page) -> None:
    """A chart of daily power with the band of the epoch, and the pump's state in a sentence."""
    site, url = house
    now = lay_in(site, days=20)
    work_out(site, now, 20)
    browser_page.goto(f"{url}/pump?id=charging")
    expect(browser_page.locator("h1")).to_have_text("Charging pump")
    lead = browser_page.locator(".lead")
    expect(lead).to_contain_text("Runs as usual (about 48 W). Nothing wrong was found.")
    sign = browser_page.locator(".sign", has_text="Power while running")
    points = sign.locator(".scatterlayer .points path")
    expect(points.first).to_be_attached()
    assert 19 <= points.count() <= 21
    expect(sign.locator(".shapelayer path")).to_have_count(1)
    expect(browser_page.locator(".sign", has_text="Power factor")).to_have_count(0)
    epochs = browser_page.locator("tr", has_text="first readings")
    expect(epochs).to_contain_text("learned")
    expect(epochs).to_contain_text("48 to 48 W")


def test_signs_are_those_of_the_pump_in_place(house: tuple[Site, str], browser_page: Page) -> None:
    """After an exchange the old pump's days are left out of the charts, not of the epochs."""
    site, url = house
    now = lay_in(site, days=20)
    plate = PumpPlate(drive="induction", rated_power_w=(30.0, 60.0))
    swap = Swap(pump="charging", time=from_ms(now - 9 * DAY_MS), old=plate, new=plate)
    work_out(site, now, 20, replace(PLANT, swaps=(swap,)))
    browser_page.goto(f"{url}/pump?id=charging")
    points = browser_page.locator(".sign", has_text="Power while running").locator(
        ".scatterlayer .points path"
    )
    expect(points.first).to_be_attached()
    assert 9 <= points.count() <= 11
    expect(browser_page.locator("tr", has_text="first readings")).to_be_attached()
    expect(browser_page.get_by_text("the page Swap has the one before it")).to_be_visible()


def test_new_pump_is_said_to_be_learned(house: tuple[Site, str], browser_page: Page) -> None:
    """Without a week of running nothing is usual yet, and no band is drawn."""
    site, url = house
    now = lay_in(site, days=4)
    work_out(site, now, 4)
    browser_page.goto(f"{url}/pump?id=charging")
    expect(browser_page.locator(".lead")).to_contain_text("It is being learned")
    expect(browser_page.locator("tr", has_text="first readings")).to_contain_text("learning")
    expect(browser_page.locator(".scatterlayer .points path").first).to_be_attached()
    expect(browser_page.locator(".shapelayer path")).to_have_count(0)


def test_acknowledging_and_writing_down_beside_the_pump(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """The alarm's buttons and the logbook work here as on their own pages."""
    site, url = house
    now = lay_in(site)
    alarm = Alarm(
        plant=PLANT.key, subject="charging", fault="bearing_drag", urgency="soon",
        state="unacknowledged", since_ms=now - HOUR_MS, raised_ms=now - HOUR_MS, is_present=True,
    )  # fmt: skip
    other = replace(alarm, subject="heating")
    document = finding(now, None).document()
    site.journal.save_alarms([StandingAlarm(alarm, document), StandingAlarm(other, None)])
    browser_page.goto(f"{url}/pump?id=charging")
    card = browser_page.locator(".card.soon")
    expect(card).to_have_count(1)
    expect(card).to_contain_text("57 W power while running")
    browser_page.get_by_role("button", name="Acknowledge").click()
    expect(browser_page.locator("#said")).to_contain_text("now acknowledged")
    states = {a.alarm.subject: a.alarm.state for a in site.journal.alarms()}
    assert states == {"charging": "acknowledged", "heating": "unacknowledged"}
    expect(browser_page.get_by_role("button", name="Acknowledge")).to_have_count(0)
    browser_page.locator("#entry-words").fill("Listened: it hums")
    browser_page.get_by_role("button", name="Write down").click()
    expect(browser_page.locator(".card", has_text="Listened: it hums")).to_be_visible()
    assert site.journal.logbook(PLANT.key)[0].subject == "charging"


def test_state_follows_while_the_page_stays_open(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """A page left open overnight must not go on saying that all is well."""
    site, url = house
    now = lay_in(site)
    browser_page.goto(f"{url}/pump?id=charging")
    expect(browser_page.locator(".lead")).to_contain_text("Nothing wrong was found.")
    site.journal.save_alarms([standing("charging", "stall", now)])
    expect(browser_page.locator(".lead")).to_contain_text("Alarm: Pump does not run")
    expect(browser_page.locator("nav .badge")).to_have_text("1")
    left_unwatched(site, now)
    expect(browser_page.locator(".banner.now")).to_contain_text("judged 1 h ago, and not since")
    expect(browser_page.locator(".lead")).to_contain_text("not watched just now")


def test_pump_out_of_service_is_no_list_of_alarms(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """All its alarms are put away: the page says that, and none of them as if it stood."""
    site, url = house
    now = lay_in(site)
    act_on_part(site, PLANT, "charging", Act("take_out"), now)
    browser_page.goto(f"{url}/pump?id=charging")
    lead = browser_page.locator(".lead")
    expect(lead).to_contain_text("Out of service: nobody is told anything of it")
    expect(lead).not_to_contain_text("Alarm:")
    expect(browser_page.locator(".card.now")).to_have_count(0)
    browser_page.get_by_role("button", name="Put all back into service").click()
    expect(lead).to_contain_text("Nothing wrong was found.")
    assert {a.alarm.state for a in site.journal.alarms()} == {"normal"}


def test_band_of_a_narrow_sign_can_be_seen(house: tuple[Site, str], browser_page: Page) -> None:
    """Some hundredths of a watt about 48 W: from zero the band would be a hair."""
    site, url = house
    now = lay_in(site, days=12)
    work_out(site, now, 12)
    browser_page.goto(f"{url}/pump?id=charging")
    band = browser_page.locator(".shapelayer path").first
    expect(band).to_be_attached()
    box = band.bounding_box()
    assert box is not None
    assert box["height"] > 5


def test_past_findings_and_what_cannot_be_judged(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """What is over is kept as history; a missing sensor is named with the fault it would settle."""
    site, url = house
    now = lay_in(site)
    over, elsewhere = finding(now, now - DAY_MS), replace(finding(now, now), subject="heating")
    unknown = {"subject": "charging", "fault": "capacitor_ageing", "needs": "a power factor"}
    site.journal.save_result(
        PLANT.key, "slow", now,
        {"findings": [over.document(), elsewhere.document()], "cannot_judge": [unknown]},
    )  # fmt: skip
    browser_page.goto(f"{url}/pump?id=charging")
    expect(browser_page.locator("section > details")).to_have_count(1)
    expect(browser_page.locator("tr", has_text="a power factor")).to_be_visible()


@pytest.mark.parametrize("query", ["", "?id=nonsense"])
def test_wrong_pump_shows_the_first(
    house: tuple[Site, str], browser_page: Page, query: str
) -> None:
    """An old address leads somewhere useful."""
    browser_page.goto(f"{house[1]}/pump{query}")
    expect(browser_page.locator("h1")).to_have_text("Heating pump")


def unknown_kelvin() -> dict[str, object]:
    return {"value": None, "unit": "K", "reason": "needs a temperature"}


def mode_document(advice: list[dict[str, object]]) -> dict[str, object]:
    """A pump's mode as the night writes it, told to be too strong."""
    kelvin = {"value": 3.5, "low": 2.0, "high": 5.0, "unit": "K", "basis": "means"}
    unknown = unknown_kelvin()
    return {
        "pump": "heating",
        "control": {
            "behaviour": "proportional pressure", "confidence": 0.8, "why": "30 % of the greatest",
        },
        "changes": [{"time": "2026-01-05T10:00:00Z", "before_w": 20.0, "after_w": 24.0}],
        "night_reduction": {
            "state": "engages by day", "times": 9, "chances": 12, "late_mornings": 0,
            "by_day_h_per_day": 2.5, "by_night_h_per_day": 6.0,
        },
        "place": {"words": "in the flow", "suits_night_reduction": True},
        "strength": {
            "verdict": "too strong", "difference": kelvin, "cold": kelvin, "mild": unknown,
        },
        "advice": advice,
    }  # fmt: skip


def test_setting_is_told_with_a_trial_week(house: tuple[Site, str], browser_page: Page) -> None:
    """Behaviour, strength and night reduction in figures; advice with what to watch."""
    site, url = house
    now = lay_in(site)
    advice = Advice(what="one setting lower", because="3.5 K apart", watch=("the farthest room",))
    site.journal.save_result(PLANT.key, "mode", now, [mode_document([advice.document()])])
    browser_page.goto(f"{url}/pump?id=heating")
    setting = browser_page.locator("section", has=browser_page.get_by_role("heading", name="Set"))
    expect(setting).to_contain_text("proportional pressure")
    strength = setting.locator(".fact", has_text="Strength")
    expect(strength).to_contain_text("too strong")
    expect(strength).to_contain_text("flow 3.5 K above return")
    night = setting.locator(".fact", has_text="Night reduction")
    expect(night).to_contain_text("6 h a day by night, 2.5 h by day")
    card = setting.locator(".card", has_text="Try one setting lower")
    expect(card).to_contain_text("one week")
    expect(card).to_contain_text("the farthest room")
    expect(setting.locator("tr", has_text="20 to 24 W")).to_be_visible()


def test_setting_that_fits_or_is_not_known_yet_says_so(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """No advice is told as such; a pump without a document waits for tonight."""
    site, url = house
    now = lay_in(site)
    site.journal.save_result(PLANT.key, "mode", now, [mode_document([])])
    browser_page.goto(f"{url}/pump?id=heating")
    expect(browser_page.get_by_text("There is no reason to try another setting.")).to_be_visible()
    known = mode_document([])
    strength = {part: unknown_kelvin() for part in ("difference", "cold", "mild")}
    little = known | {
        "control": {"behaviour": None, "why": "needs twelve hours of running"},
        "strength": strength | {"verdict": "unknown"},
    }
    site.journal.save_result(PLANT.key, "mode", now, [little])
    browser_page.reload()
    expect(browser_page.get_by_text("Too little is known to advise")).to_be_visible()
    browser_page.goto(f"{url}/pump?id=charging")
    expect(browser_page.get_by_text("The program works out tonight how it is set")).to_be_visible()


def test_what_lies_beside_a_pump_is_shown_there(
    house: tuple[Site, str], browser_page: Page
) -> None:
    """Alarms of the boiler and odd channels of this pump are shown; those of others are not."""
    site, url = house
    now = lay_in(site)
    boiler = Alarm(
        plant=PLANT.key, subject="boiler", fault="short_cycling", urgency="soon",
        state="unacknowledged", since_ms=now - HOUR_MS, raised_ms=now - HOUR_MS, is_present=True,
    )  # fmt: skip
    store = replace(boiler, subject="store", fault="store_too_cool")
    site.journal.save_alarms([StandingAlarm(boiler, None), StandingAlarm(store, None)])
    odd = [
        DataProblem(f"{name}.flow", f"below what {name} showed", now - DAY_MS, None).document()
        for name in ("heating", "charging")
    ]
    site.journal.save_result(PLANT.key, "departures", now, odd)
    browser_page.goto(f"{url}/pump?id=heating")
    beside = browser_page.locator(
        "section", has=browser_page.get_by_role("heading", name="Beside this pump")
    )
    expect(beside.locator("tbody tr")).to_have_count(2)
    expect(beside.get_by_text(FAULTS["short_cycling"].title)).to_be_visible()
    expect(beside.get_by_text("below what heating showed")).to_be_visible()
    browser_page.goto(f"{url}/pump?id=charging")
    expect(beside.get_by_text(FAULTS["store_too_cool"].title)).to_be_visible()
