"""Energy efficiency index against worked examples, the regulation's dates, and its own logic."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.base.errors import StokeholdError
from analysis.exchange.efficiency_index import (
    LOAD_PROFILE,
    PumpTable,
    average_power_w,
    hydraulic_power_w,
    limit_on,
    old_letter,
    rate,
    reference_power_w,
)
from analysis.rehearsal.physics.electronic import (
    ElectronicPump,
    electronic_power_w,
    energy_efficiency_index,
)

FLOWS = (2.0, 1.5, 1.0, 0.5)


def _table(heads: tuple[float, ...], powers: tuple[float, ...], **more) -> PumpTable:
    return PumpTable.of(list(zip(FLOWS, heads, powers, strict=True)), **more)


def test_pump_on_its_reference_curve() -> None:
    """2 m3/h at 4 m, 45/28/17/10 W: P_hyd 21.8, P_ref 54.035, mean 17.25 W, index 0.1564.

    Computed by Regulation (EC) 641/2009 annex II.
    """
    found = rate(_table((4.0, 3.5, 3.0, 2.5), (45, 28, 17, 10)))
    assert found.hydraulic_w == pytest.approx(21.8)
    assert found.reference_w == pytest.approx(54.035, abs=0.001)
    assert found.average_w == pytest.approx(17.25)
    assert found.index.value == pytest.approx(0.1564, abs=5e-5)
    assert found.profile_kwh(5000) == pytest.approx(86.3, abs=0.06)


def test_head_below_the_curve_is_compensated_and_above_not_credited() -> None:
    """0.10 m low at 75 %, 0.30 m high at 25 %: 28.8235 and 10 W, index 0.15755 (same source)."""
    found = rate(_table((4.0, 3.4, 3.0, 2.8), (45, 28, 17, 10)))
    assert found.compensated_w == pytest.approx([45, 28.8235, 17, 10], abs=5e-5)
    assert found.average_w == pytest.approx(17.3735, abs=5e-5)
    assert found.index.value == pytest.approx(0.15755, abs=5e-6)


def test_fixed_speed_fails_every_limit() -> None:
    """70/66/60/52 W at 4.0 to 5.3 m: 57.98 W, index 0.5258, above 0.27 and 0.23 (same source)."""
    found = rate(_table((4.0, 4.6, 5.0, 5.3), (70, 66, 60, 52)))
    assert found.average_w == pytest.approx(57.98)
    assert found.index.value == pytest.approx(0.5258, abs=5e-5)
    assert found.profile_kwh(5000) == pytest.approx(289.9, abs=0.05)
    assert {row["meets"] for row in found.document(date(2026, 1, 1))["limits"]} == {False}


@pytest.mark.parametrize(
    ("hydraulic", "expected"),
    [
        (1, 6.1061),
        (5, 21.7068),
        (10, 33.1536),
        (50, 102.0),
        (100, 187.0),
        (500, 867.0),
        (2500, 4267.0),
    ],
)
def test_reference_power(hydraulic: float, expected: float) -> None:
    """Spot values of the reference power, by the formula of annex II."""
    assert float(reference_power_w(hydraulic)) == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize(
    ("index", "expected"), [(0.27, 29.77), (0.23, 25.36), (0.20, 22.06), (0.18, 19.85)]
)
def test_mean_power_of_an_index(index: float, expected: float) -> None:
    """The way back: mean power a pump of 21.8 W hydraulic may take at each limit."""
    assert average_power_w(index, 21.8) == pytest.approx(expected, abs=0.01)


def test_hydraulic_power_of_a_published_measurement() -> None:
    """Wire to water, trade press: 2.1123 m3/h at 2.926 m are 16.84 W, of 77 W a 21.9 % part."""
    assert float(hydraulic_power_w(2.1123, 2.926)) == pytest.approx(16.84, abs=0.01)
    assert float(hydraulic_power_w(2.1123, 2.926)) / 77 == pytest.approx(0.219, abs=5e-4)


def test_a_formula_that_bears_the_standards_name_wrongly() -> None:
    """41.7 Q^0.5 + 0.25 H goes about as EN 16297-1's reference power; at 2 m3/h, 4 m it is not."""
    assert abs(41.7 * 2.0**0.5 + 0.25 * 4.0 - float(reference_power_w(21.8))) > 5


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        (date(2012, 12, 31), None),
        (date(2013, 1, 1), 0.27),
        (date(2015, 7, 31), 0.27),
        (date(2015, 8, 1), 0.23),
    ],
)
def test_limits_by_day(day: date, expected: float | None) -> None:
    """0.27 from 2013, 0.23 from August 2015 (Regulation 641/2009 as amended by 622/2012)."""
    found = limit_on(day)
    assert (found and found.index) == expected


