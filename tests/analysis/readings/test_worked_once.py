"""What is worked out of a record is kept with it, and with nothing else."""

from analysis.readings.readings import Readings, Record
from analysis.readings.worked_once import kept, once

asked: list[tuple[object, ...]] = []


@once
def total(record: Record, name: str, *, least: list[float] | None = None) -> float:
    asked.append((name, least))
    return float(record[name].value.sum())


def record(value: float) -> Record:
    return {"heating.power": Readings.of([0, 1], [value, value])}


def test_the_same_is_worked_out_once_and_another_anew() -> None:
    """One name asked twice, another named argument, another record: three times, not four."""
    asked.clear()
    own, other, least = kept(record(2.0)), kept(record(5.0)), [1.0]
    assert total(own, "heating.power") == total(own, "heating.power") == 4.0
    assert total(own, "heating.power", least=least) == 4.0
    assert total(other, "heating.power") == 10.0
    assert len(asked) == 3


def test_what_cannot_be_compared_is_told_apart_by_what_it_is() -> None:
    """Two lists that are alike may differ later: each is its own."""
    asked.clear()
    own, least = kept(record(2.0)), [1.0]
    for one in (least, least, [1.0]):
        total(own, "heating.power", least=one)
    assert asked == [("heating.power", [1.0]), ("heating.power", [1.0])]


def test_a_plain_record_keeps_nothing() -> None:
    """Without a keeper each call works; what keeps already is not wrapped again."""
    asked.clear()
    plain = record(2.0)
    assert total(plain, "heating.power") == total(plain, "heating.power")
    assert len(asked) == 2
    assert kept(kept(plain)) is not kept(plain)
    one = kept(plain)
    assert kept(one) is one


def test_each_channel_is_read_once() -> None:
    """The store behind a record is asked for a channel once."""
    reads: list[str] = []

    class Store(dict[str, Readings]):
        def __getitem__(self, name: str) -> Readings:
            reads.append(name)
            return super().__getitem__(name)

    own = kept(Store(record(2.0)))
    assert own["heating.power"] is own["heating.power"]
    assert own.get("boiler.power") is None
    assert reads == ["heating.power", "boiler.power"]
