"""The plant as it is: alarms on top, every pump and boiler, and the drawing with live values."""

from collections.abc import Sequence
from typing import Any

from dash import html

from analysis.alarms.states import Alarm
from analysis.plant.plant import Boiler, Pump
from dashboard.parts import words
from dashboard.parts.cards import (
    STATE_WORDS,
    chip,
    fault_title,
    is_loud,
    link,
    section,
    urgency_chip,
    urgency_kind,
    urgency_then_time,
)
from dashboard.parts.collector_health import is_watched, own_troubles, watched
from dashboard.parts.last_values import Presence, presence, value_words
from dashboard.parts.page import Component, Page, View
from dashboard.parts.schematic import plant_svg
from dashboard.parts.svg import drawing


def layout(view: View) -> Component:
    """The whole page."""
    now = presence(view)
    today = view.result("today") or {}
    loud = _loud(view)
    tiles = [
        _tile(
            view,
            now,
            part,
            today=today.get(part.id),
            alarms=[a for a in loud if a.subject == part.id],
        )
        for part in view.plant.machines
    ]
    says = f"{view.plant.name} drawn as boiler, pipes, pumps and what they feed, with live values"
    return html.Div(
        [
            html.H1("Now", className="unseen"),
            *_banner(view),
            html.Div(
                [
                    section("Pumps and boiler", html.Div(tiles, className="tiles")),
                    section(
                        "The plant", drawing("plant", plant_svg(now, _pump_address(view)), says)
                    ),
                ],
                className="sides",
            ),
        ]
    )


# alarms on top


def _loud(view: View) -> list[Alarm]:
    """Alarms that stand and are not put away, the worst first."""
    standing = [a.alarm for a in view.site.journal.alarms(view.plant.key) if is_loud(a.alarm)]
    return sorted(standing, key=urgency_then_time)


def _banner(view: View) -> list[Component]:
    """What stands, the worst first; else that nothing does, and how fresh that is."""
    lines = own_troubles(view)
    for alarm in _loud(view):
        who = "Plant" if alarm.subject == "plant" else words.named(alarm.subject)
        since = words.ago(alarm.raised_ms or alarm.since_ms, view.now_ms)
        told = [
            urgency_chip(alarm), html.B(f" {who}: "),
            f"{fault_title(alarm.fault)}, {since}, {STATE_WORDS[alarm.state]}",
        ]  # fmt: skip
        lines.append(link(told, view.link("/alarms"), f"banner {urgency_kind(alarm)}"))
    if not lines:
        mark = chip("no alarm", "fine") if is_watched(view) else chip("not watched yet", "soon")
        lines.append(html.P([mark, f" {watched(view)}"], className="banner"))
    put_away = sum(
        a.alarm.is_standing and not is_loud(a.alarm)
        for a in view.site.journal.alarms(view.plant.key)
    )
    if put_away:
        text = f"{words.count(put_away, 'alarm')} shelved or out of service"
        lines.append(link(text, view.link("/alarms"), "banner quiet"))
    return lines


# tiles


def _tile(
    view: View,
    now: Presence,
    part: Pump | Boiler,
    *,
    today: dict[str, Any] | None,
    alarms: Sequence[Alarm],
) -> Component:
    power = now.reading(part.id, "power")
    state = now.state(part)
    seen = (
        f"reading {words.ago(view.now_ms - power.age_ms, view.now_ms)}" if power else "no reading"
    )
    return html.Article(
        [
            html.H3(_title(view, part)),
            html.Div(value_words(power), className="big"),
            html.P(state.words, className="state"),
            *(html.P([urgency_chip(a), " ", fault_title(a.fault)]) for a in alarms),
            html.P([seen, html.Br(), _today(today)], className="aside"),
        ],
        className=f"tile {state.state}",
        **{"data-part": part.id},
    )


def _title(view: View, part: Pump | Boiler) -> Component:
    name = words.named(part.id)
    return link(name, view.link("/pump", id=part.id)) if isinstance(part, Pump) else name


def _pump_address(view: View) -> str:
    """Address of a pump's page with room for its id."""
    address = view.link("/pump")
    return f"{address}{'&' if '?' in address else '?'}id={{}}"


def _today(use: dict[str, Any] | None) -> str:
    if not use or not use.get("covered_hours"):
        return "today's energy not measured yet"
    kwh = words.amount(use["measured_kwh"], "kW.h", 2)
    share = use.get("coverage") or 0.0
    seen = "" if share > 0.98 else f" (seen for {share:.0%} of the day so far)"
    return f"{kwh} today{seen}"


PAGE = Page(path="/", title="Now", layout=layout, refresh_s=2.0)
