"""A plain generator of plausible readings for one invented plant."""

import numpy as np

from analysis.plant import Boiler, Channel, Plant, Pump, Store, Tariff
from analysis.readings import FloatArray, IntArray, Readings
from analysis.timebase import DAY_MS, SECOND_MS, Span

_STEP_MS = 10 * SECOND_MS


def _channel(name: str, quantity: str, unit: str, **more: str) -> Channel:
    subject, _, what = name.partition(".")
    return Channel(
        id=name,
        of=subject if subject in ("boiler", "heating", "charge", "store") else "plant",
        quantity=quantity,  # type: ignore[arg-type]
        unit=unit,
        topic=f"cellar/{subject}/{what}",
        payload="/value",
        interval_s=10,
        reports="periodic",
        **more,  # type: ignore[arg-type]
    )


def demo_plant() -> Plant:
    """The invented plant of the demo."""
    return Plant(
        name="Tern Cottage",
        timezone="Europe/Dublin",
        tariff=Tariff(currency="EUR", electricity_per_kwh=0.31, fuel_per_kwh=0.11),
        boilers=(Boiler(id="boiler", fuel="gas", input_kw=24.0),),
        pumps=(
            Pump(id="heating", drive="electronic", rated_power_w=(4, 40), port_to_port_mm=180),
            Pump(id="charge", drive="induction", duty="store", rated_power_w=(45, 65)),
        ),
        stores=(Store(id="store", volume_l=200),),
        channels=(
            _channel("boiler.power", "power", "W"),
            _channel("boiler.flow", "temperature", "Cel", place="flow"),
            _channel("boiler.return", "temperature", "Cel", place="return"),
            _channel("heating.power", "power", "W"),
            _channel("charge.power", "power", "W"),
            _channel("store.top", "temperature", "Cel", place="top"),
            _channel("outdoor.temp", "temperature", "Cel", place="outdoor"),
        ),
    )


def demo_record(span: Span, seed: int = 7) -> dict[str, Readings]:
    """Readings of the invented plant over a span."""
    rng = np.random.default_rng(seed)
    time_ms: IntArray = np.arange(span.start_ms, span.end_ms, _STEP_MS, dtype=np.int64)
    day = time_ms / DAY_MS
    outdoor = 8 - 7 * np.cos(2 * np.pi * (day - 20) / 365.25) - 3 * np.cos(2 * np.pi * day)
    demand = np.clip((17 - outdoor) / 25, 0, 1)
    hour = (day % 1) * 24
    awake = (hour > 5.5) & (hour < 22.5)
    firing = (np.sin(2 * np.pi * day * 48) < 2 * demand - 1) & awake
    charging = (np.abs(hour - 6.2) < 0.25) | (np.abs(hour - 19) < 0.25)
    run = (demand > 0.02) & awake & ~charging

    def noisy(value: FloatArray, spread: float, digits: int = 1) -> Readings:
        return Readings.of(time_ms, np.round(value + rng.normal(0, spread, len(value)), digits))

    flow = np.where(awake, 35 + 35 * demand + 4 * firing, 24.0) + 20 * charging
    return {
        "boiler.power": noisy(np.where(firing | charging, 88.0, 4.0), 0.4),
        "boiler.flow": noisy(flow, 0.15),
        "boiler.return": noisy(flow - 4 - 9 * demand * awake, 0.15),
        "heating.power": noisy(np.where(run, 12 + 14 * demand, 0.8), 0.2),
        "charge.power": noisy(np.where(charging, 57.0, 0.0), 0.3),
        "store.top": noisy(54 + 3 * np.cos(2 * np.pi * (hour - 7) / 12), 0.05),
        "outdoor.temp": noisy(outdoor, 0.1),
    }
