"""Which pump was in place when."""

from dataclasses import replace
from datetime import UTC, datetime

from analysis.base.time import Span, to_ms
from analysis.plant.installed_pump import is_switched, placed_pumps, present_span
from analysis.plant.plant import Plant, Pump, PumpPlate, Swap

PUMP = Pump(id="heating", drive="electronic", always_on=True)
FIRST, SECOND = (datetime(2025, month, 1, tzinfo=UTC) for month in (3, 6))
SPAN = Span(to_ms(datetime(2025, 1, 1, tzinfo=UTC)), to_ms(datetime(2025, 9, 1, tzinfo=UTC)))


def plant(*swaps: Swap) -> Plant:
    return Plant(name="Quay", timezone="UTC", pumps=(PUMP,), swaps=swaps)


def test_swaps_part_a_span() -> None:
    """Two swaps give three pumps; the plates tell what each was, the plant file the present one."""
    old = PumpPlate(drive="induction", always_on=False)
    swaps = (
        Swap(pump="heating", time=SECOND, old=PumpPlate()),
        Swap(pump="heating", time=FIRST, old=old),
    )
    found = placed_pumps(plant(*swaps), PUMP, SPAN)
    assert [part.start_ms for part, _ in found] == [SPAN.start_ms, to_ms(FIRST), to_ms(SECOND)]
    assert [one.drive for _, one in found] == ["induction", "electronic", "electronic"]
    assert [one.always_on for _, one in found] == [False, True, True]
    assert present_span(plant(*swaps), PUMP, SPAN) == Span(to_ms(SECOND), SPAN.end_ms)


def test_only_swaps_of_this_pump_within_the_span_count() -> None:
    """Another pump's swap, and one before the first reading, part nothing."""
    swaps = (
        Swap(pump="charging", time=FIRST),
        Swap(pump="heating", time=datetime(2024, 1, 1, tzinfo=UTC)),
    )
    assert placed_pumps(plant(*swaps), PUMP, SPAN) == [(SPAN, PUMP)]
    assert present_span(replace(plant(), swaps=swaps), PUMP, SPAN) == SPAN


def test_a_span_beside_a_swap_knows_its_pump() -> None:
    """Wholly before a swap stands the pump it took out, wholly after it the one it brought."""
    swap = Swap(
        pump="heating", time=FIRST,
        old=PumpPlate(drive="induction", always_on=False), new=PumpPlate(always_on=False),
    )  # fmt: skip
    before, after = Span(SPAN.start_ms, to_ms(FIRST)), Span(to_ms(FIRST), SPAN.end_ms)
    (old,), (new,) = (placed_pumps(plant(swap), PUMP, span) for span in (before, after))
    assert (old.pump.drive, old.pump.always_on) == ("induction", False)
    assert (new.pump.drive, new.pump.always_on) == ("electronic", False)
    assert is_switched(plant(swap), PUMP, before)
    assert is_switched(plant(swap), PUMP, after)
    assert not is_switched(plant(replace(swap, new=PumpPlate())), PUMP, after)
    assert not is_switched(plant(), PUMP, after)


def test_each_pump_has_its_own_plate() -> None:
    """The plant file's power range is the present pump's: the old one has its own, or none."""
    rated = replace(PUMP, rated_power_w=(4.0, 34.0))
    for told in ((35.0, 80.0), None):
        old = PumpPlate(drive="induction", rated_power_w=told)
        before, now = placed_pumps(plant(Swap(pump="heating", time=FIRST, old=old)), rated, SPAN)
        assert before.pump.rated_power_w == told
        assert now.pump.rated_power_w == (4.0, 34.0)
