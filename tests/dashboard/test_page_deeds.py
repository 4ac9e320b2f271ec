"""Pages left open while plant files change: what was meant for one plant happens to no other."""

from collections.abc import Iterator
from contextlib import closing
from http import HTTPStatus
from http.client import HTTPConnection
from pathlib import Path

import pytest
from flask import Flask

from analysis.base.time import HOUR_MS, MINUTE_MS
from collector.installation.site import Site
from collector.journal.exchanges import swap_book
from collector.journal.journal import Event
from collector.store.protocol import clock_ms
from dashboard.pages import alarms, fitting, now, trial
from dashboard.parts.page import NotHereError, View, view_of
from houses import PLANT, served


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    with served(tmp_path) as (found, _):
        yield found


def test_deeds_on_a_plant_of_the_past_are_refused(site: Site) -> None:
    """Alarms, list and trial of a renamed plant leave the first one's alone."""
    moment, gone = clock_ms(), {"plant": "old-mill", "subject": "heating", "pump": "heating"}
    with (
        Flask("pages").test_request_context(),
        pytest.raises(NotHereError, match="no plant 'old-mill' is looked after"),
    ):
        alarms.done(site, {"type": "service", "deed": "take_out", **gone})
    with pytest.raises(NotHereError, match="old-mill"):
        fitting.done(site, {"deed": "begin", **gone}, ("", "Ann"), moment)
    with pytest.raises(NotHereError, match="old-mill"):
        trial.move(
            site, {"deed": "start", **gone}, (trial.plan_of("I, II", "I", None), None), moment
        )
    with pytest.raises(NotHereError, match="old-mill"):
        view_of(site, "?plant=old-mill", moment)
    assert site.journal.alarms() == []
    assert swap_book(site.settings, site.journal).records() == []


def test_deed_on_a_pump_of_the_past_is_refused_in_words(site: Site) -> None:
    """A pump taken out of the plant file has no list and no trial any more."""
    gone = {"plant": PLANT.key, "pump": "garage"}
    with pytest.raises(NotHereError, match="no pump 'garage' is in the plant file of Quay House"):
        fitting.done(site, {"deed": "begin", **gone}, ("", "Ann"), clock_ms())


def test_what_happened_is_of_this_plant_however_much_happens_elsewhere(site: Site) -> None:
    """With hundreds of plants the newest hundred events are mostly of others."""
    mine = Event(1000, PLANT.key, "heating", "stall", "it stood")
    site.journal.add_events([mine, Event(1001, "", "collector", "started", "collecting")])
    site.journal.add_events(Event(2000 + i, "elsewhere", "x", "stall", "no") for i in range(150))
    told = site.journal.events(PLANT.key, 60, with_own=True)
    assert [e.words for e in told] == ["collecting", "it stood"]
    drawn = str(alarms.layout(View(site, PLANT, clock_ms())))
    assert "it stood" in drawn


def test_watch_that_hangs_is_no_all_clear(site: Site) -> None:
    """Whatever holds it up: of a plant judged three hours ago nobody reads that all is well."""
    site.journal.save_result(PLANT.key, "watch", clock_ms() - 3 * HOUR_MS, {})
    assert "was judged 3 h ago, and not since" in str(now.layout(View(site, PLANT, clock_ms())))
    site.journal.save_result(PLANT.key, "watch", clock_ms() - MINUTE_MS, {})
    assert "not since" not in str(now.layout(View(site, PLANT, clock_ms())))


def test_huge_request_is_refused_before_it_is_taken_in(tmp_path: Path) -> None:
    """Nobody can fill memory or disk of the box from the network, password or not."""
    with served(tmp_path) as (_, url):
        host = url.removeprefix("http://")
        with closing(HTTPConnection(host, timeout=10)) as connection:
            connection.putrequest("POST", "/_dash-update-component")
            connection.putheader("Content-Length", str(8 << 20))
            connection.endheaders()
            assert connection.getresponse().status == HTTPStatus.REQUEST_ENTITY_TOO_LARGE
