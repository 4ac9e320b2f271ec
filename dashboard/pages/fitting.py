"""Fitting a new pump: the guided list, stepped through at the pump, and what the days after say."""

from typing import Any

from dash import Dash, dcc, html

from analysis.base.errors import StokeholdError
from analysis.base.time import parse_rfc3339, to_ms
from analysis.exchange.checklist import BY_NAME, STEPS, Step, next_step
from analysis.exchange.commissioning import STAGE_WORDS
from analysis.plant.exchanges import StepDone, SwapRecord
from collector.installation.site import Site
from collector.journal.exchanges import SwapBook, begin_swap, known_swaps, swap_book, tick_step
from collector.store.protocol import clock_ms
from dashboard.parts import words
from dashboard.parts.cards import chip, empty, link, part_tabs, section
from dashboard.parts.page import Component, Page, View, pump_known, view_of
from dashboard.parts.page_acts import on_deed
from dashboard.parts.visitor import visitor

PATH = "/swap/fitting"
_STATES = {"found": ("found", "soon"), "sound": ("no sign of it", "fine")}


def swap_tabs(view: View, here: str) -> Component:
    """The three parts of an exchange: its proof, its fitting, the trial."""
    tabs = (("Proof", "/swap"), ("Fitting", PATH), ("Trial", "/swap/trial"))
    kinds = {True: "button here", False: "button"}
    return html.Div(
        [link(name, view.link(path), kinds[path == here]) for name, path in tabs], className="row"
    )


def pump_of(view: View) -> str:
    """The pump that is looked at: the address's, else the first."""
    ids = [pump.id for pump in view.plant.pumps]
    asked = view.query.get("id", "")
    return asked if asked in ids else next(iter(ids), "")


def layout(view: View) -> Component:
    """List and reports of one pump."""
    pump = pump_of(view)
    head = [html.H1("Fitting"), swap_tabs(view, PATH)]
    if not pump:
        return html.Div([*head, empty("The plant file names no pump.")])
    tabs = part_tabs(view, PATH, [one.id for one in view.plant.pumps], pump)
    record = _newest(_book(view.site), view.plant.key, pump)
    shown = [_begin(view, pump)] if record is None else _list(view, record)
    return html.Div([*head, tabs, *shown, _reports(view, pump)])


def _book(site: Site) -> SwapBook:
    return swap_book(site.settings, site.journal)


def _newest(book: SwapBook, plant: str, pump: str) -> SwapRecord | None:
    found = [r for r in book.records(plant) if r.pump == pump]
    return found[-1] if found else None


def _button(text: str, deed: str, view: View, *, pump: str, main: bool = False) -> Component:
    key = {"type": "fitting", "deed": deed, "plant": view.plant.key, "pump": pump}
    return html.Button(text, id=key, className="main" if main else "")


def _begin(view: View, pump: str) -> Component:
    known = [one.swap for one in known_swaps(_book(view.site), view.plant) if one.swap.pump == pump]
    told = f"No exchange of {words.named(pump)} is recorded here."
    if known:
        times = [words.moment(to_ms(swap.time), view.plant.timezone, view.now_ms) for swap in known]
        told = (
            f"{words.named(pump)} was exchanged {' and '.join(times)}, as the plant file says. "
            "Its reports are below; it has no list of steps. For the next exchange:"
        )
    told += (
        " Begin before the old pump is out. The list leads you through it step by step; you can "
        "leave it and go on later."
    )
    return section(
        "The list",
        empty(told),
        html.Div(_button("Begin an exchange", "begin", view, pump=pump, main=True)),
    )


def _list(view: View, record: SwapRecord) -> list[Component]:
    """The next step as a card, then every step with its state."""
    step = next_step(record.steps)
    left = sum(one.name not in record.steps for one in STEPS)
    done = f"{len(STEPS) - left} of {len(STEPS)} steps done"
    rows = [_row(view, record, one) for one in STEPS]
    shown: list[Component] = []
    if step is not None:
        shown.append(_card(view, record, step))
    elif record.time_ms is not None:
        again = _button("Begin another exchange", "begin", view, pump=record.pump)
        shown.append(html.Div([empty("Every step is done."), again]))
    return [section("The list", *shown, note=done), section("Every step", html.Ol(rows))]


def _card(view: View, record: SwapRecord, step: Step) -> Component:
    caution = (
        [html.P([html.B("Caution: "), step.caution], className="caution")] if step.caution else []
    )
    return html.Article(
        [
            html.H3(words.named(step.name)),
            html.P(step.words, className="lead"),
            *caution,
            html.P(f"Who: {step.who}", className="aside"),
            html.Div(
                [
                    html.Label(
                        ["Remark (may stay empty)", _field("fitting-words", "")], className="wide"
                    ),
                    html.Label(["Done by", _field("fitting-who", visitor() or record.who)]),
                ],
                className="form",
            ),
            html.Div(
                _button("Done", f"step:{step.name}", view, pump=record.pump, main=True),
                className="row",
            ),
        ],
        className="card soon" if step.caution else "card",
    )


