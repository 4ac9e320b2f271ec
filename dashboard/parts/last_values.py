"""The last readings of a plant and the state of its parts, as pages show them."""

from dataclasses import dataclass
from typing import Any

from analysis.base.quantities import QUANTITIES
from analysis.plant.plant import Boiler, Channel, Plant, Pump
from analysis.pump.state_now import Present, Reading, boiler_now, pump_now, reading_now
from analysis.readings.power_levels import MOST_REST_W
from collector.store.protocol import address
from dashboard.parts import words
from dashboard.parts.page import View


@dataclass(frozen=True, slots=True)
class Presence:
    """What is known of a plant at this moment."""

    plant: Plant
    readings: dict[str, Reading]
    usual_w: dict[str, float]
    runs_above_w: dict[str, float]
    firing_w: dict[str, float]

    def reading(self, of: str, quantity: str, place: str | None = None) -> Reading | None:
        """Last reading of the first channel that matches, or None."""
        channel = self.plant.first(of, quantity, place)
        return self.readings.get(channel.id) if channel else None

    def state(self, part: Pump | Boiler) -> Present:
        """What a pump or boiler does."""
        power = self.reading(part.id, "power")
        if isinstance(part, Pump):
            above_w = self.runs_above_w.get(part.id, MOST_REST_W)
            return pump_now(power, self.usual_w.get(part.id), above_w)
        return boiler_now(power, self.firing_w.get(part.id))


def presence(view: View) -> Presence:
    """Gather the last readings of the plant in view."""
    latest = view.site.live.latest
    found: dict[str, Reading] = {}
    for channel in view.plant.channels:
        reading = reading_now(channel, latest.get(address(view.plant, channel)), view.now_ms)
        if reading:
            found[channel.id] = reading
    usual: dict[str, Any] = view.result("normal_w") or {}
    above: dict[str, Any] = view.result("runs_above_w") or {}
    firing: dict[str, Any] = view.result("firing_w") or {}
    return Presence(view.plant, found, usual, above, firing)


def value_words(reading: Reading | None) -> str:
    """A reading's value with its unit; a dash where it no longer holds."""
    if reading is None or not reading.is_fresh:
        return words.NOTHING
    return channel_amount(reading.channel, reading.value)


def channel_amount(channel: Channel, value: float) -> str:
    """A value of a channel with the unit it is kept in."""
    row = QUANTITIES[channel.quantity]
    if row.kind == "state":
        return "on" if value > 0.5 else "off"
    if row.kind == "counter":
        return f"{value:,.2f} {words.unit(row.unit)}".replace(",", " ")
    if channel.quantity in ("temperature", "power"):
        return f"{value:.{0 if abs(value) >= 200 else 1}f} {words.unit(row.unit)}"
    return words.amount(value, row.unit)


def channel_name(channel: Channel) -> str:
    """A channel in words: part, place, quantity."""
    part = "Plant" if channel.of == "plant" else words.named(channel.of)
    label = QUANTITIES[channel.quantity].label
    return f"{part} {channel.place or ''} {label}".replace("  ", " ")
