"""What is let into the store: each rule counted, so that a person sees what was kept out.

The rules judge one reading at a time against the last one of its channel; anything that
needs more context is the business of the analyses.
"""

import math
from collections import Counter
from collections.abc import Mapping
from typing import NamedTuple

from analysis.base.quantities import physical_range
from analysis.base.time import EARLIEST_MS
from analysis.plant.plant import Channel
from collector.payloads.decode import Picked


class Rule(NamedTuple):
    """One screening rule: its name, what it means, and whether the reading is kept anyhow."""

    name: str
    meaning: str
    keeps: bool = False


RULES: dict[str, Rule] = {
    r.name: r
    for r in (
        Rule("undecodable", "the payload is not what the plant file says"),
        Rule("unknown_topic", "no channel of the plant file has this topic"),
        Rule("retained", "a kept message from an unknown time, no fresh reading"),
        Rule("redelivered", "delivered a second time by the broker"),
        Rule("not_a_number", "no finite number"),
        Rule("out_of_range", "physically impossible for this quantity"),
        Rule("fault_code", "a value by which the sensor reports a fault or its power-on"),
        Rule("duplicate", "the same reading again"),
        Rule("out_of_order", "older than the last one; stored at its own time", keeps=True),
        Rule("no_clock", "came while this box did not know the date, without a time of its own"),
        Rule("clock_ahead", "device clock in the future; time of arrival used", keeps=True),
    )
}

CLOCK_AHEAD_MS = 60_000
"""A device clock may run ahead by this much; common practice, no source."""
_CLOCK_STEP_MS = 600_000
_CONTEXT_MS = 900_000
_POWER_ON_CEL = 85.0
_MISSING_CEL = -127.0
_JUMP_K = 5.0
"""A pipe does not reach a fault code by a jump of more than this between two readings."""
_WATER_PLACES = frozenset({"flow", "return", "body", "top", "bottom", "flue"})


class Screen:
    """The rules for one channel, with the last reading let through."""

    __slots__ = ("_codes", "_count", "_high", "_last_ms", "_last_value", "_low", "_name", "_water")

    def __init__(self, name: str, channel: Channel, count: Counter[tuple[str, str]]) -> None:
        self._name = name
        self._count = count
        self._low, self._high = physical_range(channel.quantity, channel.place)
        self._codes = channel.quantity == "temperature"
        self._water = channel.place in _WATER_PLACES
        self._last_ms = -1
        self._last_value = math.nan

    def resume(self, time_ms: int, value: float) -> None:
        """Take up a last reading known from the store."""
        self._last_ms, self._last_value = time_ms, value

    def admit(self, picked: Picked, arrival_ms: int) -> tuple[int, float] | None:
        """Time and value to store, or None where the reading is kept out."""
        value, device_ms = picked
        if arrival_ms < EARLIEST_MS:
            if device_ms is None:
                self._note("no_clock")
                return None
            arrival_ms = device_ms
        elif self._last_ms - arrival_ms > _CLOCK_STEP_MS:
            # Our own clock was ahead and has been set back: what came then is no measure.
            self._last_ms, self._last_value = -1, math.nan
        time_ms = self._moment(device_ms, arrival_ms)
        if self._codes and self._is_fault_code(value, time_ms):
            self._note("fault_code")
            return None
        if not self._low <= value <= self._high and not math.isnan(value):
            self._note("out_of_range" if math.isfinite(value) else "not_a_number")
            return None
        if time_ms <= self._last_ms:
            if time_ms == self._last_ms and value == self._last_value:
                self._note("duplicate")
                return None
            if time_ms < self._last_ms:
                self._note("out_of_order")
                return time_ms, value
        self._last_ms, self._last_value = time_ms, value
        return time_ms, value

    def _note(self, rule: str) -> None:
        self._count[self._name, rule] += 1

    def _moment(self, device_ms: int | None, arrival_ms: int) -> int:
        if device_ms is not None:
            if device_ms <= arrival_ms + CLOCK_AHEAD_MS:
                return device_ms
            self._note("clock_ahead")
        # Two arrivals within one millisecond are still two readings.
        return max(arrival_ms, self._last_ms + 1)

    def _is_fault_code(self, value: float, time_ms: int) -> bool:
        """85.0, -127 and 0.0 as digital sensors report power-on and missing parts.

        85.0 and 0.0 can be true, so the last reading decides; where there is
        none, 85.0 is not believed, nor is water at 0.0.
        """
        if abs(value - _MISSING_CEL) < 1e-6:
            return True
        if value not in (_POWER_ON_CEL, 0.0):
            return False
        recent = 0 <= time_ms - self._last_ms <= _CONTEXT_MS and not math.isnan(self._last_value)
        if recent:
            return abs(value - self._last_value) > _JUMP_K
        return self._water or value == _POWER_ON_CEL


def screens_for(
    channels: Mapping[str, Channel], count: Counter[tuple[str, str]]
) -> dict[str, Screen]:
    """One screen a channel, by address."""
    return {name: Screen(name, channel, count) for name, channel in channels.items()}
