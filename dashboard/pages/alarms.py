"""Alarms: what stands, how fresh its signs are, and what a person may do about it."""

from collections import Counter
from collections.abc import Sequence
from typing import Any, cast

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update

from analysis.alarms.states import Alarm, Deed
from analysis.base.errors import StokeholdError
from collector.installation.alarm_acts import Act, act_on, act_on_part
from collector.installation.site import Site
from collector.journal.journal import StandingAlarm
from collector.notify.notify import has_address, send_test
from collector.store.protocol import address, clock_ms
from dashboard.parts import words
from dashboard.parts.cards import (
    STATE_WORDS,
    chip,
    empty,
    fault_title,
    finding_card,
    is_loud,
    section,
    table,
    urgency_chip,
    urgency_kind,
    urgency_then_time,
)
from dashboard.parts.collector_health import is_watched, own_troubles, watched
from dashboard.parts.page import Component, NotHereError, Page, View, view_of
from dashboard.parts.visitor import visitor

_SHELVES = ((1, "1 hour"), (8, "8 hours"), (24, "1 day"), (168, "1 week"))


def layout(view: View) -> Component:
    """What stands, then what is kept quiet, work on parts, and what happened."""
    standing = [a for a in view.site.journal.alarms(view.plant.key) if a.alarm.is_standing]
    standing.sort(key=lambda a: urgency_then_time(a.alarm))
    loud = [a for a in standing if is_loud(a.alarm)]
    quiet = [a for a in standing if not is_loud(a.alarm)]
    return html.Div(
        [
            html.H1("Alarms"),
            *own_troubles(view),
            html.P(watched(view), className="aside"),
            *([alarm_card(view, a) for a in loud] or [empty(_none(view))]),
            *put_away_section(view, quiet),
            _service(view, quiet),
            _happened(view),
            _test(view),
        ]
    )


def _none(view: View) -> str:
    """That nothing stands, unless nobody looked."""
    if is_watched(view):
        return "No alarm waits for anybody."
    return "No alarm stands, but the plant is not watched just now: this is no all-clear."


# one alarm


def alarm_card(view: View, standing: StandingAlarm) -> Component:
    """Return an alarm with its finding, the age of every sign, and what may be done."""
    alarm = standing.alarm
    state = html.P(
        [chip(STATE_WORDS[alarm.state], urgency_kind(alarm)), " ", _since(view, alarm)],
        className="row",
    )
    more = [state, *_sign_ages(view, standing), _buttons(alarm)]
    if standing.finding:
        return finding_card(view, standing.finding, *more, alarm=alarm)
    return html.Article(
        [
            html.Div(
                [
                    urgency_chip(alarm),
                    html.H3([_subject(alarm), " ", fault_title(alarm.fault)]),
                ],
                className="card-head",
            ),
            *more,
        ],
        className=f"card {urgency_kind(alarm)}",
    )


def _subject(alarm: Alarm) -> Component:
    name = "Plant" if alarm.subject == "plant" else words.named(alarm.subject)
    return html.Span(name, className="subject")


def _since(view: View, alarm: Alarm) -> str:
    since = words.ago(alarm.since_ms, view.now_ms)
    if alarm.state == "shelved" and alarm.shelved_until_ms:
        until = words.moment(alarm.shelved_until_ms, view.plant.timezone, view.now_ms)
        left = words.age(alarm.shelved_until_ms - view.now_ms)
        return f"{since}, until {until} (in {left})"
    return since


def _sign_ages(view: View, standing: StandingAlarm) -> list[Component]:
    """How old the last reading of every channel is that the finding rests on."""
    names = dict.fromkeys(e["channel"] for e in (standing.finding or {}).get("evidence", ()))
    latest = view.site.live.latest
    told = []
    for channel in view.plant.channels:
        if channel.id in names:
            last = latest.get(address(view.plant, channel))
            told.append(f"{channel.id} {words.ago(last[0] if last else None, view.now_ms)}")
    if not told:
        return []
    return [html.P(f"Last readings: {', '.join(told)}", className="aside")]


