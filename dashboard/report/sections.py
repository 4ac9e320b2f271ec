"""What the report says: one function a section, each over the same analyses as its command."""

from collections.abc import Iterable
from typing import Any

from analysis.base.time import to_ms
from analysis.exchange.commissioning import STAGE_WORDS, CommissioningReport
from analysis.faults.fault import HOT_AND_LIVE
from analysis.faults.registry import FAULTS
from analysis.plant.exchanges import KnownSwap
from analysis.plant.finding import Finding
from analysis.plant.plant import Channel
from analysis.readings.readings import Readings, covered_hours, hold_limit_ms, holds
from dashboard.parts.words import NOTHING, amount, estimate, evidence, figure, likelihood
from dashboard.report.blocks import Block, Caution, Points, Section, Words, table
from dashboard.report.pictures import daily_power
from dashboard.report.proof import proof, verdict_words
from dashboard.report.report_data import Matter

_MOST_ENTRIES = 60


def sections(matter: Matter) -> tuple[Section, ...]:
    """Every section, in the order of the report; one without anything to say is left out."""
    made = (
        in_short(matter),
        the_plant(matter),
        findings(matter),
        energy(matter),
        boiler(matter),
        swaps(matter),
        proof(matter),
        logbook(matter),
        method(matter),
        cautions(matter),
    )
    return tuple(section for section in made if section.blocks)


# in short


def found_words(kinds: int, urgent: int) -> str:
    """How many findings there are, in a sentence."""
    if not kinds:
        return "Nothing was found in the time looked at."
    found = "1 kind of finding" if kinds == 1 else f"{kinds} kinds of findings"
    lasting = "1 lasts and wants" if urgent == 1 else f"{urgent or 'none'} last and want"
    return f"{found}, {lasting} attention."


def in_short(matter: Matter) -> Section:
    """The sentences a reader in a hurry needs."""
    urgent = [f for f in matter.health.findings if f.end_ms is None and f.urgency != "note"]
    kinds = len({(f.fault, f.subject) for f in matter.health.findings})
    rows = [found_words(kinds, len(urgent))]
    rows += [f"{FAULTS[f.fault].title} ({f.subject})." for f in urgent[:5]]
    rows += [
        f"{use.subject}: {estimate(use.per_year.document())} of electricity a year."
        for use in matter.energy
        if use.covered_hours > 0
    ]
    rows += [f"Swap of {s.swap.pump}: {verdict_words(s)}." for s in matter.savings]
    rows += [
        f"Fitting of {report.pump}: {check.mistake.title.lower()}."
        for report in _newest(matter.fitted)
        for check in report.found
    ]
    return Section("In short", (Points(tuple(rows)),))


def _newest(reports: Iterable[CommissioningReport]) -> list[CommissioningReport]:
    """The latest stage of each pump's commissioning."""
    return list({report.pump: report for report in reports}.values())


# plant


def the_plant(matter: Matter) -> Section:
    """The parts, and how well each channel was heard."""
    plant = matter.asked.plant
    parts = [
        *((b.id, "boiler", _joined(b.fuel, amount(b.input_kw, "kW"))) for b in plant.boilers),
        *((p.id, "pump", _pump_words(p)) for p in plant.pumps),
        *((s.id, "store", amount(s.volume_l, "L")) for s in plant.stores),
    ]
    heard = [_heard(matter, channel) for channel in plant.channels]
    return Section(
        "The plant",
        (
            table(("part", "kind", "known of it"), parts, (2, 1, 5)),
            table(("channel", "quantity", "heard of the time"), heard, (3, 2, 2)),
        ),
    )


def _joined(*parts: str | None) -> str:
    return ", ".join(part for part in parts if part and part != NOTHING)


def _pump_words(pump: Any) -> str:
    rated = pump.rated_power_w
    return _joined(
        pump.drive,
        f"for {pump.duty}",
        "always on" if pump.always_on else None,
        f"{rated[0]:g} to {rated[1]:g} W by its plate" if rated else None,
        f"{pump.port_to_port_mm} mm long" if pump.port_to_port_mm else None,
    )


def _heard(matter: Matter, channel: Channel) -> tuple[str, str, str]:
    span = matter.asked.span
    readings = matter.asked.record.get(channel.id, Readings.empty())
    known = holds(readings, hold_limit_ms(readings, channel), span) if len(readings) else None
    share = covered_hours(known) / span.hours if known and span.hours > 0 else 0.0
    place = f" ({channel.place})" if channel.place else ""
    return channel.id, f"{channel.quantity.replace('_', ' ')}{place}", f"{share:.0%}"


