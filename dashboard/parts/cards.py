"""Small pieces every page uses: tiles, tables, chips, and a finding told as a card."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TypeVar

from dash import dcc, html

from analysis.alarms.states import Alarm
from analysis.base.time import parse_rfc3339
from analysis.faults.registry import FAULTS
from analysis.plant.finding import URGENCIES
from analysis.plant.plant import Boiler, Pump
from dashboard.parts import words
from dashboard.parts.page import Component, View

Part = TypeVar("Part", Pump, Boiler)

URGENCY_WORDS = {"now": "act now", "soon": "soon", "note": "note"}
STATE_WORDS = {
    "unacknowledged": "unacknowledged",
    "acknowledged": "acknowledged",
    "returned": "returned to normal, unacknowledged",
    "shelved": "shelved",
    "out_of_service": "out of service",
    "normal": "normal",
}
"""Words of IEC 62682 for the states."""


def section(title: str, *children: Component, note: str | None = None) -> Component:
    """Heading with what belongs to it."""
    head = [html.H2(title)] + ([html.P(note, className="aside")] if note else [])
    return html.Section([*head, *children])


def empty(text: str) -> Component:
    """Words where there is nothing to show yet, and why."""
    return html.P(text, className="empty")


def chip(text: str, kind: str = "") -> Component:
    """Short word on coloured ground; `kind` is an urgency or a state."""
    return html.Span(text, className=f"chip {kind}".strip())


def fact(label: str, value: Component, note: str = "") -> Component:
    """One labelled figure."""
    below = [html.Span(note, className="aside")] if note else []
    return html.Div(
        [html.Span(label, className="label"), html.Strong(value), *below], className="fact"
    )


def estimate_fact(label: str, document: Mapping[str, Any] | None, note: str = "") -> Component:
    """One labelled estimate: figure, then interval; or unknown, then why."""
    said = words.estimate(document)
    if said.startswith("unknown: "):
        return fact(label, "unknown", said.removeprefix("unknown: "))
    figure, interval = said.split(" (", maxsplit=1)
    return fact(label, figure, f"{interval.rstrip(')')}{f', {note}' if note else ''}")


def facts(*children: Component, wide: bool = False) -> Component:
    """Labelled figures side by side; `wide` ones have a sentence below each."""
    return html.Div(children, className="facts wide" if wide else "facts")


def table(head: Sequence[str], rows: Iterable[Sequence[Component]]) -> Component:
    """Table whose rows become cards on a narrow screen."""
    body = [
        html.Tr([html.Td(cell, **{"data-label": h}) for h, cell in zip(head, row, strict=True)])
        for row in rows
    ]
    top = html.Thead(html.Tr([html.Th(h, scope="col") for h in head]))
    return html.Div(html.Table([top, html.Tbody(body)]), className="table")


def fault_title(name: str) -> str:
    """What a person reads for a fault, from the registry."""
    return FAULTS[name].title if name in FAULTS else words.named(name)


def urgency_then_time(alarm: Alarm) -> tuple[int, bool, int]:
    """Key by which alarms are sorted: the urgent first, what is over last, then the newest."""
    is_over = alarm.state == "returned"
    return URGENCIES.index(alarm.urgency), is_over, -(alarm.raised_ms or alarm.since_ms)


def is_loud(alarm: Alarm) -> bool:
    """Whether an alarm stands for everybody to see: not shelved, not out of service."""
    return alarm.state in ("unacknowledged", "acknowledged", "returned")


def urgency_kind(alarm: Alarm) -> str:
    """Colour of an alarm: its urgency, while it lasts."""
    return "note" if alarm.state == "returned" else alarm.urgency


def urgency_chip(alarm: Alarm) -> Component:
    """How urgent an alarm is, or that it is over."""
    over = alarm.state == "returned"
    return chip("over" if over else URGENCY_WORDS[alarm.urgency], urgency_kind(alarm))


def finding_card(
    view: View, document: dict[str, Any], *more: Component, alarm: Alarm | None = None
) -> Component:
    """Tell a finding's document: what, evidence, causes, what to check first, who, caution.

    Parameters
    ----------
    view : View
        For the plant's zone and the moment.
    document : dict
        As `Finding.document` makes it.
    *more : component
        What the page adds below, such as buttons.
    alarm : Alarm, optional
        The alarm that stands for it, whose urgency and end then count.
    """
    fault, subject = document["fault"], document["subject"]
    name = "Plant" if subject == "plant" else words.named(subject)
    kind = urgency_kind(alarm) if alarm else document["urgency"]
    mark = urgency_chip(alarm) if alarm else chip(URGENCY_WORDS.get(kind, ""), kind)
    ended_ms = alarm.since_ms if alarm and alarm.state == "returned" else None
    head = html.Div(
        [
            mark,
            html.H3([html.Span(name, className="subject"), " ", fault_title(fault)]),
        ],
        className="card-head",
    )
    return html.Article(
        [
            head,
            html.P(_when(view, document, ended_ms), className="aside"),
            *finding_words(document),
            *more,
        ],
        className=f"card {kind}",
    )


def _when(view: View, document: dict[str, Any], ended_ms: int | None) -> str:
    zone = view.plant.timezone
    start = parse_rfc3339(document["from"])
    since = words.moment(start, zone, view.now_ms)
    sure = words.likelihood(document["confidence"])
    if ended_ms is None and document["to"] is None:
        return f"Since {since} ({words.age(view.now_ms - start)}), {sure}"
    end = parse_rfc3339(document["to"]) if ended_ms is None else ended_ms
    return f"{since} to {words.moment(end, zone, view.now_ms)}, {sure}"


def finding_words(document: dict[str, Any]) -> list[Component]:
    """Evidence, causes and advice of a finding's document."""
    fault = FAULTS.get(document["fault"])
    signs = html.Ul([html.Li(_sign(e)) for e in document["evidence"]], className="signs")
    rows = [
        ("Check first", document["first_check"] or (fault.first_check if fault else "")),
        ("May be", _listed(document["possible"] or (fault.possible if fault else ()))),
        ("Ruled out", _listed(document["ruled_out"])),
        ("Who", document["who"] or (fault.who if fault else "")),
    ]
    told = [html.Div([html.Dt(k), html.Dd(v)]) for k, v in rows if v]
    caution = [html.P([html.B("Caution: "), fault.caution], className="caution")] if fault else []
    return [signs, html.Dl(told), *caution]