def test_old_label_is_another_figure() -> None:
    """A pump of ratio 0.39 wears an A; as an index it has 0.19 (pump handbook)."""
    assert (old_letter(0.39), old_letter(0.59), old_letter(1.5)) == ("A", "B", "G")


def test_profile_is_whole() -> None:
    """The shares of time make one."""
    assert sum(time for _, time in LOAD_PROFILE) == pytest.approx(1.0)


def test_index_of_the_model_pump_from_its_table_alone() -> None:
    """A table read off the rehearsal's pump gives that pump's index, computed another way."""
    pump = ElectronicPump()
    flow = np.linspace(0.01, np.sqrt(pump.h0 / pump.a), 200)
    head = pump.h0 + pump.b * flow - pump.a * flow**2
    rated = max(zip(flow * head, flow, strict=True))[1]
    top = float(np.interp(rated, flow, head))
    rows = []
    for share in (1.0, 0.75, 0.5, 0.25):
        q, h = share * rated, top * (0.5 + 0.5 * share)
        speed = (-pump.b * q + np.sqrt((pump.b * q) ** 2 + 4 * pump.h0 * (pump.a * q * q + h))) / (
            2 * pump.h0
        )
        rows.append((float(q), float(h), float(electronic_power_w(pump, speed, q))))
    fastest = list(zip(flow.tolist(), head.tolist(), strict=True))
    found = rate(PumpTable.of(rows, fastest))
    assert found.index.value == pytest.approx(energy_efficiency_index(pump), rel=0.005)


@given(st.floats(0.5, 2.0))
def test_index_goes_with_power(factor: float) -> None:
    """Twice the power, twice the index."""
    heads = (4.0, 3.5, 3.0, 2.5)
    one = rate(_table(heads, (45, 28, 17, 10))).index.value
    more = rate(_table(heads, tuple(factor * p for p in (45, 28, 17, 10)))).index.value
    assert more == pytest.approx(factor * one)


@given(st.floats(0.0, 0.4))
def test_more_head_never_lowers_the_index(extra: float) -> None:
    """Head above the reference curve earns nothing."""
    base = rate(_table((4.0, 3.5, 3.0, 2.5), (45, 28, 17, 10))).index.value
    found = rate(_table((4.0, 3.5 + extra, 3.0 + extra, 2.5 + extra), (45, 28, 17, 10)))
    assert found.index.value == pytest.approx(base)


def test_instruments_widen_the_index() -> None:
    """2 % of power alone is 4 % of the index at k = 2; the limit 0.16 is then undecided."""
    found = rate(_table((4.0, 3.5, 3.0, 2.5), (45, 28, 17, 10), shares=(0.0, 0.0, 0.02)))
    assert found.index.high - found.index.value == pytest.approx(0.04 * found.index.value, rel=1e-3)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([(2, 4, 45), (1.5, 3.5, 28), (1, 3, 17)], "at least four"),
        ([(2, 4, 45), (1.5, 3.5, 28), (1.2, 3, 17), (1, 3, 17)], "25 to 100 %"),
        ([(2, 4, 45), (1.5, 3.5, 28), (1.5, 3, 17), (0.5, 3, 17)], "twice"),
        ([(0.2, 0.4, 45), (0.15, 0.35, 28), (0.1, 0.3, 17), (0.05, 0.2, 17)], "1 to 2500 W"),
        ([(2, -4, 45), (1.5, 3.5, 28), (1, 3, 17), (0.5, 3, 17)], "above 0"),
    ],
)
def test_tables_that_cannot_be_rated(rows: list, words: str) -> None:
    """Each is refused with what is wrong and what is needed."""
    with pytest.raises(StokeholdError, match=words):
        rate(PumpTable.of(rows))


def test_point_at_zero_flow_is_a_point_of_the_table() -> None:
    """A pump against a shut valve still lifts and draws power: such rows are measured too."""
    rows = [(2, 4, 45), (1.5, 3.5, 28), (1, 3, 17), (0.5, 2.5, 12)]
    without = rate(PumpTable.of(rows)).index.value
    assert rate(PumpTable.of([*rows, (0, 2.2, 9)])).index.value == pytest.approx(without, rel=0.02)
