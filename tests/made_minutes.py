"""A house in hand-made minutes, as its judges see it: a boiler, a heating and a charging pump."""

import numpy as np

from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS, Span
from analysis.faults.registry import FAULTS, examine
from analysis.plant.finding import Finding
from analysis.plant.plant import Boiler, Channel, Plant, Pump, Store
from analysis.readings.readings import Readings
from analysis.readings.situation import Situation

DAYS = 6
TIME_MS = np.arange(0, DAYS * DAY_MS, MINUTE_MS)
HOUR = TIME_MS / HOUR_MS
LATE = HOUR >= 5 * 24 + 12.0
AFTER_H = HOUR - (5 * 24 + 12.0)


def part(of: str, quantity: str, unit: str, place: str | None = None, **more: object) -> Channel:
    words = {"interval_s": 60.0, **more}
    name = f"{of}.{place or quantity}"
    return Channel(id=name, of=of, quantity=quantity, unit=unit, place=place, **words)  # type: ignore[arg-type]  # words of the table of quantities


def house(drive: str = "electronic", *, always_on: bool = False, least_w: float = 4.0) -> Plant:
    """A boiler, a store, its charging pump and a heating pump."""
    return Plant(
        name="Quay", timezone="UTC", boilers=(Boiler(id="boiler", fuel="gas"),),
        stores=(Store(id="store"),),
        pumps=(
            Pump(id="heating", drive=drive, always_on=always_on, rated_power_w=(least_w, 40.0)),  # type: ignore[arg-type]  # a word of the plant file
            Pump(id="charging", drive="induction", duty="store"),
        ),
        channels=(
            part("heating", "power", "W"),
            part("charging", "power", "W"),
            part("boiler", "power", "W"),
            part("boiler", "temperature", "Cel", "flow"),
            part("heating", "temperature", "Cel", "flow"),
            part("plant", "pressure", "bar"),
        ),
    )  # fmt: skip


def sound(usual_w: float = 12.0) -> dict[str, np.ndarray]:
    """Heating all day; the burner swings the water by the half hour; the store is charged at six.

    The controller stops the heating pump for the charge, three minutes before the store's own.
    """
    rng = np.random.default_rng(7)
    swing = 4.0 * np.sin(HOUR * 4.0 * np.pi)
    fires = np.gradient(swing) > -0.05
    lead = HOUR % 24 - 6.0
    rests = (lead >= 0) & (lead < 0.6)
    charges = (lead >= 0.05) & (lead < 0.6)
    boiler = np.where(rests, 55.0 + 12.0 * np.minimum(lead / 0.2, 1.0), 55.0 + swing)
    flow = np.where(rests, 54.0 - 10.0 * lead, 54.0 + swing)
    size = len(TIME_MS)
    return {
        "heating.power": np.where(rests, 0.0, usual_w + 0.1 * rng.standard_normal(size)),
        "charging.power": np.where(charges, 45.0, 0.0),
        "boiler.power": np.where(fires | rests, 40.0, 5.0),
        "boiler.flow": boiler + 0.05 * rng.standard_normal(size),
        "heating.flow": flow + 0.05 * rng.standard_normal(size),
        "plant.pressure": np.full(size, 1.3),
    }


def record(values: dict[str, np.ndarray], silent: dict[str, np.ndarray]) -> dict[str, Readings]:
    heard = {name: ~silent.get(name, np.zeros(len(TIME_MS), bool)) for name in values}
    return {name: Readings.of(TIME_MS[heard[name]], v[heard[name]]) for name, v in values.items()}


def found(
    values: dict[str, np.ndarray], plant: Plant, silent: dict[str, np.ndarray] | None = None
) -> list[Finding]:
    names = ("stall", "dry_run", "dead_head", "overheating")
    situation = Situation(
        plant=plant, record=record(values, silent or {}), span=Span(0, DAYS * DAY_MS)
    )
    return list(examine(situation, [FAULTS[n] for n in names]).findings)


def told(
    values: dict[str, np.ndarray], plant: Plant, silent: dict[str, np.ndarray] | None = None
) -> list[tuple[str, str]]:
    return [(f.fault, f.urgency) for f in found(values, plant, silent)]


def charged(values: dict[str, np.ndarray]) -> np.ndarray:
    """A second charge on the last noon, as the first of each day."""
    rests = (AFTER_H >= 0) & (AFTER_H < 0.6)
    values["heating.power"] = np.where(rests, 0.0, values["heating.power"])
    values["charging.power"] = np.where(rests & (AFTER_H >= 0.05), 45.0, values["charging.power"])
    values["boiler.power"] = np.where(rests, 40.0, values["boiler.power"])
    hot = 55.0 + 12.0 * np.minimum(AFTER_H / 0.2, 1.0)
    values["boiler.flow"] = np.where(rests, hot, values["boiler.flow"])
    values["heating.flow"] = np.where(rests, 54.0 - 10.0 * AFTER_H, values["heating.flow"])
    return rests


def stalled(values: dict[str, np.ndarray], power_w: float) -> None:
    """No water moves from the last noon on: the boiler stays hot, the pipe cools."""
    values["heating.power"] = np.where(LATE, power_w, values["heating.power"])
    hot = 62.0 + 4.0 * np.sin(HOUR * 4.0 * np.pi)
    values["boiler.flow"] = np.where(LATE, hot, values["boiler.flow"])
    cool = 20.0 + 34.0 * np.exp(-AFTER_H / 1.5)
    values["heating.flow"] = np.where(LATE, cool, values["heating.flow"])
