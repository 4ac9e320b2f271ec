"""The plant as it is: alarms on top, every pump and boiler, and the drawing with live values."""

from typing import Any

from dash import html

from analysis.plant import Boiler, Pump
from analysis.timebase import MINUTE_MS
from dashboard import words
from dashboard.cards import STATE_WORDS, URGENCY_WORDS, chip, fault_title, link, section
from dashboard.drawing import drawing
from dashboard.page import Component, Page, View
from dashboard.present import Presence, presence, value_words
from dashboard.schematic import plant_svg

_ORDER = ("now", "soon", "note")
_UNWATCHED_MS = 10 * MINUTE_MS
"""A watch so old is no all-clear, whatever holds it up; a thousand plants take a minute."""
_UNREACHED_MS = MINUTE_MS


def layout(view: View) -> Component:
    """The whole page."""
    now = presence(view)
    today = view.result("today") or {}
    tiles = [_tile(view, now, part, today.get(part.id)) for part in view.plant.machines]
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


def _banner(view: View) -> list[Component]:
    """What stands, the worst first; else that nothing does, and how fresh that is."""
    lines = _own_trouble(view)
    standing = [a.alarm for a in view.site.journal.alarms(view.plant.key) if a.alarm.is_standing]
    told = [a for a in standing if a.state not in ("shelved", "out_of_service")]
    told.sort(key=lambda a: (_ORDER.index(a.urgency), a.since_ms))
    for alarm in told:
        who = "Plant" if alarm.subject == "plant" else words.named(alarm.subject)
        since = words.ago(alarm.raised_ms or alarm.since_ms, view.now_ms)
        told_words = [
            chip(URGENCY_WORDS[alarm.urgency], alarm.urgency), html.B(f" {who}: "),
            f"{fault_title(alarm.fault)}, {since}, {STATE_WORDS[alarm.state]}",
        ]  # fmt: skip
        lines.append(link(told_words, view.link("/alarms"), f"banner {alarm.urgency}"))
    if not lines:
        lines.append(html.P([chip("no alarm", "fine"), f" {_watched(view)}"], className="banner"))
    hushed = len(standing) - len(told)
    if hushed:
        text = f"{words.count(hushed, 'alarm')} shelved or out of service"
        lines.append(link(text, view.link("/alarms"), "banner quiet"))
    return lines


def _own_trouble(view: View) -> list[Component]:
    live = view.site.live
    told = [f"Nothing is heard from the plant: {live.trouble}"] if live.trouble else []
    told += [why for (_, plant), why in live.failing.items() if plant in ("", view.plant.key)]
    told += [f"a plant file is left out: {problem}" for problem in view.site.left_out]
    told += [
        f"no notice reaches {name} since {words.moment(since, view.plant.timezone, view.now_ms)}"
        for name, since in live.unreached.items()
        if view.now_ms - since > _UNREACHED_MS
    ]
    kept = view.site.journal.result(view.plant.key, "watch")
    if kept is not None and view.now_ms - kept[0] > _UNWATCHED_MS:
        told.append(f"the plant was judged {words.ago(kept[0], view.now_ms)}, and not since")
    return [
        html.P([chip("collector", "now"), f" {why[:1].upper()}{why[1:]}"], className="banner now")
        for why in told
    ]


def _watched(view: View) -> str:
    kept = view.site.journal.result(view.plant.key, "watch")
    if kept is None:
        return "The first watch is still to come."
    unknown = len(kept[1].get("cannot_judge", ()))
    more = f"; {words.count(unknown, 'check')} could not be made" if unknown else ""
    return f"Watched {words.ago(kept[0], view.now_ms)}{more}."


# tiles


def _tile(
    view: View, now: Presence, part: Pump | Boiler, today: dict[str, Any] | None
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
