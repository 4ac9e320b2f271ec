"""The state diagram of IEC 62682, transition by transition."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.alarms.states import Alarm, Timing, act, advance, dated, graded

NOW = Timing()
FRESH = Alarm(plant="quay", subject="heating", fault="stall", urgency="now")


def raised() -> Alarm:
    return advance(FRESH, 1000, present=True, timing=NOW)


def test_normal_to_unacknowledged_to_acknowledged_to_normal() -> None:
    """Condition comes, person acknowledges, condition goes."""
    alarm = raised()
    assert (alarm.state, alarm.since_ms, alarm.raised_ms) == ("unacknowledged", 1000, 1000)
    alarm = act(alarm, "acknowledge", 2000)
    assert (alarm.state, alarm.since_ms) == ("acknowledged", 2000)
    assert advance(alarm, 3000, present=False, timing=NOW).state == "normal"


def test_returned_until_acknowledged() -> None:
    """Condition goes before anybody looked: it stays to be acknowledged."""
    alarm = advance(raised(), 2000, present=False, timing=NOW)
    assert alarm.state == "returned"
    assert advance(alarm, 3000, present=True, timing=NOW).state == "unacknowledged"
    assert act(alarm, "acknowledge", 3000).state == "normal"


def test_delays_against_fleeting_conditions() -> None:
    """On-delay and off-delay: what does not last changes nothing."""
    timing = Timing(on_delay_s=60, off_delay_s=300)
    alarm = FRESH
    for second, present in ((0, True), (30, True), (40, False), (50, True), (100, True)):
        alarm = advance(alarm, second * 1000, present=present, timing=timing)
        assert alarm.state == "normal"
    alarm = advance(alarm, 110_000, present=True, timing=timing)
    assert alarm.state == "unacknowledged"
    for second, present in ((200, False), (400, True), (500, False), (799, False)):
        alarm = advance(alarm, second * 1000, present=present, timing=timing)
        assert alarm.state == "unacknowledged"
    assert advance(alarm, 800_000, present=False, timing=timing).state == "returned"


def test_unknown_changes_nothing() -> None:
    """Silence of the sensor neither raises nor ends an alarm."""
    assert advance(raised(), 9000, present=None, timing=NOW).state == "unacknowledged"
    assert advance(FRESH, 9000, present=None, timing=NOW).state == "normal"


def test_shelved_comes_back_by_itself() -> None:
    """Shelving ends at its time; a condition still present asks for attention anew."""
    alarm = act(raised(), "shelve", 2000, until_ms=10_000)
    assert alarm.state == "shelved"
    assert advance(alarm, 9_999, present=True, timing=NOW).state == "shelved"
    assert advance(alarm, 10_000, present=True, timing=NOW).state == "unacknowledged"
    gone = advance(alarm, 5_000, present=False, timing=NOW)
    assert gone.state == "shelved"
    assert advance(gone, 10_000, present=False, timing=NOW).state == "normal"
    assert act(alarm, "unshelve", 3000).state == "unacknowledged"


def test_shelving_needs_an_end() -> None:
    """Nothing can be put away for ever."""
    assert act(raised(), "shelve", 2000).state == "unacknowledged"


def test_out_of_service_stays_until_put_back() -> None:
    """During work on the plant nothing is raised; afterwards a present condition is."""
    alarm = act(FRESH, "take_out", 500)
    alarm = advance(alarm, 1000, present=True, timing=NOW)
    assert alarm.state == "out_of_service"
    assert act(alarm, "put_back", 2000).state == "unacknowledged"
    assert act(act(FRESH, "take_out", 500), "put_back", 600).state == "normal"


@pytest.mark.parametrize("deed", ["acknowledge", "unshelve", "put_back"])
def test_deeds_that_do_not_apply_change_nothing(deed: str) -> None:
    """Acknowledging a normal alarm, and the like, is harmless."""
    assert act(FRESH, deed, 1000) == FRESH  # type: ignore[arg-type]


@given(st.lists(st.sampled_from([True, False, None]), max_size=30))
def test_advance_twice_is_advance_once(seen: list[bool | None]) -> None:
    """Judging again at the same moment changes nothing, so a repeated turn is safe."""
    timing = Timing(on_delay_s=2, off_delay_s=3)
    alarm = FRESH
    for second, present in enumerate(seen):
        once = advance(alarm, second * 1000, present=present, timing=timing)
        assert advance(once, second * 1000, present=present, timing=timing) == once
        alarm = once


def test_what_grows_urgent_asks_anew() -> None:
    """An acknowledged alarm that could wait and now cannot goes back to unacknowledged."""
    waits = replace(FRESH, urgency="soon")
    alarm = act(advance(waits, 1000, present=True, timing=NOW), "acknowledge", 2000)
    grown = graded(alarm, "now", 3000)
    assert (grown.state, grown.urgency, grown.raised_ms) == ("unacknowledged", "now", 3000)


def test_what_grows_urgent_comes_off_the_shelf() -> None:
    """Shelved for a week as something that could wait: once it cannot, somebody is told."""
    waits = replace(FRESH, urgency="soon")
    shelved = act(waits, "shelve", 1000, until_ms=600_000)
    recurs = advance(graded(shelved, "now", 3000), 3000, present=True, timing=NOW)
    assert (recurs.state, recurs.urgency) == ("unacknowledged", "now")
    lasts = replace(shelved, is_present=True)
    assert graded(lasts, "now", 3000).state == "unacknowledged"
    put_away = act(lasts, "take_out", 2000)
    assert graded(put_away, "now", 3000).state == "out_of_service"
    as_urgent = act(raised(), "shelve", 2000, until_ms=600_000)
    assert graded(as_urgent, "now", 3000).state == "shelved"


def test_what_was_urgent_stays_so_until_it_ends() -> None:
    """A weaker sign later takes no urgency back; after the end the next one has its own."""
    alarm = raised()
    assert graded(alarm, "soon", 2000) == alarm
    ended = advance(alarm, 3000, present=False, timing=NOW)
    assert graded(ended, "soon", 4000).urgency == "soon"


def test_moments_of_a_clock_that_was_ahead_hold_nothing_up() -> None:
    """Twelve years ahead, then set back: delay and shelf last as long as they were meant to."""
    ahead = 378_000_000_000
    timing = Timing(on_delay_s=60)
    waiting = advance(FRESH, ahead, present=True, timing=timing)
    assert dated(waiting, 1000).changing_since_ms == 1000
    shelved = dated(act(raised(), "shelve", ahead, until_ms=ahead + 5000), 2000)
    assert (shelved.since_ms, shelved.shelved_until_ms) == (2000, 7000)
    assert advance(shelved, 7000, present=True, timing=NOW).state == "unacknowledged"
    assert dated(raised(), 2000) == raised()