# findings


def findings(matter: Matter) -> Section:
    """What was found, worst first and each fault of a part once, and what could not be judged."""
    health = matter.health
    alike: dict[tuple[str, str], list[Finding]] = {}
    for finding in health.findings:
        alike.setdefault((finding.fault, finding.subject), []).append(finding)
    blocks: list[Block] = [_found(matter, same) for same in alike.values()]
    if not blocks:
        blocks.append(Words("Nothing was found in the time looked at."))
    rows = [
        (FAULTS[c.fault].title, c.subject, c.needs)
        for c in health.cannot_judge
        if c.fault in FAULTS
    ]
    if rows:
        blocks.append(Words("What could not be judged, and what would settle it:"))
        blocks.append(table(("fault", "part", "needs"), rows, (3, 2, 5)))
    return Section("Findings", tuple(blocks))


def _found(matter: Matter, same: list[Finding]) -> Block:
    """One fault of one part: the newest in full, and how often it was seen."""
    newest = max(same, key=lambda f: (f.end_ms is None, f.start_ms))
    until = "and lasts" if newest.end_ms is None else f"until {matter.when(newest.end_ms)}"
    first = min(f.start_ms for f in same)
    often = f"; {len(same)} times since {matter.when(first)}" if len(same) > 1 else ""
    signs = "; ".join(evidence(s.document()) for s in newest.evidence)
    rows = [
        ("seen", f"from {matter.when(newest.start_ms)} {until}{often}"),
        ("how sure", f"{likelihood(newest.confidence)}, told as '{newest.urgency}'"),
        ("signs", signs),
        ("may be", ", ".join(newest.possible)),
        ("check first", newest.first_check),
        ("who may act", newest.who),
    ]
    return table(("what", f"{FAULTS[newest.fault].title} ({newest.subject})"), rows, (1, 5))


# energy


def energy(matter: Matter) -> Section:
    """Electric energy and cost a year of every machine, with pictures."""
    asked = matter.asked
    rows = [
        (
            use.subject,
            f"{figure(use.measured_kwh)} kWh in {figure(use.covered_hours)} h",
            amount(use.mean_power_w, "W"),
            estimate(use.per_year.document()),
            estimate(use.cost_per_year.document()),
        )
        for use in matter.energy
    ]
    head = ("machine", "measured", "mean power", "a year", "cost a year")
    blocks: list[Block] = [table(head, rows, (2, 3, 2, 4, 4))] if rows else []
    bases = {f"{u.subject}: {u.per_year.basis}." for u in matter.energy if u.per_year.basis}
    blocks += [Points(tuple(sorted(bases)))] if bases else []
    for pump in asked.plant.pumps:
        if made := daily_power(asked.plant, pump, asked.record, asked.span):
            blocks.append(made)
    return Section("Electricity and its cost", tuple(blocks))


# boiler


def boiler(matter: Matter) -> Section:
    """Firings of every boiler."""
    rows = [
        (
            b.boiler,
            NOTHING if b.summary.starts is None else str(b.summary.starts),
            figure(b.summary.starts_per_day),
            figure(b.summary.on_hours),
            NOTHING if b.summary.median_on_s is None else f"{b.summary.median_on_s / 60:.1f} min",
            b.summary.short_cycling.why,
        )
        for b in matter.cycles
        if b.method is not None
    ]
    head = ("boiler", "firings", "a day", "hours firing", "median", "short cycling")
    unseen = [f"{b.boiler}: {b.summary.short_cycling.why}" for b in matter.cycles if not b.method]
    blocks: list[Block] = [table(head, rows, (2, 2, 1.4, 2, 2, 6))] if rows else []
    return Section("The boiler", (*blocks, *(Words(text) for text in unseen)))


# swap


def swaps(matter: Matter) -> Section:
    """Each exchange: both pumps, who, the steps, the watts, the photos, the fitting."""
    blocks: list[Block] = []
    for known in matter.swaps:
        blocks += _swap(matter, known)
        blocks += matter.photos.get(known.swap.pump, ())
    for report in _newest(matter.fitted):
        blocks += _fitted(report)
    for pump, document in matter.trials.items():
        blocks += _trial(pump, document)
    return Section("The exchange of pumps", tuple(blocks))


