"""Heat need from burner hours whose law is known, and what is missing named."""

import numpy as np
import pytest

from analysis.base.time import DAY_MS, MINUTE_MS, Span
from analysis.energy.design_load import design_heat_kw, spread_k
from analysis.plant.plant import Boiler, Channel, Plant, Pump
from analysis.readings.readings import Readings

SPAN = Span(20_000 * DAY_MS, 20_030 * DAY_MS)
PUMP = Pump(id="heating", drive="induction")
PLANT = Plant(
    name="Quay", timezone="UTC", pumps=(PUMP,),
    boilers=(Boiler(id="boiler", fuel="oil", input_kw=20.0),),
    channels=(
        Channel(id="b.power", of="boiler", quantity="power", unit="W", interval_s=60),
        Channel(id="o", of="plant", quantity="temperature", place="outdoor", unit="Cel",
                interval_s=3600),
        Channel(id="h.flow", of="heating", quantity="temperature", place="flow", unit="Cel",
                interval_s=60),
        Channel(id="h.return", of="heating", quantity="temperature", place="return", unit="Cel",
                interval_s=60),
    ),
)  # fmt: skip


def _record() -> dict[str, Readings]:
    """The burner fires (16 - T) / 32 of every hour; flow and return lie 12 K apart."""
    minute = np.arange(SPAN.start_ms, SPAN.end_ms, MINUTE_MS)
    day = (minute - SPAN.start_ms) // DAY_MS
    outdoor = 5.0 + 5.0 * np.sin(day)
    share = (16.0 - outdoor) / 32.0
    on = (minute // MINUTE_MS) % 60 < share * 60
    return {
        "b.power": Readings.of(minute, np.where(on, 150.0, 3.0)),
        "o": Readings.of(minute[::60], outdoor[::60]),
        "h.flow": Readings.of(minute, np.full(len(minute), 52.0)),
        "h.return": Readings.of(minute, np.full(len(minute), 40.0)),
    }


def test_heat_of_the_coldest_day() -> None:
    """At -10 Cel it would fire 0.8125 of the time: 14.3 kW at 88 %, by the law put in."""
    found = design_heat_kw(PLANT, _record(), SPAN, -10.0)
    assert found.value == pytest.approx(0.8125 * 20 * 0.88, rel=0.04)
    assert found.low < found.value < found.high


def test_spread_of_a_circuit() -> None:
    """Twelve kelvin apart, all the time, less and more what two strapped sensors may err by."""
    unsure = (2 / 3) ** 0.5
    found = spread_k(PLANT, PUMP, _record(), SPAN)
    assert found == pytest.approx((12.0 - unsure, 12.0 + unsure))


@pytest.mark.parametrize(("missing", "words"), [("o", "outdoor"), ("b.power", "eight days")])
def test_missing_channel_is_named(missing: str, words: str) -> None:
    """Without weather or burner there is no need, and it says which."""
    record = {k: r for k, r in _record().items() if k != missing}
    found = design_heat_kw(PLANT, record, SPAN, -10.0)
    assert found.value is None
    assert words in (found.reason or "")


def test_pair_that_is_not_measured_has_no_spread() -> None:
    """One pipe alone tells nothing."""
    record = {k: r for k, r in _record().items() if k != "h.return"}
    assert spread_k(PLANT, PUMP, record, SPAN) is None
