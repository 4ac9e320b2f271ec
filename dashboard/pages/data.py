"""The data themselves: how fresh, how complete, and what screening kept out of each channel."""

from collections import Counter, defaultdict

from dash import html

from analysis.base.time import DAY_MS, Span
from analysis.plant.plant import Channel
from analysis.readings.thinning import overall
from collector.payloads.screening import RULES
from collector.store.protocol import address
from dashboard.parts import words
from dashboard.parts.cards import chip, empty, fact, facts, section, table
from dashboard.parts.last_values import Presence, channel_amount, channel_name, presence
from dashboard.parts.page import Component, Page, View

_DAYS = 7


def layout(view: View) -> Component:
    """The collector, every channel, and what was refused lately."""
    counts = _counts(view)
    now = presence(view)
    head = ("Channel", "Last reading", "Age", "Expected", "Known", "Kept out or doubtful")
    rows = [_row(view, now, c, counts[address(view.plant, c)]) for c in view.plant.channels]
    note = f"Known and kept out are of the last {_DAYS} days."
    return html.Div(
        [
            html.H1("Data"),
            _collector(view),
            section("Channels", table(head, rows), note=note),
            _rules(counts, view),
            _refused(view),
        ]
    )


def _counts(view: View) -> dict[str, Counter[str]]:
    """Screening counts by address and rule: those journalled and those still to be."""
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    site = view.site
    for (name, rule), n in site.journal.counts((view.now_ms - _DAYS * DAY_MS) // DAY_MS).items():
        counts[name][rule] += n
    journalled = site.live.journalled
    for key, n in dict(site.live.counts).items():
        counts[key[0]][key[1]] += n - journalled.get(key, 0)
    return counts


def _collector(view: View) -> Component:
    live, now = view.site.live, view.now_ms
    link = live.trouble or (
        f"for {words.age(now - live.connected_since_ms)}" if live.connected_since_ms else "not yet"
    )
    return facts(
        fact("Connected to the broker", link),
        fact("Last message", words.ago(live.last_message_ms, now)),
        fact("Messages since the start", f"{live.received:,}".replace(",", " ")),
        fact("Readings stored since", f"{live.stored:,}".replace(",", " ")),
    )


def _row(view: View, now: Presence, channel: Channel, counts: Counter[str]) -> list[Component]:
    reading = now.readings.get(channel.id)
    value = channel_amount(channel, reading.value) if reading else words.NOTHING
    age: Component = words.age(reading.age_ms) if reading else "never"
    if not reading or not reading.is_fresh:
        age = html.Span([age, " ", chip("silent", "soon")])
    expected = f"every {words.age(channel.interval_s * 1000)}" if channel.interval_s else "learned"
    if channel.reports == "change":
        expected = f"on change, {expected}"
    kept_out = ", ".join(f"{n} {rule.replace('_', ' ')}" for rule, n in counts.most_common() if n)
    name = html.Span([channel_name(channel), html.Br(), html.Code(channel.id)])
    return [name, value, age, expected, _known(view, channel), kept_out or "none"]


def _known(view: View, channel: Channel) -> str:
    span = Span(view.now_ms - _DAYS * DAY_MS, view.now_ms)
    hours = view.site.store.summary(address(view.plant, channel), span, "hour")
    return f"{overall(hours, span).coverage:.1%}"


def _rules(counts: dict[str, Counter[str]], view: View) -> Component:
    """Only the rules that struck, over all addresses of this plant and those nobody knows."""
    total: Counter[str] = Counter()
    others = {f"{p.key}/" for p in view.site.plants if p.key != view.plant.key}
    for name, by_rule in counts.items():
        if not any(name.startswith(o) for o in others):
            total.update(by_rule)
    struck = [(r, n) for r, n in total.most_common() if n and r in RULES]
    if not struck:
        return section("Screening", empty("Nothing was kept out or doubted."))
    rows = [
        [rule.replace("_", " "), RULES[rule].meaning, "stored" if RULES[rule].keeps else "kept out",
         str(n)]
        for rule, n in struck
    ]  # fmt: skip
    return section("Screening", table(("Rule", "Meaning", "Reading", "Count"), rows))


def _refused(view: View) -> Component:
    refused = list(view.site.live.refused)[-20:][::-1]
    if not refused:
        return section("Refused lately", empty("Nothing since the start."))
    rows = [
        [words.moment(r.time_ms, view.plant.timezone, view.now_ms), html.Code(r.address),
         r.rule.replace("_", " "), r.why]
        for r in refused
    ]  # fmt: skip
    return section("Refused lately", table(("When", "Address", "Rule", "Why"), rows))


PAGE = Page(path="/data", title="Data", layout=layout, refresh_s=10.0)
