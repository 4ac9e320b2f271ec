"""What a person does with alarms: acknowledge, shelve, take out of service for work, and back."""

from typing import NamedTuple

from analysis.alarms import states as alarms
from analysis.alarms.states import Alarm, Deed
from analysis.base.time import HOUR_MS
from analysis.faults.registry import FAULTS, subjects
from analysis.plant.plant import Plant
from collector.installation.site import Site
from collector.journal.journal import Event, StandingAlarm

_DONE: dict[Deed, str] = {
    "acknowledge": "acknowledged",
    "shelve": "shelved",
    "unshelve": "taken off the shelf",
    "take_out": "taken out of service",
    "put_back": "put back into service",
}
Key = tuple[str, str, str]
LONGEST_SHELF_H = 24.0 * 31


class Act(NamedTuple):
    """What a person does, for how long to shelve [h], and who, if known."""

    deed: Deed
    hours: float = 0.0
    who: str = ""

    @property
    def words(self) -> str:
        """What was done, and by whom."""
        by = f" by {self.who}" if self.who else ""
        return f"{_DONE[self.deed]}{by}"


def act_on(site: Site, key: Key, act: Act, now_ms: int) -> bool:
    """Do something to one alarm and note it; False where it no longer applies.

    Parameters
    ----------
    site : Site
        Whose journal keeps it.
    key : tuple of str
        Plant, subject and fault.
    act : Act
        What is done; shelving lasts at most `LONGEST_SHELF_H`.
    now_ms : int
        The moment [ms].
    """
    hours = min(act.hours, LONGEST_SHELF_H)
    until_ms = now_ms + round(hours * HOUR_MS) if hours > 0 else None
    with site.journal.moving:
        old = next((a for a in site.journal.alarms(key[0]) if a.alarm.key == key), None)
        if old is None:
            return False
        new = alarms.act(old.alarm, act.deed, now_ms, until_ms=until_ms)
        if new == old.alarm:
            return False
        title = FAULTS[new.fault].title if new.fault in FAULTS else new.fault
        event = Event(now_ms, new.plant, new.subject, new.fault, f"{title}: {act.words}")
        site.journal.save_alarms([StandingAlarm(new, old.finding)], [event])
    return True


def act_on_part(site: Site, plant: Plant, subject: str, act: Act, now_ms: int) -> int:
    """Take every alarm of a part out of service before work on it, or put them back.

    Also alarms that never occurred are taken out, so that none can be raised
    by the work itself. Gives the number that changed.
    """
    with site.journal.moving:
        changed = []
        for old in _alarms_of(site, plant, subject):
            new = alarms.act(old.alarm, act.deed, now_ms)
            if new != old.alarm:
                changed.append(StandingAlarm(new, old.finding))
        if changed:
            told = f"all its alarms {act.words}"
            event = Event(now_ms, plant.key, subject, "service", told)
            site.journal.save_alarms(changed, [event])
    return len(changed)


def _alarms_of(site: Site, plant: Plant, subject: str) -> list[StandingAlarm]:
    """Every alarm a part can have, known or still normal."""
    known = {a.alarm.key: a for a in site.journal.alarms(plant.key)}
    keys = {k for k in known if k[1] == subject}
    keys |= {(plant.key, subject, f.name) for f in FAULTS.values() if subject in subjects(plant, f)}
    return [known.get(key) or StandingAlarm(_normal(key), None) for key in sorted(keys)]


def _normal(key: Key) -> Alarm:
    fault = FAULTS[key[2]]
    return Alarm(plant=key[0], subject=key[1], fault=fault.name, urgency=fault.urgency)
