"""When a person is told: at once, again, in the morning, once a day, and never thirty times."""

from dataclasses import replace
from datetime import time

import pytest

from analysis.alarms.notices import Notice, NoticeRules, Told, digest_due, notices_due, put_away_due
from analysis.alarms.states import Alarm, Timing, act, advance
from analysis.base.time import HOUR_MS, MINUTE_MS, parse_rfc3339

NOON = parse_rfc3339("2026-01-15T12:00:00Z")
NIGHT = parse_rfc3339("2026-01-15T23:30:00Z")
RULES = NoticeRules(
    timezone="Europe/Dublin",
    explaining=frozenset({"supply_lost"}),
    silence=frozenset({"channel_silent"}),
)


def raised(fault: str, urgency: str, at: int, plant: str = "quay") -> Alarm:
    return Alarm(
        plant=plant, subject="heating", fault=fault, urgency=urgency, state="unacknowledged",  # type: ignore[arg-type]
        since_ms=at, is_present=True, raised_ms=at,
    )  # fmt: skip


def after(notices: list[Notice], now: int) -> list[Told]:
    return [Told(now, a.key, n.reason) for n in notices for a in n.alarms]


@pytest.mark.parametrize("now", [NOON, NIGHT])
def test_urgent_is_told_at_once_day_and_night_and_repeated_until_acknowledged(now: int) -> None:
    """First word at once, then every half hour, silence after acknowledging."""
    alarm = raised("stall", "now", now)
    told: list[Told] = []
    reasons = []
    for minute in range(0, 91, 10):
        moment = now + minute * MINUTE_MS
        notices = notices_due([alarm], told, moment, rules=RULES)
        reasons += [(minute, n.reason) for n in notices]
        told += after(notices, moment)
    assert reasons == [(0, "first"), (30, "repeat"), (60, "repeat"), (90, "repeat")]
    known = replace(alarm, state="acknowledged")
    assert notices_due([known], told, now + 5 * HOUR_MS, rules=RULES) == []


def test_soon_waits_for_the_morning() -> None:
    """What can wait is not told in the quiet hours, and once after them."""
    alarm = raised("bearing_drag", "soon", NIGHT)
    assert notices_due([alarm], [], NIGHT, rules=RULES) == []
    morning = parse_rfc3339("2026-01-16T07:00:00Z")
    (notice,) = notices_due([alarm], [], morning, rules=RULES)
    assert notice.reason == "first"
    told = after([notice], morning)
    assert notices_due([alarm], told, morning + 9 * HOUR_MS, rules=RULES) == []


def test_return_is_told_once_to_whoever_was_told_of_the_fault() -> None:
    """Back to normal is news only after bad news."""
    alarm = raised("stall", "now", NOON)
    told = after(notices_due([alarm], [], NOON, rules=RULES), NOON)
    gone = replace(alarm, state="returned", is_present=False, since_ms=NOON + HOUR_MS)
    (notice,) = notices_due([gone], told, NOON + HOUR_MS, rules=RULES)
    assert notice.reason == "returned"
    told += after([notice], NOON + HOUR_MS)
    assert notices_due([gone], told, NOON + 2 * HOUR_MS, rules=RULES) == []
    mild = replace(gone, urgency="soon")
    assert notices_due([mild], [], NOON + HOUR_MS, rules=RULES) == []


def test_urgent_that_nobody_could_be_told_of_is_told_when_it_is_over() -> None:
    """The mains were out and the router with them: the night's cut is told once it answers."""
    cut = raised("supply_lost", "now", NIGHT)
    over = replace(cut, state="returned", is_present=False, since_ms=NIGHT + HOUR_MS)
    stalled = replace(over, fault="stall", raised_ms=NIGHT + MINUTE_MS)
    (notice,) = notices_due([over, stalled], [], NIGHT + 2 * HOUR_MS, rules=RULES)
    assert (notice.reason, [a.fault for a in notice.alarms]) == ("returned", ["supply_lost"])
    told = after([notice], NIGHT + 2 * HOUR_MS)
    assert notices_due([over, stalled], told, NIGHT + 3 * HOUR_MS, rules=RULES) == []