def _buttons(alarm: Alarm) -> Component:
    state = alarm.state
    offered: list[Component] = []
    if state in ("unacknowledged", "returned"):
        offered.append(_button(alarm, "acknowledge", "Acknowledge", kind="main"))
    if state == "shelved":
        offered.append(_button(alarm, "unshelve", "Take off the shelf"))
    elif state != "out_of_service":
        shelves = [_button(alarm, "shelve", label, hours=h) for h, label in _SHELVES]
        choice = html.Div(shelves, className="row")
        offered.append(html.Details([html.Summary("Shelve for ..."), choice]))
    if state == "out_of_service":
        offered.append(_button(alarm, "put_back", "Put back into service"))
    else:
        offered.append(_button(alarm, "take_out", "Take out of service"))
    return html.Div(offered, className="row")


def _button(alarm: Alarm, deed: Deed, label: str, *, hours: int = 0, kind: str = "") -> Component:
    what = {"type": "deed", "deed": deed, "hours": hours}
    what |= {"plant": alarm.plant, "subject": alarm.subject, "fault": alarm.fault}
    return html.Button(label, id=what, className=kind)


def alarm_cards(view: View, standing: Sequence[StandingAlarm]) -> list[Component]:
    """Alarms of a part: those that stand as cards, those put away in short."""
    cards = [alarm_card(view, one) for one in standing if is_loud(one.alarm)]
    out = [one.alarm for one in standing if one.alarm.state == "out_of_service"]
    parts = [part for part, n in Counter(a.subject for a in out).items() if n > _FEW]
    cards += [_all_out(view, [a for a in out if a.subject == part]) for part in parts]
    rest = [one for one in standing if not is_loud(one.alarm)]
    return cards + put_away_section(
        view,
        [a for a in rest if a.alarm.state == "shelved" or a.alarm.subject not in parts],
    )


_FEW = 3
"""So many alarms of a part out of service stand one by one; more are a part under work."""


def _all_out(view: View, alarms: Sequence[Alarm]) -> Component:
    """A part under work in one card, instead of every alarm it could have."""
    first = alarms[0]
    since = words.ago(max(a.since_ms for a in alarms), view.now_ms)
    what = {"type": "service", "deed": "put_back"}
    what |= {"plant": first.plant, "subject": first.subject}
    told = f"{words.count(len(alarms), 'alarm')} out of service, {since}: told to nobody."
    button = html.Button("Put all back into service", id=what)
    return html.Article([html.P(told), html.Div(button, className="row")], className="card")


# below


def put_away_section(view: View, quiet: list[StandingAlarm]) -> list[Component]:
    """Shelved and out of service: short, since there may be many."""
    if not quiet:
        return []
    rows = [
        [_subject(a.alarm), fault_title(a.alarm.fault), STATE_WORDS[a.alarm.state],
         _since(view, a.alarm), _buttons(a.alarm)]
        for a in quiet
    ]  # fmt: skip
    head = ("Part", "Alarm", "State", "Since", "")
    note = "None of these is told to anybody until it comes back."
    return [section("Shelved or out of service", table(head, rows), note=note)]


def _service(view: View, quiet: list[StandingAlarm]) -> Component:
    plant = view.plant
    out = {a.alarm.subject for a in quiet if a.alarm.state == "out_of_service"}
    parts = [*(p.id for p in plant.machines), *(s.id for s in plant.stores)]
    buttons = []
    for part in parts:
        deed = "put_back" if part in out else "take_out"
        label = f"Put {part} back" if part in out else f"Take {part} out of service"
        what = {"type": "service", "deed": deed, "plant": plant.key, "subject": part}
        buttons.append(html.Button(label, id=what))
    note = "Before you work on a part take its alarms out of service, and put them back after."
    return section("Work on the plant", html.Div(buttons, className="row"), note=note)


