"""A pump's setting on its page: how it is set, whether that suits, what to try for a week."""

from typing import Any

from dash import html

from analysis.base.time import parse_rfc3339
from analysis.plant.plant import Pump
from dashboard.parts import words
from dashboard.parts.cards import (
    chip,
    empty,
    fact,
    facts,
    fault_title,
    link,
    section,
    table,
    urgency_chip,
    urgency_then_time,
)
from dashboard.parts.page import Component, View

_NIGHT = {
    "working": "works",
    "engages by day": "engages by day",
    "stuck in the morning": "stays on in the morning",
    "never engages": "never engages",
    "none seen": "not seen",
}


def setting_section(view: View, pump: Pump) -> Component:
    """How the pump is set and whether that suits its place, in figures and advice.

    Parameters
    ----------
    view : View
        Plant and moment; the document is that of the last night.
    pump : Pump
        Which one.
    """
    modes: list[dict[str, Any]] = view.result("mode") or []
    mode = next((m for m in modes if m["pump"] == pump.id), None)
    if mode is None:
        told = "The program works out tonight how it is set, from the last thirty days."
        return section("Setting", empty(told))
    advice = [_advice_card(a) for a in mode["advice"]]
    return section(
        "Setting",
        facts(_control(mode), _strength(mode), *_night(mode), wide=True),
        html.P([html.B("Place: "), mode["place"]["words"], "."]),
        *(advice or [html.P(_no_advice(mode), className="aside")]),
        *_changes(view, mode),
        note="This comes from its power and its pipes over the last thirty days.",
    )


def _no_advice(mode: dict[str, Any]) -> str:
    if mode["control"]["behaviour"] is None and mode["strength"]["difference"]["value"] is None:
        return "Too little is known to advise anything."
    return "There is no reason to try another setting."


def _control(mode: dict[str, Any]) -> Component:
    control = mode["control"]
    if control["behaviour"] is None:
        return fact("Seems set to", "unknown", control["why"])
    return fact(
        "Seems set to",
        control["behaviour"],
        f"{words.likelihood(control['confidence'])}: {control['why']}",
    )


def _strength(mode: dict[str, Any]) -> Component:
    """Flow less return while the burner fires, with what it is in cold and in mild weather."""
    strength = mode["strength"]
    said = words.estimate(strength["difference"])
    if said.startswith("unknown: "):
        return fact("Strength", "unknown", said.removeprefix("unknown: "))
    figure, interval = said.split(" (", maxsplit=1)
    apart = f"flow {figure} above return while the burner fires, mostly {interval.rstrip(')')}"
    weather = [
        f"{words.amount(strength[part]['value'], 'K', 2)} in {part} weather"
        for part in ("cold", "mild")
        if strength[part]["value"] is not None
    ]
    return fact("Strength", strength["verdict"], "; ".join([apart, *weather]))


def _night(mode: dict[str, Any]) -> list[Component]:
    """Night reduction of a pump that has one."""
    night = mode["night_reduction"]
    if night["state"] is None:
        return []
    hours = (
        f"{words.figure(night['by_night_h_per_day'], 2)} h a day by night, "
        f"{words.figure(night['by_day_h_per_day'], 2)} h by day"
    )
    falls = f"the flow fell far enough to start it {words.count(night['chances'], 'time')}"
    below = hours if night["times"] else falls
    return [fact("Night reduction", _NIGHT.get(night["state"], night["state"]), below)]


def _advice_card(advice: dict[str, Any]) -> Component:
    """One thing to try, why, what to watch meanwhile and the caution."""
    watch = html.Ul([html.Li(one) for one in advice["watch"]], className="signs")
    rows = [("Because", advice["because"]), ("For", advice["trial"]), ("Watch", watch)]
    return html.Article(
        [
            html.Div(
                [chip("try", "note"), html.H3(f"Try {advice['what']}")], className="card-head"
            ),
            html.Dl([html.Div([html.Dt(k), html.Dd(v)]) for k, v in rows]),
            html.P(
                "Write the change in the logbook here, so that the days after it are compared "
                "with the right ones; set it back if the rooms or the burner say so.",
                className="aside",
            ),
            html.P([html.B("Caution: "), advice["caution"]], className="caution"),
        ],
        className="card note",
    )


def _changes(view: View, mode: dict[str, Any]) -> list[Component]:
    rows = [
        [
            words.moment(parse_rfc3339(c["time"]), view.plant.timezone, view.now_ms),
            f"{words.figure(c['before_w'])} to {words.figure(c['after_w'])} W",
        ]
        for c in reversed(mode["changes"])
    ]
    return [html.H3("Changes seen"), table(("When", "Usual power"), rows)] if rows else []


def bearing_section(view: View, pump: Pump) -> Component:
    """What was found elsewhere that bears on this pump: on its channels, boiler and plant."""
    alarms = [
        a.alarm
        for a in view.site.journal.alarms(view.plant.key)
        if a.alarm.is_standing and a.alarm.subject in _beside(view, pump)
    ]
    rows = [
        [
            words.named(a.subject),
            link(fault_title(a.fault), view.link("/alarms")),
            urgency_chip(a),
        ]
        for a in sorted(alarms, key=urgency_then_time)
    ]
    found = [table(("Part", "Found", "Urgency"), rows)] if rows else []
    odd = _odd_channels(view, pump)
    if odd:
        found.append(table(("Channel", "What it shows", "Since"), odd))
    if not found:
        return html.Div()
    note = "Look at these first: they may explain what the pump shows, or follow from it."
    return section("Beside this pump", *found, note=note)


def _beside(view: View, pump: Pump) -> set[str]:
    """Parts whose trouble a pump feels or makes: boiler and plant, and the store it charges."""
    stores = {s.id for s in view.plant.stores} if pump.duty == "store" else set()
    return {"plant", *(b.id for b in view.plant.boilers)} | stores


def _odd_channels(view: View, pump: Pump) -> list[list[Component]]:
    """Channels of the pump that left what they had shown, or are not to be trusted."""
    own = {c.id for c in view.plant.channels if c.of == pump.id}
    problems: list[dict[str, Any]] = list(view.result("departures") or [])
    for name in ("watch", "slow"):
        problems += (view.result(name) or {}).get("data_quality", ())
    lasting = {
        (p["channel"], p["problem"]): p["from"]
        for p in problems
        if p["channel"] in own and p["to"] is None
    }
    zone, now = view.plant.timezone, view.now_ms
    return [
        [channel, problem, words.moment(parse_rfc3339(since), zone, now)]
        for (channel, problem), since in lasting.items()
    ]