def test_raised_again_is_told_again() -> None:
    """A new occurrence is not silenced by what was told of the last one."""
    told = [Told(NOON, ("quay", "heating", "stall"), "first")]
    again = raised("stall", "now", NOON + HOUR_MS)
    (notice,) = notices_due([again], told, NOON + HOUR_MS, rules=RULES)
    assert notice.reason == "first"


def test_power_cut_is_one_message() -> None:
    """A lost supply explains the pumps and sensors that fall silent with it."""
    cut = raised("supply_lost", "now", NOON)
    rest = [
        replace(raised("stall", "now", NOON + i * MINUTE_MS), subject=f"pump-{i}")
        for i in range(30)
    ]
    (notice,) = notices_due([cut, *rest], [], NOON + 30 * MINUTE_MS, rules=RULES)
    assert [a.fault for a in notice.alarms] == ["supply_lost"]
    ended = replace(cut, state="normal", is_present=False)
    lasting = notices_due([ended, rest[0]], [], NOON + 3 * HOUR_MS, rules=RULES)
    assert [a.fault for n in lasting for a in n.alarms] == ["stall"]


def test_alarms_of_one_plant_come_together() -> None:
    """Three at once are one notice, the most urgent first."""
    alarms = [
        raised("bearing_drag", "soon", NOON - 1),
        raised("overheating", "now", NOON),
        raised("stall", "now", NOON - 2),
    ]
    (notice,) = notices_due(alarms, [], NOON, rules=RULES)
    assert [a.fault for a in notice.alarms] == ["stall", "overheating", "bearing_drag"]
    assert notice.urgency == "now"


def test_while_notices_pile_up_only_what_is_urgent_goes_out() -> None:
    """Thirty sensors drop out one after the other: six notices, then one for the rest."""
    told: list[Told] = []
    sent = []
    alarms: list[Alarm] = []
    for n in range(30):
        moment = NOON + n * MINUTE_MS // 4
        alarms.append(replace(raised("channel_silent", "soon", moment), subject=f"sensor-{n}"))
        notices = notices_due(alarms, told, moment, rules=RULES)
        sent += [len(notice.alarms) for notice in notices]
        told += after(notices, moment)
    assert sent == [1] * 6
    stall = raised("stall", "now", NOON + 8 * MINUTE_MS)
    (urgent,) = notices_due([stall], told, NOON + 8 * MINUTE_MS, rules=RULES)
    assert [a.fault for a in urgent.alarms] == ["stall"]
    (rest,) = notices_due(alarms, told, NOON + 12 * MINUTE_MS, rules=RULES)
    assert len(rest.alarms) == 24


def test_shelved_and_out_of_service_say_nothing() -> None:
    """What was put away stays quiet."""
    for state in ("shelved", "out_of_service", "normal"):
        alarm = replace(raised("stall", "now", NOON), state=state)  # type: ignore[arg-type]
        assert notices_due([alarm], [], NOON, rules=RULES) == []


def test_digest_once_a_day_with_what_stands() -> None:
    """At eight, once, and only if there is something."""
    note = raised("standstill_risk", "note", NIGHT)
    eight = parse_rfc3339("2026-01-16T08:00:00Z")
    assert digest_due([note], None, eight - MINUTE_MS, rules=RULES) is None
    assert digest_due([], None, eight, rules=RULES) is None
    digest = digest_due([note], eight - 24 * HOUR_MS, eight, rules=RULES)
    assert digest is not None
    assert [a.fault for a in digest.alarms] == ["standstill_risk"]
    assert digest_due([note], eight, eight + 5 * HOUR_MS, rules=RULES) is None


