"""A simple pump for tests of slow judges: power, voltage, power factor and pipes by the minute."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.base.time import DAY_MS, MINUTE_MS, Span
from analysis.plant.plant import Boiler, Channel, Plant, Pump
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation

Array = NDArray[np.float64]
START_MS = 1_764_547_200_000  # 2025-12-01T00:00Z
_CHANNELS: tuple[tuple[str, dict[str, Any]], ...] = (
    ("heating.power", {"quantity": "power", "unit": "W"}),
    ("heating.voltage", {"quantity": "voltage", "unit": "V"}),
    ("heating.power_factor", {"quantity": "power_factor", "unit": "1"}),
    ("heating.flow", {"quantity": "temperature", "unit": "Cel", "place": "flow"}),
    ("heating.return", {"quantity": "temperature", "unit": "Cel", "place": "return"}),
)


@dataclass
class Pumping:
    """Sixty days of an induction pump that runs from 5 to 23 h UTC at 50 W and 230 V."""

    days: int = 60
    level_w: float = 50.0
    exponent: float = 1.65
    seed: int = 1
    minute: Array = field(init=False)
    power: Array = field(init=False)
    voltage: Array = field(init=False)
    factor: Array = field(init=False)
    flow: Array = field(init=False)
    back: Array = field(init=False)
    fires: Array | None = None

    def __post_init__(self) -> None:
        rng = np.random.default_rng(self.seed)
        n = self.days * 1440
        self.minute = np.arange(n, dtype=float)
        hour = self.minute / 60 % 24
        on = (hour >= 5) & (hour < 23)
        self.voltage = 230 + 3 * np.sin(self.minute / 300.0) + 0.3 * rng.standard_normal(n)
        steady = self.level_w * (self.voltage / 230) ** self.exponent
        self.power = np.where(on, steady * (1 + 0.004 * rng.standard_normal(n)), 0.0)
        self.factor = np.where(on, 0.95, 0.0)
        since = np.where(on, (hour - 5) * 60, 0.0)
        self.flow = np.where(on, 20 + 35 * (1 - np.exp(-since / 5)), 18.0)
        self.back = np.where(on, 20 + 25 * (1 - np.exp(-np.maximum(since - 8, 0) / 10)), 18.0)

    def day(self, number: float) -> NDArray[np.bool_]:
        """Minutes from a day on."""
        return self.minute >= number * 1440

    @property
    def plant(self) -> Plant:
        """The plant these readings come from."""
        channels = [
            Channel(id=name, of="heating", interval_s=60, **rest) for name, rest in _CHANNELS
        ]
        if self.fires is not None:
            channels.append(
                Channel(id="boiler.power", of="boiler", quantity="power", unit="W", interval_s=60)
            )
        return Plant(
            name="Quay", timezone="UTC", pumps=(Pump(id="heating", drive="induction"),),
            boilers=(Boiler(id="boiler", fuel="gas"),), channels=tuple(channels),
        )  # fmt: skip

    def record(self) -> dict[str, Readings]:
        """Readings by channel."""
        time_ms = START_MS + (self.minute * MINUTE_MS).astype(np.int64)
        values = {
            "heating.power": np.round(self.power, 1),
            "heating.voltage": np.round(self.voltage, 1),
            "heating.power_factor": np.round(self.factor, 2),
            "heating.flow": self.flow,
            "heating.return": self.back,
        }
        if self.fires is not None:
            values["boiler.power"] = np.where(self.fires > 0, 60.0, 4.0)
        return {name: Readings(time_ms, value) for name, value in values.items()}

    def situation(self, without: tuple[str, ...] = ()) -> Situation:
        """What a judge sees of it, some channels missing."""
        record = {k: v for k, v in self.record().items() if k not in without}
        span = Span(START_MS, START_MS + self.days * DAY_MS)
        return Situation(plant=self.plant, record=record, span=span, subject="heating")


def day_of(time_ms: int | None) -> float:
    """Days from the beginning to a moment."""
    assert time_ms is not None
    return (time_ms - START_MS) / DAY_MS
