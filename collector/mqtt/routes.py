"""Which topic carries which channels: one look-up a message, however many channels there are."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.plant.plant import Channel, Plant
from collector.payloads.decode import Group, groups_for
from collector.store.protocol import address

_AVAILABILITY = ("LWT", "lwt", "availability", "available", "online", "status", "$state")
"""Last part of topics on which devices tell whether they are there; common practice."""

_WORDS = {
    **dict.fromkeys(("online", "true", "1", "connected", "ready", "up"), True),
    **dict.fromkeys(
        ("offline", "false", "0", "disconnected", "lost", "down", "sleeping", "alert"), False
    ),
}


@dataclass(frozen=True, slots=True)
class Routes:
    """Decoders by topic, and the channels an availability topic speaks for."""

    groups: dict[str, tuple[Group, ...]]
    availability: dict[str, tuple[str, ...]]

    def topics(self) -> list[str]:
        """Everything to subscribe to."""
        return [*self.groups, *self.availability]


def routes_for(plants: Sequence[Plant]) -> Routes:
    """Routes of all channels that have a topic."""
    by_topic: dict[str, dict[str, Channel]] = defaultdict(dict)
    for plant in plants:
        for channel in plant.channels:
            if channel.topic:
                by_topic[channel.topic][address(plant, channel)] = channel
    availability: dict[str, set[str]] = defaultdict(set)
    for topic, channels in by_topic.items():
        for place in _availability_topics(topic, homie=_is_homie(channels)):
            availability[place] |= set(channels)
    return Routes(
        {topic: groups_for(channels) for topic, channels in by_topic.items()},
        {t: tuple(sorted(names)) for t, names in availability.items() if t not in by_topic},
    )


def _is_homie(channels: dict[str, Channel]) -> bool:
    return any(c.payload == "homie" for c in channels.values())


def _availability_topics(topic: str, *, homie: bool) -> list[str]:
    """Beside a topic and below it; for Homie the device's state, three levels up."""
    parent = topic.rpartition("/")[0]
    if homie:
        device = "/".join(topic.split("/")[:-2])
        return [f"{device}/$state"] if device else []
    below = [f"{topic}/{word}" for word in _AVAILABILITY]
    return below + [f"{parent}/{word}" for word in _AVAILABILITY if parent]


def is_there(payload: bytes) -> bool | None:
    """What an availability message says, or None where it says nothing known."""
    word = payload[:40].decode("utf-8", "replace").strip().strip('"').lower()
    if word.startswith("{"):
        return next((there for w, there in _WORDS.items() if f'"{w}"' in word), None)
    return _WORDS.get(word)
