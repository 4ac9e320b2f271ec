"""What is worked out of a record is kept with it: many ask for the same, it is worked out once."""

from collections.abc import Callable, Hashable, Iterator, Mapping
from functools import wraps
from typing import Any, NamedTuple, ParamSpec, TypeVar

from analysis.base.time import Span
from analysis.readings.readings import Readings, Record

Given = ParamSpec("Given")
Found = TypeVar("Found")


class Keeper:
    """Something whose consequences are kept as long as it lives; it never changes itself."""

    __slots__ = ("_kept",)
    _kept: dict[Hashable, Any]

    def __init__(self) -> None:
        object.__setattr__(self, "_kept", {})


class KeptRecord(Keeper, Mapping[str, Readings]):
    """A record that keeps what is worked out of it, such as a night's or a log's.

    Parameters
    ----------
    record : mapping of str to Readings
        Where the readings come from; each channel is asked for once.
    """

    __slots__ = ("_known", "_record")

    def __init__(self, record: Record) -> None:
        super().__init__()
        self._record = record
        self._known: dict[str, Readings] = {}

    def __getitem__(self, channel: str) -> Readings:
        if channel not in self._known:
            self._known[channel] = self._record[channel]
        return self._known[channel]

    def __iter__(self) -> Iterator[str]:
        return iter(self._record)

    def __len__(self) -> int:
        return len(self._record)


def kept(record: Record) -> KeptRecord:
    """The record as one that keeps; as it is where it does so already."""
    return record if isinstance(record, KeptRecord) else KeptRecord(record)


class _Part(Mapping[str, Readings]):
    """What of a record lies within a span."""

    __slots__ = ("_record", "_span")

    def __init__(self, record: Record, span: Span) -> None:
        self._record, self._span = record, span

    def __getitem__(self, channel: str) -> Readings:
        return self._record[channel].within(self._span)

    def __iter__(self) -> Iterator[str]:
        return iter(self._record)

    def __len__(self) -> int:
        return len(self._record)


def kept_part(record: Record, span: Span) -> KeptRecord:
    """What of a record lies within a span: what is worked out of it costs no more than that."""
    return KeptRecord(_Part(record, span))


class _Same(NamedTuple):
    """An argument known by what it is, not by what it holds; kept so that no other takes its id."""

    id: int
    argument: Any

    def __hash__(self) -> int:
        return self.id

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and self.argument is other.argument


def once(work: Callable[Given, Found]) -> Callable[Given, Found]:
    """Let a function keep what it found with the first `Keeper` among its arguments.

    Without one it works each time. The other arguments are told apart by their values, or by
    what they are where values cannot be compared. Who gets what was kept must not change it.
    """

    @wraps(work)
    def asked(*given: Given.args, **named: Given.kwargs) -> Found:
        arguments = (*given, *named.values())
        keeper = next((one for one in arguments if isinstance(one, Keeper)), None)
        if keeper is None:
            return work(*given, **named)
        key = (work, tuple(named), *(_told_apart(one, keeper) for one in arguments))
        if key not in keeper._kept:  # noqa: SLF001 - one mechanism in two parts
            keeper._kept[key] = work(*given, **named)  # noqa: SLF001
        found: Found = keeper._kept[key]  # noqa: SLF001
        return found

    return asked


def _told_apart(argument: object, keeper: Keeper) -> Hashable:
    if argument is keeper:
        return None
    try:
        hash(argument)
    except TypeError:
        return _Same(id(argument), argument)
    return argument
