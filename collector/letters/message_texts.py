"""Notices in words a person in a hurry can use."""

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from analysis.alarms.notices import Notice
from analysis.alarms.states import Alarm
from analysis.base.formatting import evidence
from analysis.base.time import format_rfc3339, from_ms
from analysis.faults.registry import FAULTS
from analysis.plant.finding import URGENCIES
from analysis.plant.plant import Plant
from collector.letters.delivery import Letter

Findings = Mapping[tuple[str, str, str], dict[str, Any]]
"""Documents of the findings that alarms stand for, by the alarm's key."""


class Due(NamedTuple):
    """A notice of a plant."""

    plant: Plant
    notice: Notice


_OPENING = {
    "first": "",
    "repeat": "Still: ",
    "returned": "Back to normal: ",
    "digest": "Today's list: ",
}


def letter_for(plant: Plant, notice: Notice, findings: Findings) -> Letter:
    """A notice in words a person in a hurry can use: with what was judged."""
    if notice.reason == "put_away":
        title, body = _put_away(plant, notice)
    else:
        first = notice.alarms[0]
        more = len(notice.alarms) - 1
        opening = _OPENING.get(notice.reason, "")
        title = f"{plant.name}: {opening}{_title(first)} ({first.subject})"
        title += f" and {more} more" if more else ""
        body = "\n\n".join(_words(plant, one, findings.get(one.key)) for one in notice.alarms)
    document = {
        "plant": plant.name,
        "reason": notice.reason,
        "urgency": notice.urgency,
        "alarms": [
            {
                "subject": a.subject,
                "fault": a.fault,
                "state": a.state,
                "urgency": a.urgency,
                "since": format_rfc3339(a.since_ms),
                "finding": findings.get(a.key),
            }
            for a in notice.alarms
        ],
    }
    return Letter(title, body, notice.urgency, document)


def letter_for_many(together: Sequence[Due], findings: Findings) -> Letter:
    """Notices of many plants in one letter: a line each, the urgent first."""
    ordered = sorted(together, key=lambda one: URGENCIES.index(one.notice.urgency))
    letters = [letter_for(one.plant, one.notice, findings) for one in ordered]
    more = len(letters) - _LINES
    body = "\n".join(letter.title for letter in letters[:_LINES])
    return Letter(
        f"{len(letters)} plants, first {letters[0].title}",
        f"{body}\nand {more} more" if more > 0 else body,
        letters[0].urgency,
        {"plants": [letter.document for letter in letters]},
    )


_LINES = 100


def _title(alarm: Alarm) -> str:
    fault = FAULTS.get(alarm.fault)
    return fault.title if fault else alarm.fault


def _put_away(plant: Plant, notice: Notice) -> tuple[str, str]:
    """Title and body about parts that somebody took out of service and may have forgotten."""
    numbers = Counter(alarm.subject for alarm in notice.alarms)
    since = {a.subject: _moment(plant, a.since_ms) for a in notice.alarms}
    lines = [
        f"{part}: {number} alarm{'' if number == 1 else 's'} since {since[part]}."
        for part, number in sorted(numbers.items())
    ]
    lines.append(
        "Nothing of these is told to anybody. When the work is done, put them back into service "
        "on the page Alarms."
    )
    return f"{plant.name}: Still out of service: {', '.join(sorted(numbers))}", "\n".join(lines)


def _moment(plant: Plant, time_ms: int) -> str:
    """A moment in the plant's zone, and which that is: who reads it may be elsewhere."""
    return f"{from_ms(time_ms).astimezone(ZoneInfo(plant.timezone)):%a %d %b %H:%M %Z}"


_STANDS = {"acknowledged": " Acknowledged.", "returned": " Nobody has acknowledged it."}


def _words(plant: Plant, alarm: Alarm, finding: dict[str, Any] | None) -> str:
    began = _moment(plant, alarm.raised_ms or alarm.since_ms)
    over = alarm.state == "returned"
    when = f"from {began} to {_moment(plant, alarm.since_ms)}" if over else f"since {began}"
    lines = [f"{_title(alarm)}: {alarm.subject}, {when}.{_STANDS.get(alarm.state, '')}"]
    if (fault := FAULTS.get(alarm.fault)) and alarm.state == "unacknowledged":
        judged = finding or {}
        signs = [evidence(sign) for sign in judged.get("evidence", ())]
        lines += [f"Seen: {'; '.join(signs)}."] if signs else []
        lines += [
            f"Check first: {judged.get('first_check') or fault.first_check}",
            f"May be: {', '.join(judged.get('possible') or fault.possible)}.",
            f"Who: {judged.get('who') or fault.who}",
            f"Caution: {fault.caution}",
        ]
    return "\n".join(lines)
