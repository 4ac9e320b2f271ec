"""The invented house of demo and sample logs, and what befalls it in each."""

from dataclasses import replace

from analysis.base.time import DAY_MS, from_ms, parse_rfc3339, to_ms
from analysis.plant.plant import QuantityName
from analysis.readings.readings import Readings
from analysis.rehearsal.course.play import Trajectory
from analysis.rehearsal.faults.air import FAULT as AIR
from analysis.rehearsal.faults.bearing_drag import FAULT as BEARING_DRAG
from analysis.rehearsal.faults.fault import FaultPlan
from analysis.rehearsal.faults.negatives import NegativePlan
from analysis.rehearsal.faults.short_cycling import FAULT as SHORT_CYCLING
from analysis.rehearsal.faults.stall import FAULT as STALL
from analysis.rehearsal.house.draw import Wish
from analysis.rehearsal.house.layout import Device, Layout
from analysis.rehearsal.plan.cases import Case
from analysis.rehearsal.rehearse import Rehearsal, Staging, perform, stage

HOUSE = "Tern Cottage"
SEED = 2037
_CHANNELS = (
    "boiler.flow",
    "boiler.return",
    "heating.flow",
    "heating.return",
    "store.top",
    "plant.outdoor",
    "plant.room",
    "plant.pressure",
)
_WISH = Wish(
    drive="induction",
    condensing=True,
    control="weather",
    fuel="gas",
    store=True,
    recirculation=False,
    floor=False,
    setback="small",
    always_on=False,
    pump_in_return=False,
    sensed=(*_CHANNELS, "boiler.power"),
)
SAMPLES: dict[str, tuple[str, float]] = {
    "healthy_week": ("2026-01-12T00:00:00Z", 7.0),
    "stalled_pump": ("2026-01-19T00:00:00Z", 4.0),
    "air_after_refill": ("2026-02-02T00:00:00Z", 6.0),
    SHORT_CYCLING.name: ("2026-02-16T00:00:00Z", 4.0),
    "swap": ("2026-03-02T00:00:00Z", 14.0),
}
"""Sample logs: first moment and days."""


def sample(name: str) -> Rehearsal:
    """Rehearse one of the sample logs.

    Parameters
    ----------
    name : str
        A name of `SAMPLES`.
    """
    start, days = SAMPLES[name]
    interval_s = 120.0 if name == "swap" else 60.0
    # a burner that modulates hides its band behind its lock for weeks; the old one shows it
    condensing = name != SHORT_CYCLING.name
    wish = replace(_WISH, plug_s=interval_s, condensing=condensing)
    case = Case(name=name, tells=name, wish=wish, swap=name == "swap", others=0)
    faults = _faults(name)
    return perform(_in_the_house(case, parse_rfc3339(start), days, faults, interval_s=interval_s))


def _faults(name: str) -> tuple[FaultPlan, ...]:
    if name == "stalled_pump":
        return (FaultPlan(subject="heating", fault=STALL.name, onset_day=2.3, end_day=3.4),)
    if name == "air_after_refill":
        return (FaultPlan(subject="heating", fault=AIR.name, onset_day=1.4, end_day=6.0),)
    if name == SHORT_CYCLING.name:
        return (FaultPlan(subject="boiler", fault=SHORT_CYCLING.name, onset_day=1.0),)
    return ()


_DEMO_BOILER_J_K = 220e3
"""A floor-standing condensing boiler of some 45 L: it starts some ten thousand times a year, where
a wall-hung one of two litres in the same oversized place would do so thirty thousand times."""
CLAIM_KWH = 520.0
"""What the demo's new pump is said to save a year: more than it does."""


DEMO_DAYS = 365
_DEMO_NOW_MS = parse_rfc3339("2026-01-20T00:00:00Z")
_DEMO_AHEAD_DAYS, _DEMO_INTERVAL_S = 3, 30.0