def test_urgent_that_was_acknowledged_and_lasts_is_in_the_digest() -> None:
    """Acknowledged half asleep at night: in the morning the stall is still there."""
    stall = replace(raised("stall", "now", NIGHT), state="acknowledged")
    digest = digest_due([stall], None, parse_rfc3339("2026-01-16T08:00:00Z"), rules=RULES)
    assert digest is not None
    assert [a.fault for a in digest.alarms] == ["stall"]
    loud = raised("stall", "now", NIGHT)
    assert digest_due([loud], None, NIGHT + 9 * HOUR_MS, rules=RULES) is None


def test_digest_leaves_what_comes_after_its_hour_to_the_next_morning() -> None:
    """A trifle at half past eleven at night, on a day without a digest, wakes nobody."""
    note = raised("standstill_risk", "note", NIGHT)
    assert digest_due([note], None, NIGHT + MINUTE_MS, rules=RULES) is None
    assert digest_due([note], None, NIGHT + 9 * HOUR_MS, rules=RULES) is not None


def test_digest_missed_by_a_box_that_was_off_comes_by_day_only() -> None:
    """Started at noon it is made up for, started at night it waits; an early hour stands."""
    note = raised("standstill_risk", "note", NOON - 24 * HOUR_MS)
    assert digest_due([note], None, NOON, rules=RULES) is not None
    assert digest_due([note], None, NIGHT, rules=RULES) is None
    early = replace(RULES, digest_at=time(6, 0))
    six = parse_rfc3339("2026-01-15T06:00:00Z")
    assert digest_due([note], None, six, rules=early) is not None


def test_alarm_off_the_shelf_and_still_there_is_told_anew() -> None:
    """Shelved for an hour after it was told: when the hour is over somebody must hear of it."""
    alarm = raised("sludge", "soon", NOON)
    told = after(notices_due([alarm], [], NOON, rules=RULES), NOON)
    later = NOON + 2 * HOUR_MS
    shelved = act(alarm, "shelve", NOON + MINUTE_MS, until_ms=NOON + HOUR_MS)
    assert notices_due([shelved], told, NOON + 2 * MINUTE_MS, rules=RULES) == []
    back = advance(shelved, later, present=True, timing=Timing())
    (notice,) = notices_due([back], told, later, rules=RULES)
    assert notice.reason == "first"
    assert notices_due([back], told + after([notice], later), later + 1, rules=RULES) == []


def test_power_cut_that_is_put_away_explains_nothing() -> None:
    """Somebody took it out of service: a stall of that hour is told all the same."""
    cut = replace(raised("supply_lost", "now", NOON), state="out_of_service")
    (notice,) = notices_due([cut, raised("stall", "now", NOON)], [], NOON, rules=RULES)
    assert [a.fault for a in notice.alarms] == ["stall"]


def test_sensors_that_fall_silent_during_a_long_power_cut_are_part_of_it() -> None:
    """Silence is told after hours, long after the cut: while it lasts that is no second message."""
    cut = raised("supply_lost", "now", NOON)
    silent = raised("channel_silent", "soon", NOON + 7 * HOUR_MS)
    told = after(notices_due([cut], [], NOON, rules=RULES), NOON)
    known = replace(cut, state="acknowledged")
    assert notices_due([known, silent], told, NOON + 7 * HOUR_MS, rules=RULES) == []
    dry = raised("dry_run", "now", NOON + 7 * HOUR_MS)
    (notice,) = notices_due([known, dry], told, NOON + 7 * HOUR_MS, rules=RULES)
    assert [a.fault for a in notice.alarms] == ["dry_run"]


def test_part_left_out_of_service_is_brought_to_mind() -> None:
    """Work ended weeks ago and nobody put the pump back: the morning after, then once a week."""
    out = replace(raised("stall", "now", NOON), state="out_of_service", since_ms=NOON)
    day = 24 * HOUR_MS
    last, told_on = None, []
    for hour in range(24 * 17):
        moment = NOON + hour * HOUR_MS
        if notice := put_away_due([out], last, moment, rules=RULES):
            assert notice.reason == "put_away"
            last = moment
            told_on.append(round((moment - NOON) / day))
    assert told_on == [1, 8, 15]
    assert put_away_due([raised("stall", "now", NOON)], None, NOON + day, rules=RULES) is None
