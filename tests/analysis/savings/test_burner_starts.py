"""Starts of a burner before and after an exchange, counted into a made record."""

import numpy as np
import pytest

from analysis.base.time import DAY_MS, MINUTE_MS, Span, from_ms
from analysis.plant.plant import Boiler, Channel, Plant, Pump, Swap
from analysis.readings.readings import Readings
from analysis.savings.burner_starts import changed_cycling

START = 20_400 * DAY_MS
SPAN = Span(START, START + 30 * DAY_MS)
MIDDLE = START + 15 * DAY_MS
BOILER = Boiler(id="boiler", fuel="gas", input_kw=20.0)
SWAP = Swap(pump="heating", time=from_ms(MIDDLE))
PLANT = Plant(
    name="Quay", timezone="UTC", boilers=(BOILER,),
    pumps=(Pump(id="heating", drive="electronic"),), swaps=(SWAP,),
    channels=(
        Channel(id="b", of="boiler", quantity="power", unit="W", interval_s=60),
        Channel(id="o", of="plant", quantity="temperature", place="outdoor", unit="Cel",
                interval_s=3600),
    ),
)  # fmt: skip


def _record(extra: int) -> dict[str, Readings]:
    """A start for every kelvin below 15 Cel, ten minutes each, `extra` more after the swap.

    It grows colder by a third of a kelvin a day, so the plain means differ anyway.
    """
    minute = np.arange(SPAN.start_ms, SPAN.end_ms, MINUTE_MS)
    day = (minute - START) // DAY_MS
    temp = 9.0 - day / 3.0
    starts = np.round(15.0 - temp) + np.where(minute >= MIDDLE, extra, 0)
    of_day = (minute % DAY_MS) // MINUTE_MS
    gap = 1440 // starts
    on = (of_day % gap < 10) & (of_day // gap < starts)
    return {
        "b": Readings.of(minute, np.where(on, 120.0, 4.0)),
        "o": Readings.of(minute[::60], temp[::60]),
    }


@pytest.mark.parametrize("extra", [0, 4])
def test_the_step_is_found_at_equal_weather(extra: int) -> None:
    """The colder second half is no change of the pump's; four more starts a day are."""
    found = changed_cycling(PLANT, BOILER, SWAP, record=_record(extra), span=SPAN)
    assert found is not None
    assert found.after_per_day - found.before_per_day == pytest.approx(5.0 + extra, abs=0.6)
    assert found.change.value == pytest.approx(extra, abs=0.6)
    assert found.change.low <= extra <= found.change.high
    assert (found.change.low > 0) == (extra > 0)


def test_too_few_days_are_no_comparison() -> None:
    """Three days after the exchange say nothing."""
    short = Span(START, MIDDLE + 3 * DAY_MS)
    assert changed_cycling(PLANT, BOILER, SWAP, record=_record(0), span=short) is None
