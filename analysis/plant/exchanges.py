"""A swap as a record: both pumps, what was done, what was measured; one list from both sources."""

from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from typing import Any, Literal, NamedTuple

from analysis.base.estimate import plain
from analysis.base.time import DAY_MS, format_rfc3339, from_ms, to_ms
from analysis.plant.plant import Drive, Plant, PumpPlate, Swap

Which = Literal["old", "new"]

SAME_SWAP_MS = 2 * DAY_MS
"""A record and a plant-file entry of one pump this near each other mean the same exchange."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpCard:
    """What a person can read off a pump, its plate and its leaflet; what is not known is None.

    `thread` is the union's, like ``G 1 1/2``; `head_m` the greatest head [m];
    `energy_index` the printed energy efficiency index; `plug` names the plug that
    measures it, so that a new plug at the exchange is known.
    """

    drive: Drive | None = None
    port_to_port_mm: int | None = None
    thread: str | None = None
    head_m: float | None = None
    least_w: float | None = None
    most_w: float | None = None
    energy_index: float | None = None
    always_on: bool | None = None
    plug: str | None = None

    @property
    def plate(self) -> PumpPlate:
        """The part that the plant file knows too."""
        known = self.least_w is not None and self.most_w is not None
        return PumpPlate(
            drive=self.drive,
            rated_power_w=(self.least_w or 0.0, self.most_w or 0.0) if known else None,
            always_on=self.always_on,
            port_to_port_mm=self.port_to_port_mm,
            plug=self.plug,
        )


class StepDone(NamedTuple):
    """A step of the list that was done, by whom, and a remark."""

    time_ms: int
    who: str
    words: str


class SettingPower(NamedTuple):
    """Power of one pump at one setting, with its 95 % interval [W]."""

    which: Which
    setting: str
    power_w: float
    low_w: float
    high_w: float


class Photo(NamedTuple):
    """A photo kept as a file, with its checksum (SHA-256)."""

    name: str
    sha256: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SwapRecord:
    """One exchange of a pump as written down while it was done.

    `time_ms` is None until the new pump is in; `id` is its number in the journal;
    `mode` is what the new pump was left at, and whether with night reduction.
    """

    plant: str
    pump: str
    started_ms: int
    id: int = 0
    time_ms: int | None = None
    who: str = ""
    mode: str = ""
    night_reduction: bool | None = None
    claim_kwh_per_year: float | None = None
    old: PumpCard = PumpCard()
    new: PumpCard = PumpCard()
    steps: dict[str, StepDone]
    powers: tuple[SettingPower, ...] = ()
    photos: tuple[Photo, ...] = ()

    def document(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "number": self.id,
            "pump": self.pump,
            "started": format_rfc3339(self.started_ms),
            "time": None if self.time_ms is None else format_rfc3339(self.time_ms),
            "who": self.who,
            "mode": self.mode,
            "night_reduction": self.night_reduction,
            "claim_kwh_per_year": plain(self.claim_kwh_per_year),
            "old": card_document(self.old),
            "new": card_document(self.new),
            "steps": {
                name: {"time": format_rfc3339(done.time_ms), "who": done.who, "words": done.words}
                for name, done in self.steps.items()
            },
            "powers": [
                {"pump": p.which, "setting": p.setting, "power_w": _power(p)} for p in self.powers
            ],
            "photos": [photo._asdict() for photo in self.photos],
        }


def card_document(card: PumpCard) -> dict[str, Any]:
    """The JSON form of a card."""
    return {one.name: getattr(card, one.name) for one in fields(card)}


def _power(power: SettingPower) -> dict[str, float | None]:
    return {
        "value": plain(power.power_w, 5),
        "low": plain(power.low_w, 5),
        "high": plain(power.high_w, 5),
    }


class KnownSwap(NamedTuple):
    """A swap as the analyses use it, and the record behind it where there is one."""

    swap: Swap
    record: SwapRecord | None


def swaps_of(plant: Plant, pump: str, records: Iterable[SwapRecord]) -> list[KnownSwap]:
    """Every swap of a pump, from the plant file and from records, oldest first.

    What the plant file says stands; a record within `SAME_SWAP_MS` fills in
    what it leaves open. A record whose new pump is not in yet is no swap.
    """
    done = [r for r in records if r.pump == pump and r.plant == plant.key and r.time_ms is not None]
    found = []
    for swap in (s for s in plant.swaps if s.pump == pump):
        mine = _nearest(done, to_ms(swap.time))
        if mine:
            done.remove(mine)
        found.append(KnownSwap(_filled(swap, mine) if mine else swap, mine))
    found += [KnownSwap(_swap(record), record) for record in done]
    return sorted(found, key=lambda known: known.swap.time)


def with_recorded(plant: Plant, records: Iterable[SwapRecord]) -> Plant:
    """The plant with the recorded swaps among its own, as every analysis shall see it."""
    kept = list(records)
    known = [one.swap for pump in plant.pumps for one in swaps_of(plant, pump.id, kept)]
    return replace(plant, swaps=tuple(sorted(known, key=lambda swap: swap.time)))


def _nearest(records: list[SwapRecord], time_ms: int) -> SwapRecord | None:
    near = [r for r in records if abs((r.time_ms or 0) - time_ms) <= SAME_SWAP_MS]
    return min(near, key=lambda r: abs((r.time_ms or 0) - time_ms), default=None)


def _swap(record: SwapRecord) -> Swap:
    return Swap(
        pump=record.pump,
        time=from_ms(record.time_ms or 0),
        claim_kwh_per_year=record.claim_kwh_per_year,
        old=record.old.plate,
        new=record.new.plate,
    )


def _filled(swap: Swap, record: SwapRecord) -> Swap:
    """The plant file's swap, with the record's word where it has none."""
    other = _swap(record)
    claim = swap.claim_kwh_per_year
    return replace(
        swap,
        claim_kwh_per_year=other.claim_kwh_per_year if claim is None else claim,
        old=_filled_plate(swap.old, other.old),
        new=_filled_plate(swap.new, other.new),
    )


def _filled_plate(mine: PumpPlate, other: PumpPlate) -> PumpPlate:
    open_ones = [one.name for one in fields(mine) if getattr(mine, one.name) is None]
    return replace(mine, **{name: getattr(other, name) for name in open_ones})