def _field(name: str, value: str) -> Component:
    return dcc.Input(id={"type": name, "at": 0}, type="text", value=value, maxLength=400)


def _row(view: View, record: SwapRecord, step: Step) -> Component:
    """A step in one line; those that may be done now out of turn have a button."""
    done = record.steps.get(step.name)
    if done is not None:
        when = words.moment(done.time_ms, view.plant.timezone, view.now_ms)
        said = ", ".join(part for part in (when, done.who, done.words) if part)
        return html.Li([chip("done", "fine"), f" {words.named(step.name)}: {said}"])
    if step == next_step(record.steps):
        return html.Li([chip("next"), f" {words.named(step.name)}"])
    waits = [name for name in step.after if name not in record.steps]
    if waits:
        after = ", ".join(words.named(name).lower() for name in waits)
        return html.Li([chip("later"), f" {words.named(step.name)}: after {after}"])
    return html.Li(
        html.Details(
            [
                html.Summary([chip("open", "soon"), f" {words.named(step.name)}"]),
                html.P(step.words),
                *([html.P(step.caution, className="caution")] if step.caution else []),
                _button("Done", f"step:{step.name}", view, pump=record.pump),
            ]
        )
    )


# reports


def _reports(view: View, pump: str) -> Component:
    """What the days since the exchange say, the newest report first."""
    documents = [d for d in view.result("commissioning") or [] if d["pump"] == pump]
    if not documents:
        told = (
            "A report follows a day, a week and a month after the exchange, each after the night, "
            "and one more after two weeks with heat where the first month had none: "
            "direction of flow, air, a half-shut valve, the setting, night reduction."
        )
        return section("Reports", empty(told))
    newest = sorted(documents, key=lambda one: one["until"], reverse=True)
    return section("Reports", *(_report(view, one) for one in newest))


def _report(view: View, document: dict[str, Any]) -> Component:
    until = words.moment(parse_rfc3339(document["until"]), view.plant.timezone, view.now_ms)
    states = [check["state"] for check in document["checks"]]
    found = states.count("found")
    return html.Article(
        [
            html.H3([f"After {STAGE_WORDS[document['stage']]} ", chip(*verdict(states))]),
            html.P(f"Readings up to {until}", className="aside"),
            html.Ul([_check(check) for check in document["checks"]], className="signs"),
        ],
        className="card soon" if found else "card",
    )


def verdict(states: list[str]) -> tuple[str, str]:
    """What a report's checks come to, and the mark's kind; unknown is not sound."""
    found, unknown = states.count("found"), states.count("unknown")
    if found:
        return words.count(found, "mistake"), "soon"
    if unknown:
        return f"{unknown} of {len(states)} cannot be said", ""
    return "nothing found", "fine"


def _check(check: dict[str, Any]) -> Component:
    if check["state"] == "unknown":
        return html.Li([chip("cannot be said"), f" {check['title']}: needs {check['needs']}"])
    text, kind = _STATES[check["state"]]
    if check["state"] == "sound":
        return html.Li([chip(text, kind), f" {check['title']}"])
    signs = [
        html.Li(
            f"{words.amount(one['value'], one['unit'])} {one['what']} ({one['channel']}), "
            f"expected {one['expected']}"
        )
        for one in check["evidence"]
    ]
    sure = f" {check['title']} ({words.likelihood(check['confidence'])})"
    more = html.P([html.B("Do: "), check["do"]])
    who = html.P(f"Who: {check['who']}", className="aside")
    return html.Li([chip(text, kind), sure, html.Ul(signs), more, who])


# what a person does


def callbacks(app: Dash, site: Site) -> None:
    """Begin an exchange, tick steps off."""

    def do(what: dict[str, str], given: list[Any]) -> str:
        remark, who = given
        return done(site, what, (remark or "", who or visitor()), clock_ms())

    on_deed(app, "fitting", ("words", "who"), do)


def done(site: Site, what: dict[str, str], given: tuple[str, str], now_ms: int) -> str:
    """Do what a button stands for and say so, or why not.

    Parameters
    ----------
    site : Site
        Whose journal keeps the record.
    what : dict
        Plant, pump, and the deed: ``begin`` or ``step:NAME``.
    given : tuple of str
        Remark and who.
    now_ms : int
        The moment [ms].
    """
    view = view_of(site, f"?plant={what['plant']}", now_ms)
    book = _book(site)
    pump = pump_known(view.plant, what["pump"])
    try:
        if what["deed"] == "begin":
            record = begin_swap(book, view.plant, pump, now_ms=now_ms, who=given[1])
            return f"Exchange {record.id} of {words.named(pump.id)} is begun."
        step = what["deed"].partition(":")[2]
        record = book.open_record(view.plant.key, pump.id)
        tick_step(book, site.journal, record, step, StepDone(now_ms, given[1], given[0]))
    except StokeholdError as error:
        return f"Not done: {error}"
    return f"{words.named(BY_NAME[step].name)}: done."


PAGE = Page(path=PATH, title="Fitting", layout=layout, callbacks=callbacks, in_menu=False)
