"""The logbook: what people did and read at the plant, and a form to write it down."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from dash import Dash, Input, Output, State, dcc, html, no_update

from analysis.base.time import DAY_MS, from_ms, to_ms
from analysis.plant.logbook_kinds import KINDS
from analysis.plant.plant import Plant
from collector.installation.site import Site
from collector.journal.journal import Entry
from collector.store.protocol import clock_ms
from dashboard.parts import words
from dashboard.parts.cards import chip, empty, section
from dashboard.parts.page import Component, NotHereError, Page, View, view_of
from dashboard.parts.visitor import visitor

_LONGEST = 2_000


def layout(view: View) -> Component:
    """The form, then the entries, newest first."""
    return html.Div([html.H1("Logbook"), entry_form(view), entries(view)])


def entry_form(view: View, subject: str | None = None) -> Component:
    """Form for one entry; `subject` is the part it is about unless the person says otherwise."""
    parts = [{"label": _part_name(p), "value": p} for p in parts_of(view.plant)]
    kinds = [{"label": f"{kind}: {said}", "value": kind} for kind, said in KINDS.items()]
    here = from_ms(view.now_ms).astimezone(ZoneInfo(view.plant.timezone))
    about = dcc.Dropdown(parts, subject or "plant", id="entry-subject", clearable=False)
    kind = dcc.Dropdown(kinds, "remark", id="entry-kind", clearable=False)
    moment = dcc.Input(id="entry-time", type="text", placeholder=f"{here:%Y-%m-%d %H:%M}")
    who = dcc.Input(id="entry-who", type="text", value=visitor(), maxLength=80)
    text = dcc.Textarea(id="entry-words", maxLength=_LONGEST, rows=3)
    return html.Div(
        [
            html.Label(["What was done or read", text], className="wide"),
            html.Label(["Part", about]),
            html.Label(["Kind", kind]),
            html.Label(["When (empty: now)", moment]),
            html.Label(["Who", who]),
            html.Div(html.Button("Write down", id="entry-add", className="main"), className="wide"),
        ],
        className="form",
    )


def beside(
    view: View, subject: str, title: str, cards: Sequence[Component], nothing: str
) -> Component:
    """What a part's page bears at its side: cards, or that there are none, and the logbook.

    On a phone the cards stand ahead of the charts, for they are what one must know first.
    """
    return html.Div(
        [
            html.Div(section(title, *(cards or [empty(nothing)])), className="ahead"),
            section("Logbook", entry_form(view, subject)),
            entries(view, subject),
        ]
    )


def parts_of(plant: Plant) -> list[str]:
    """What an entry can be about."""
    return ["plant", *(m.id for m in plant.machines), *(s.id for s in plant.stores)]


def _part_name(part: str) -> str:
    return "The plant" if part == "plant" else words.named(part)


def entries(view: View, subject: str | None = None) -> Component:
    """Entries of the plant or of one part of it."""
    kept = [e for e in view.site.journal.logbook(view.plant.key) if subject in (None, e.subject)]
    if not kept:
        told = "Nothing is written down yet. Changed settings, refills and moved sensors explain "
        return section("Entries", empty(told + "a lot of what is seen later."))
    return section("Entries", *[_entry(view, e) for e in kept[:200]])


def _entry(view: View, entry: Entry) -> Component:
    when = words.moment(entry.time_ms, view.plant.timezone, view.now_ms)
    by = f", {entry.who}" if entry.who else ""
    head = [chip(entry.kind), html.Span(f" {_part_name(entry.subject)}, {when}{by}")]
    return html.Article([html.P(head, className="aside"), html.P(entry.words)], className="card")


# what a person does


def callbacks(app: Dash, site: Site) -> None:
    """Write an entry down."""

    @app.callback(
        Output("said", "children", allow_duplicate=True),
        Output("tick", "n_intervals", allow_duplicate=True),
        Input("entry-add", "n_clicks"),
        State("entry-words", "value"),
        State("entry-subject", "value"),
        State("entry-kind", "value"),
        State("entry-time", "value"),
        State("entry-who", "value"),
        State("address", "search"),
        State("tick", "n_intervals"),
        prevent_initial_call=True,
    )
    def _add(clicks: Any, *given: Any) -> tuple[Any, Any]:
        if not clicks:
            return no_update, no_update
        *fields, search, ticks = given
        try:
            view = view_of(site, search, clock_ms())
        except NotHereError as error:
            return f"Not written down: {error}.", no_update
        entry = entry_of(view, fields)
        if isinstance(entry, str):
            return entry, no_update
        site.journal.add_entry(entry)
        return "Written down.", (ticks or 0) + 1


def entry_of(view: View, fields: list[str | None]) -> Entry | str:
    """Entry from the fields of the form, or what is wrong with them.

    Parameters
    ----------
    view : View
        Whose plant it is about.
    fields : list of str or None
        Words, subject, kind, moment in the plant's zone, who.
    """
    text, subject, kind, moment, who = ((f or "").strip() for f in fields)
    if not text:
        return "Say what was done or read before you write it down."
    if len(text) > _LONGEST or len(who) > 80:
        return f"Too long: at most {_LONGEST} letters, and 80 for who."
    if subject not in parts_of(view.plant) or kind not in KINDS:
        return "Choose part and kind from the lists."
    time_ms = _moment(moment, view)
    if time_ms is None:
        return f"{moment!r} is no past moment like 2026-03-14 10:30; leave it empty for now."
    return Entry(0, view.plant.key, time_ms, subject, kind, text, who)


def _moment(text: str, view: View) -> int | None:
    """A moment typed in the plant's zone; None for one that is none or not yet."""
    if not text:
        return view.now_ms
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        return None
    if when.tzinfo is None:
        when = when.replace(tzinfo=ZoneInfo(view.plant.timezone))
    time_ms = to_ms(when)
    return time_ms if 0 < time_ms <= view.now_ms + DAY_MS // 24 else None


PAGE = Page(path="/logbook", title="Logbook", layout=layout, callbacks=callbacks)