def _swap(matter: Matter, known: KnownSwap) -> list[Block]:
    swap, record = known.swap, known.record
    who = f" by {record.who}" if record and record.who else ""
    words = f"{swap.pump} was exchanged {matter.when(to_ms(swap.time))}{who}."
    rows = [
        (name, _plate(plate.drive, plate.rated_power_w, length_mm=plate.port_to_port_mm))
        for name, plate in (("old pump", swap.old), ("new pump", swap.new))
    ]
    if record:
        rows += [(f"{p.which} pump at {p.setting}", _watts(p)) for p in record.powers]
        rows += [("mode set", record.mode)] if record.mode else []
        rows += [
            (f"done: {name}", _joined(matter.when(done.time_ms), done.who, done.words))
            for name, done in record.steps.items()
        ]
        rows += [(f"photo {p.name}", f"SHA-256 {p.sha256}") for p in record.photos]
    return [Words(words), table(("what", "as written down"), rows, (2, 5))]


def _plate(drive: str | None, rated_w: tuple[float, float] | None, *, length_mm: int | None) -> str:
    rated = f"{rated_w[0]:g} to {rated_w[1]:g} W" if rated_w else None
    length = f"{length_mm} mm" if length_mm else None
    return _joined(drive, rated, length) or "nothing written down"


def _watts(power: Any) -> str:
    return f"{power.power_w:.1f} W ({power.low_w:.1f} to {power.high_w:.1f})"


def _fitted(report: CommissioningReport) -> list[Block]:
    words = {"found": "FOUND", "sound": "no sign of it", "unknown": "cannot be said"}
    rows = [
        (
            check.mistake.title,
            words[check.judged.state],
            check.mistake.do if check.judged.state == "found" else check.judged.needs,
        )
        for check in report.checks
    ]
    told = f"How {report.pump} was fitted, by the readings of {STAGE_WORDS[report.stage]} after it:"
    return [Words(told), table(("mistake", "state", "what to do, or what is missing"), rows, ())]


def _trial(pump: str, document: dict[str, Any]) -> list[Block]:
    rows = [(row["setting"], estimate(row["power"])) for row in document["table"]]
    checks = [f"{check['what']}: {check['words']}." for check in document["checks"]]
    told = Words(f"The guided trial of {pump} gave:")
    return [told, table(("setting", "power"), rows, (1, 3)), Points(tuple(checks))]


# logbook


def logbook(matter: Matter) -> Section:
    """The newest entries."""
    rows = [
        (matter.when(e.time_ms), e.subject, e.kind, e.words, e.who)
        for e in matter.entries[:_MOST_ENTRIES]
    ]
    head = ("time", "part", "kind", "words", "who")
    return Section("Logbook", (table(head, rows, (3, 2, 2, 6, 2)),) if rows else ())


# method and cautions

_METHOD = """\
A gap is unknown and never counted as zero. How much of the time each channel was heard stands \
with the plant.
Every estimate carries the interval that should contain the truth in 95 of 100 cases, with what \
it rests on.
Smart plugs are no calibrated meters; small electronic pumps with a low power factor are read \
worst. Clip-on sensors measure pipes, not water: no figure here is fit for billing heat.
Without a flow meter no heat is derived from temperatures; the water's share is told only against \
its own past.
Savings: retrofit isolation (IPMVP options A and B), before and after matched by context, \
uncertainty in the style of ASHRAE Guideline 14 and by the GUM. Heat that the old pump gave the \
water is replaced by the boiler; that is stated beside the saving.
A finding is a reasoned suspicion from readings, not an inspection. What could not be judged is \
listed with what is missing.
"""

_CAUTIONS = """\
Work on gas, oil, burner, flue, safety devices and fixed wiring belongs to those who may do it \
under local rules. Never defeat a limit; reset a lock-out at most once.
Have a working carbon monoxide alarm. This program observes; it is no safety device, replaces no \
limit thermostat and switches nothing.
"""


def method(matter: Matter) -> Section:
    """How the figures come about and where they end."""
    days = f"This report rests on readings over {matter.asked.span.days:.1f} days."
    return Section("Method and its limits", (Points((days, *_METHOD.splitlines())),))


def cautions(matter: Matter) -> Section:
    """What can hurt, for the faults found and in general."""
    found = [FAULTS[f.fault].caution for f in matter.health.findings]
    texts = dict.fromkeys((*found, HOT_AND_LIVE, *_CAUTIONS.splitlines()))
    return Section("Cautions", tuple(Caution(text) for text in texts if text))