def _happened(view: View) -> Component:
    events = view.site.journal.events(view.plant.key, 60, with_own=True)
    if not events:
        return section("What happened", empty("Nothing yet."))
    rows = [
        [words.moment(e.time_ms, view.plant.timezone, view.now_ms), e.subject, e.words]
        for e in events
    ]
    return section("What happened", table(("When", "Part", "What"), rows))


def _test(view: View) -> Component:
    button = html.Button("Send a test notice", id="alarms-test")
    note = (
        "To every address of the settings, so that you know an alarm will reach you. Stokehold "
        "observes and is no safety device: it replaces neither a limit thermostat nor a carbon "
        "monoxide alarm."
    )
    nobody = [] if has_address(view.site) else [empty(_NO_ADDRESS)]
    return section("Being told", *nobody, html.Div(button, className="row"), note=note)


_NO_ADDRESS = (
    "There is no address yet, so alarms stand on these pages only: set [notify] in the settings, "
    "see the README."
)


# what a person does


def callbacks(app: Dash, site: Site) -> None:
    """Deeds on alarms and parts, wherever their buttons stand, and the test notice."""
    to_frame = (
        Output("said", "children", allow_duplicate=True),
        Output("tick", "n_intervals", allow_duplicate=True),
    )
    ticks = State("tick", "n_intervals")

    @app.callback(
        *to_frame,
        Input({"type": "deed", "deed": ALL, "hours": ALL, "plant": ALL, "subject": ALL,
               "fault": ALL}, "n_clicks"),
        Input({"type": "service", "deed": ALL, "plant": ALL, "subject": ALL}, "n_clicks"),
        ticks,
        prevent_initial_call=True,
    )  # fmt: skip
    def _do(_deeds: Any, _services: Any, ticks: int | None) -> tuple[Any, Any]:
        # A button drawn anew reports itself, too; only a press has a count.
        if not ctx.triggered or not ctx.triggered[0]["value"]:
            return no_update, no_update
        try:
            said = done(site, ctx.triggered_id)
        except NotHereError as error:
            said = f"Not done: {error}."
        return said, (ticks or 0) + 1

    # One of its own: only the page of alarms has this button.
    @app.callback(*to_frame, Input("alarms-test", "n_clicks"), ticks, prevent_initial_call=True)
    def _test(clicks: int | None, ticks: int | None) -> tuple[Any, Any]:
        return (_sent(site), (ticks or 0) + 1) if clicks else (no_update, no_update)


def done(site: Site, what: dict[str, Any]) -> str:
    """Do what a button stands for and say so; `what` is its id.

    Raises
    ------
    NotHereError
        Its plant is not looked after any more.
    """
    now = clock_ms()
    act = Act(cast("Deed", what["deed"]), what.get("hours", 0), visitor())
    view = view_of(site, f"?plant={what['plant']}", now)
    part = words.named(what["subject"])
    if what["type"] == "service":
        number = act_on_part(site, view.plant, what["subject"], act, now)
        return f"{part}: {words.count(number, 'alarm')} {act.words}."
    key = (what["plant"], what["subject"], what["fault"])
    title = f"{part}, {fault_title(what['fault'])}"
    if not act_on(site, key, act, now):
        return f"{title}: it had changed meanwhile; look at it again."
    alarm = next(a.alarm for a in site.journal.alarms(key[0]) if a.alarm.key == key)
    until = f", {_since(view, alarm)}" if alarm.state == "shelved" else ""
    return f"{title}: now {STATE_WORDS[alarm.state]}{until}."


def _sent(site: Site) -> str:
    try:
        if not has_address(site):
            return _NO_ADDRESS
        missed = send_test(site, clock_ms())
    except StokeholdError as error:
        return f"Not sent: {error}"
    if not missed:
        return "Sent to every address."
    return f"Could not be sent to {', '.join(missed)}; check it, and the network."


PAGE = Page(path="/alarms", title="Alarms", layout=layout, callbacks=callbacks, refresh_s=5.0)
