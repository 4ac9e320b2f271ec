"""What the collector has to tell of itself: its own silence, failures, and what it leaves out."""

import hashlib
from collections.abc import Callable
from typing import NamedTuple

from analysis.base.time import MINUTE_MS
from collector.installation.site import Site

COLLECTOR = "collector"


class Trouble(NamedTuple):
    """Why something is wrong, in words, and of what: told anew where that changes."""

    words: str
    of: tuple[str, ...] = ()

    @property
    def state(self) -> str:
        """Short name of this trouble, for the journal."""
        return f"trouble {_digest(self.of)}" if self.of else "trouble"


def _digest(names: tuple[str, ...]) -> str:
    return hashlib.sha256("\n".join(names).encode()).hexdigest()[:12]


class Own(NamedTuple):
    """A kind of trouble of the collector itself: its key, and titles while it lasts and after."""

    key: str
    title: str
    title_after: str
    after: str
    why: Callable[[Site, int], Trouble | None]
    may_be_over: Callable[[Site], bool] = lambda _site: True


def hears_nothing(site: Site, now_ms: int) -> Trouble | None:
    """Why the collector can watch nothing, once that has lasted."""
    live, limit_ms = site.live, site.settings.notify.silence_minutes * MINUTE_MS
    if not live.began_ms or now_ms - live.began_ms < limit_ms:
        return None
    if now_ms - (live.last_message_ms or live.began_ms) < limit_ms:
        return None
    minutes = round((now_ms - (live.last_message_ms or live.began_ms)) / MINUTE_MS)
    why = live.trouble or "the broker is there, but no message comes"
    return Trouble(
        f"No message for {minutes} minutes: {why}. Alarms cannot be raised while this lasts. "
        "Look at the broker, the network and the power of the box."
    )


def failing_jobs(site: Site, _now_ms: int) -> Trouble | None:
    """Which of the jobs that watch, judge and tell fail, and for which plants."""
    failing = {
        f"{job} {plant}": f"{f'{plant}: ' if plant else ''}{words}."
        for (job, plant), words in sorted(site.live.failing.items())
        if job in _WATCHING
    }
    if not failing:
        return None
    return Trouble(
        f"{' '.join(failing.values())} What they look after is not watched meanwhile. Look at the "
        "log of the program, and at the plant file if it names one plant; all other plants are "
        "watched.",
        tuple(failing),
    )


def unreached_addresses(site: Site, now_ms: int) -> Trouble | None:
    """Which addresses have not been reached for a while, though others are."""
    limit_ms = site.settings.notify.silence_minutes * MINUTE_MS
    missed = [name for name, since in site.live.unreached.items() if now_ms - since >= limit_ms]
    if not missed:
        return None
    return Trouble(
        f"Notices do not reach {', '.join(missed)}; they are tried again for a day. Look at that "
        "line of addresses_file or the environment, and at the service behind it.",
        tuple(missed),
    )


def plants_left_out(site: Site, _now_ms: int) -> Trouble | None:
    """Which plant files could not be used at the start, and why."""
    if not site.left_out:
        return None
    return Trouble(
        f"{'; '.join(site.left_out)}. That plant is not watched and its readings are not kept "
        "until the file is mended and the program started again; all other plants are watched.",
        site.left_out,
    )


def _hears(site: Site) -> bool:
    """Whether anything was heard since the start: else a restart would pass for good news."""
    return site.live.last_message_ms is not None


_WATCHING = frozenset({"watch", "night", "tell"})
OWN_TROUBLES = (
    Own(
        COLLECTOR,
        "Stokehold hears nothing",
        "Stokehold hears the plant again",
        "Messages arrive again; what was missed meanwhile stays unknown.",
        hears_nothing,
        _hears,
    ),
    Own(
        "jobs",
        "Stokehold cannot judge a plant",
        "Stokehold judges every plant again",
        "All jobs run again; what was missed meanwhile is judged from the store.",
        failing_jobs,
    ),
    Own(
        "notices",
        "Stokehold cannot reach everybody",
        "Stokehold reaches everybody again",
        "What could not be sent meanwhile was sent now, or is a day old.",
        unreached_addresses,
    ),
    Own(
        "plants",
        "Stokehold leaves a plant out",
        "Stokehold watches every plant again",
        "Every plant file is sound; what was missed meanwhile stays unknown.",
        plants_left_out,
    ),
)