def demo_staging() -> Staging:
    """Everything decided of the demo: a year up to a midnight of January, and three days ahead.

    So a whole heating season lies before and after the swap of its heating pump; further a worn
    charging pump, air, a firewood day, a power cut, a holiday. A plug speaks every 30 s, the pipe
    sensors every 60 s.
    """
    days = float(DEMO_DAYS + _DEMO_AHEAD_DAYS)
    wish = replace(_WISH, plug_s=_DEMO_INTERVAL_S)
    case = Case(name="demo", tells="the demo", wish=wish, swap=True, others=0)
    faults = (
        FaultPlan(
            subject="charging",
            fault=BEARING_DRAG.name,
            onset_day=0.55 * days,
            growth_days=0.4 * days,
            severity=0.8,
        ),
        FaultPlan(
            subject="heating",
            fault=AIR.name,
            onset_day=0.81 * days,
            end_day=0.84 * days,
            severity=0.8,
        ),
    )
    start_ms = _DEMO_NOW_MS - DEMO_DAYS * DAY_MS
    staging = _in_the_house(case, start_ms, days, faults, interval_s=_DEMO_INTERVAL_S)
    body = staging.spec.body._replace(capacity_j_k=_DEMO_BOILER_J_K)
    events = (
        NegativePlan(what="holiday", day=0.12 * days, days=6.0),
        NegativePlan(what="power_cut", day=0.33 * days, days=0.05),
        NegativePlan(what="firewood_day", day=0.42 * days, days=0.5),
        NegativePlan(what="wifi_gap", day=0.7 * days, days=0.4),
        NegativePlan(what="refill_venting", day=0.81 * days, days=1.0),
    )
    return replace(staging, spec=replace(staging.spec, body=body), negatives=events)


def demo_rehearsal(now_ms: int, trajectory: Trajectory) -> Rehearsal:
    """Read the demo's trajectory with its instruments, and move it to the present.

    It is moved by whole days, so that mornings stay mornings; its winter comes along, whatever
    the date: most is to be seen in winter. The record reaches beyond `now_ms`, so that a
    publisher can send the readings that follow as they fall due. Neither yearly figures nor
    faults are told in its truth.

    Parameters
    ----------
    now_ms : int
        The present [ms].
    trajectory : Trajectory
        How `demo_staging` played.
    """
    played = perform(demo_staging(), year=False, twins=False, trajectory=trajectory)
    ahead_ms = (now_ms // DAY_MS) * DAY_MS - _DEMO_NOW_MS
    record = {c: Readings(r.time_ms + ahead_ms, r.value) for c, r in played.record.items()}
    swaps = tuple(
        replace(s, time=from_ms(to_ms(s.time) + ahead_ms), claim_kwh_per_year=CLAIM_KWH)
        for s in played.plant.swaps
    )
    truth = played.truth
    moved = replace(
        truth,
        start_ms=truth.start_ms + ahead_ms,
        end_ms=truth.end_ms + ahead_ms,
        cycles=(),
        negatives=tuple(
            replace(n, start_ms=n.start_ms + ahead_ms, end_ms=n.end_ms + ahead_ms)
            for n in truth.negatives
        ),
    )
    plant = replace(played.plant, swaps=swaps)
    return replace(played, plant=plant, record=record, truth=moved)


def _in_the_house(
    case: Case, start_ms: int, days: float, faults: tuple[FaultPlan, ...], *, interval_s: float
) -> Staging:
    """The house of the scenario with its own name and few, regular instruments."""
    staging = stage(case, days, SEED, start_ms=start_ms)
    return replace(
        staging,
        spec=replace(staging.spec, name=HOUSE, timezone="Europe/Dublin"),
        layout=_regular(staging.layout, interval_s),
        faults=faults,
        negatives=(),
    )


def _regular(layout: Layout, interval_s: float) -> Layout:
    """Plugs at one interval, sensors at up to twice it, and only the scenario's channels."""

    def device(one: Device, every_s: float) -> Device:
        return replace(
            one,
            interval_s=every_s,
            reports="periodic",
            heartbeat_s=every_s,
            bursts_a_week=0.2,
            loss=0.003,
        )

    return Layout(
        tuple(
            replace(
                plug,
                device=device(plug.device, interval_s),
                downstream=False,
                step_w=0.1,
                floor_w=0.0,
                memory="kept",
                counter_kwh=0.001,
                quantities=_usual(plug.load),
            )
            for plug in layout.plugs
        ),
        tuple(
            replace(
                clip,
                device=device(clip.device, max(interval_s, min(2 * interval_s, 60.0))),
                step_k=0.1,
                change_k=0.0,
            )
            for clip in layout.clips
            if clip.channel in _CHANNELS
        ),
        tuple(m for m in layout.meters if m.channel in _CHANNELS),
    )


def _usual(load: str) -> tuple[QuantityName, ...]:
    if load == "heating":
        return ("power", "energy", "voltage", "power_factor")
    return ("power", "energy")