def _sign(evidence: dict[str, Any]) -> list[Component]:
    value = words.amount(evidence["value"], evidence["unit"])
    expected = f", expected {evidence['expected']}" if evidence["expected"] else ""
    return [html.B(value), f" {evidence['what']} ({evidence['channel']}){expected}"]


def _listed(items: Sequence[str]) -> Component:
    if len(items) < 2:
        return items[0] if items else ""
    return html.Ol([html.Li(i) for i in items])


def chosen_part(view: View, parts: Sequence[Part]) -> Part:
    """The part whose page was asked for; the first where none was, or one that is not there."""
    return next((one for one in parts if one.id == view.query.get("id")), parts[0])


def sheet_of(view: View, result: str, kind: str, part: str) -> dict[str, Any] | None:
    """A part's document among those of its kind of the last night."""
    sheets: list[dict[str, Any]] = view.result(result) or []
    return next((one for one in sheets if one[kind] == part), None)


def part_tabs(view: View, path: str, ids: Sequence[str], chosen: str) -> Component:
    """A link to a page for each of several like parts; nothing where there is but one."""
    if len(ids) < 2:
        return html.Div()
    tabs = [
        link(
            words.named(one), view.link(path, id=one), "button here" if one == chosen else "button"
        )
        for one in ids
    ]
    return html.Div(tabs, className="row")


def link(text: Component, address: str, kind: str = "") -> Component:
    """Link to another page, without loading everything again."""
    return dcc.Link(text, href=address, className=kind)
