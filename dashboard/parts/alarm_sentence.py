"""What stands against one part of a plant, in a sentence, for the pages of pumps and boilers."""

from collections.abc import Callable, Iterable, Sequence

from analysis.alarms.states import Alarm
from collector.journal.journal import StandingAlarm
from dashboard.parts.cards import fault_title, urgency_then_time
from dashboard.parts.collector_health import is_watched
from dashboard.parts.page import View


def standing_of(view: View, part: str) -> list[StandingAlarm]:
    """Alarms of a part and of its channels that are not normal, the worst first."""
    own = {part, *(channel.id for channel in view.plant.channels if channel.of == part)}
    found = [
        one
        for one in view.site.journal.alarms(view.plant.key)
        if one.alarm.subject in own and one.alarm.is_standing
    ]
    return sorted(found, key=lambda one: urgency_then_time(one.alarm))


def against(view: View, standing: Sequence[StandingAlarm], found: Iterable[str] = ()) -> list[str]:
    """Sentences: what stands, what is over or put away, and whether anybody looks.

    Parameters
    ----------
    view : View
        Plant and moment.
    standing : sequence of StandingAlarm
        Alarms of the part.
    found : iterable of str
        Titles of what was found without an alarm.
    """
    alarms = [one.alarm for one in standing]

    def titles(chosen: Callable[[Alarm], bool]) -> str:
        return "; ".join(dict.fromkeys(fault_title(a.fault) for a in alarms if chosen(a)))

    told = []
    if lasting := titles(lambda a: a.state in ("unacknowledged", "acknowledged")):
        told.append(f"Alarm: {lasting}.")
    if others := "; ".join(dict.fromkeys(found)):
        told.append(f"Found: {others}.")
    if over := titles(lambda a: a.state == "returned"):
        told.append(f"Over, but not acknowledged: {over}.")
    if hushed := titles(lambda a: a.state == "shelved"):
        told.append(f"Shelved, so nobody is told: {hushed}.")
    if any(a.state == "out_of_service" for a in alarms):
        told.append("Out of service: nobody is told anything of it until it is put back.")
    if not is_watched(view):
        told.append("It is not watched just now.")
    return told or ["Nothing wrong was found."]
