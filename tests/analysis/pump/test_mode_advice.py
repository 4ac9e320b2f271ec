"""What a pump's readings tell of its setting and place, and the advice that follows."""

import numpy as np
import pytest

from analysis.base.time import DAY_MS, MINUTE_MS, Span
from analysis.plant.plant import Boiler, Channel, Plant, Pump
from analysis.pump.mode_advice import pump_mode
from analysis.readings.readings import Readings

SPAN = Span(0, 10 * DAY_MS)
MINUTES = np.arange(0, SPAN.end_ms, MINUTE_MS)
HOUR = MINUTES / 3_600_000 % 24
SHARE = np.clip(1.2 - np.abs(HOUR - 7) / 9, 0, 1)


def temperature(of: str, place: str) -> Channel:
    return Channel(
        id=f"{of}.{place}", of=of, quantity="temperature", unit="Cel", place=place, interval_s=60
    )  # type: ignore[arg-type]


def plant(duty: str = "heating") -> Plant:
    return Plant(
        name="Quay",
        timezone="UTC",
        boilers=(Boiler(id="boiler", fuel="gas"),),
        pumps=(Pump(id="p", drive="electronic", duty=duty, rated_power_w=(3, 25)),),  # type: ignore[arg-type]
        channels=(
            Channel(id="p.power", of="p", quantity="power", unit="W", interval_s=60),
            *(temperature("p", place) for place in ("flow", "return", "body")),
            temperature("boiler", "flow"),
            temperature("plant", "outdoor"),
        ),
    )


def record(*, circuit: float = 1.0, apart: float = 12.0, body: float = 1.0) -> dict[str, Readings]:
    """Boiler flow from 45 to 70 Cel over the day; the circuit's follows it by a share."""
    rng = np.random.default_rng(1)
    boiler = 45 + 25 * SHARE
    flow = 55 + circuit * (boiler - 55) if circuit > 0 else np.full(len(MINUTES), 40.0)
    back = flow - apart
    values = {
        "p.power": 4.5 + 12 * SHARE + rng.normal(0, 0.05, len(MINUTES)),
        "p.flow": flow,
        "p.return": back,
        "p.body": back + body * apart + 2.0,
        "boiler.flow": boiler,
        "plant.outdoor": 2 + 5 * np.sin(HOUR / 24 * 2 * np.pi),
    }
    return {name: Readings.of(MINUTES, v) for name, v in values.items()}


def told(record: dict[str, Readings], of: Plant | None = None):
    of = of or plant()
    return pump_mode(of, of.pumps[0], record, SPAN)


def test_a_fitting_pump_before_the_mixing_valve_gets_no_advice() -> None:
    """Flow as the boiler's, 12 K apart, proportional pressure: nothing to try."""
    mode = told(record())
    assert mode.control.behaviour == "proportional pressure"
    assert mode.place.words.endswith("the circuit's flow follows the boiler's")
    assert mode.strength.verdict == "fits"
    assert mode.strength.difference.value == pytest.approx(12, abs=0.5)
    assert mode.advice == ()


def test_a_held_flow_means_a_mixing_valve() -> None:
    """The boiler moves by 25 K, the circuit not at all: night reduction does not suit."""
    place = told(record(circuit=0.0)).place
    assert "behind a mixing valve" in place.words
    assert place.suits_night_reduction is False


def test_a_pump_as_cool_as_the_return_stands_in_it() -> None:
    """The body follows the return."""
    place = told(record(body=0.0)).place
    assert place.words.startswith("in the return")
    assert place.suits_night_reduction is False


def test_a_charging_pump_wants_constant_speed() -> None:
    """Proportional pressure at a store: the advice is constant speed, for a week."""
    readings = record()
    readings["p.power"] = Readings.of(MINUTES, 6.7 + 9.8 * SHARE)
    mode = told(readings, plant("store"))
    assert mode.place.suits_night_reduction is False
    advice = next(a.document() for a in mode.advice if a.what == "constant speed")
    assert advice["trial"] == "one week"
    assert advice["watch"]
    assert advice["caution"]


@pytest.mark.parametrize(("apart", "verdict"), [(3.0, "too strong"), (32.0, "too weak")])
def test_too_strong_and_too_weak(apart: float, verdict: str) -> None:
    """Below 5 K while firing the water rushes, above 25 K it crawls.

    Source: common practice; 11 K is a classic target, 20 K that of condensing boilers.
    """
    mode = told(record(apart=apart, body=1.0))
    assert mode.strength.verdict == verdict
    (advice,) = mode.advice
    assert ("lower" in advice.what) == (verdict == "too strong")


def test_without_temperatures_it_names_them() -> None:
    """Power alone: strength and place say what they need."""
    mode = told({"p.power": record()["p.power"]})
    assert mode.strength.difference.value is None
    assert "needs" in (mode.strength.difference.reason or "")
    assert "needs" in mode.place.words
    document = mode.document()
    assert document["control"]["behaviour"] == "proportional pressure"
    assert document["night_reduction"]["state"] == "none seen"
