"""One pump: its state in a sentence, setting, signs against what is usual, findings, logbook."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Any, NamedTuple

from dash import Dash, html

from analysis.base.time import DAY_MS, Span, from_ms, parse_rfc3339
from analysis.plant.plant import Pump
from collector.installation.site import Site
from dashboard.pages.alarms import alarm_cards
from dashboard.pages.logbook import beside
from dashboard.pages.pump_setting import bearing_section, setting_section
from dashboard.parts import words
from dashboard.parts.alarm_sentence import against, standing_of
from dashboard.parts.cards import (
    chip,
    chosen_part,
    empty,
    estimate_fact,
    fact,
    facts,
    fault_title,
    finding_card,
    part_tabs,
    section,
    sheet_of,
    table,
)
from dashboard.parts.charts import COLOURS, axis, chart, faint
from dashboard.parts.charts import layout as chart_layout
from dashboard.parts.collector_health import own_troubles
from dashboard.parts.last_values import presence, value_words
from dashboard.parts.live_section import follow, followed
from dashboard.parts.page import Component, Page, View

_FEW_DAYS = 5


class _Sign(NamedTuple):
    """A column of a pump's sheet as a chart."""

    column: str
    title: str
    unit: str
    says: str


_SIGNS = (
    _Sign("level_w", "Power while running", "W", "daily mean, brought to 230 V"),
    _Sign("factor", "Power factor", "", "daily mean while running"),
    _Sign("restless", "Restlessness", "", "how much the power flutters, as a share of its level"),
    _Sign("spread_k", "Flow less return", "K", "daily median while running warm"),
    _Sign("idle_k", "Warmth at rest", "K", "of its pipes over the surroundings after an hour"),
    _Sign("run_h", "Running", "h", "hours a day"),
)


def layout(view: View) -> Component:
    """Everything about one pump; without pumps, or with a wrong id, words instead."""
    pumps = view.plant.pumps
    if not pumps:
        told = f"The plant file of {view.plant.name} names no pump; add a [[pump]] and restart."
        return html.Div([html.H1("Pumps"), empty(told)])
    pump = chosen_part(view, view.plant.pumps)
    sheet = sheet_of(view, "pumps", "pump", pump.id)
    return html.Div(
        [
            html.H1(f"{words.named(pump.id)} pump"),
            part_tabs(view, "/pump", [one.id for one in pumps], pump.id),
            *followed("pump", _live(view)),
            html.Div([_evidence(view, pump, sheet), _beside(view, pump)], className="sides"),
        ]
    )


# the state in a sentence


def _live(view: View) -> list[Component]:
    """What changes while the page stays open."""
    if not view.plant.pumps:
        return []
    pump = chosen_part(view, view.plant.pumps)
    sheet = sheet_of(view, "pumps", "pump", pump.id)
    lead = html.P(sentence(view, pump, sheet), className="lead")
    return [*own_troubles(view), lead, _facts(view, pump, sheet)]


def sentence(view: View, pump: Pump, sheet: dict[str, Any] | None) -> str:
    """What the pump does, what stands against it, and how well it is known.

    Parameters
    ----------
    view : View
        Plant and moment.
    pump : Pump
        Which one.
    sheet : dict or None
        Its document of the last night.
    """
    parts = [presence(view).state(pump).words + ".", *against(view, standing_of(view, pump.id))]
    if sheet is None:
        parts.append("What is usual for it is worked out tonight, once its power is measured.")
    elif sheet["epochs"][-1]["is_learning"]:
        days = sheet["epochs"][-1]["days_learned"]
        parts.append(f"It is being learned: {words.count(days, 'day')} of running so far, of 7.")
    if sheet is not None and sheet["is_coarse"]:
        parts.append(f"A reading every {sheet['sampling_s']:.0f} s is too coarse for some signs.")
    if unknown := _unjudged(view, pump):
        parts.append(f"{words.count(len(unknown), 'fault')} cannot be judged, see below.")
    return " ".join(parts)


def _facts(view: View, pump: Pump, sheet: dict[str, Any] | None) -> Component:
    energy = (view.result("costs") or {}).get("pumps", ())
    use: dict[str, Any] = next((u for u in energy if u["pump"] == pump.id), {})
    epoch = sheet["epochs"][-1] if sheet else {}
    rated = pump.rated_power_w
    plate = f"{rated[0]:.0f} to {rated[1]:.0f} W on its plate" if rated else "no plate entered"
    power = presence(view).reading(pump.id, "power")
    seen = words.ago(view.now_ms - power.age_ms, view.now_ms) if power else "never"
    low, high = epoch.get("low_w"), epoch.get("high_w")
    usual = f"{words.figure(low)} to {words.figure(high)} W" if low and high else "being learned"
    basis = (use.get("per_year") or {}).get("basis") or ""
    days = basis.partition(";")[0]  # those of the pump in place, not of one before it
    return facts(
        fact("Power now", value_words(power), f"reading {seen}; {plate}"),
        fact("Power when learned", usual, _epoch_words(view, epoch)),
        estimate_fact("Energy a year", use.get("per_year"), days),
        estimate_fact("Cost a year", use.get("cost_per_year")),
    )


def _epoch_words(view: View, epoch: dict[str, Any]) -> str:
    if not epoch:
        return ""
    since = words.moment(parse_rfc3339(epoch["from"]), view.plant.timezone, view.now_ms)
    return f"since {since}: {epoch['why']}"


# evidence


def _evidence(view: View, pump: Pump, sheet: dict[str, Any] | None) -> Component:
    """Setting, small charts of every sign that was measured, epochs and findings of the past."""
    children: list[Component] = []
    note = "Each point is a day. The pale band is what the pump did while it was learned."
    if sheet is not None:
        present = _of_pump_in_place(sheet)
        shown = [s for s in _SIGNS if any(v is not None for v in present["days"][s.column])]
        children += [
            html.Div([html.H3(s.title), sign_chart(view, present, s.column)], className="sign")
            for s in shown
        ]
        if len(present["epochs"]) < len(sheet["epochs"]):
            note += " This is the pump in place; the page Swap has the one before it."
    charts = children or [empty("No day has been worked out yet; the first comes tonight.")]
    return html.Div(
        [
            bearing_section(view, pump),
            setting_section(view, pump),
            section("Signs", html.Div(charts, className="signs-grid"), note=note),
            _epochs(view, sheet),
            _found_before(view, pump),
            _not_judged(view, pump),
        ]
    )


def _of_pump_in_place(sheet: dict[str, Any]) -> dict[str, Any]:
    """The sheet from the last exchange on: an old pump of ten times the watts hides the new."""
    epochs = sheet["epochs"]
    place = max((k for k, e in enumerate(epochs) if e["why"] == "pump exchanged"), default=0)
    start_ms = parse_rfc3339(epochs[place]["from"])
    kept = [k for k, t in enumerate(sheet["days"]["start_ms"]) if t + DAY_MS > start_ms]
    return sheet | {
        "epochs": epochs[place:],
        "days": {name: [column[k] for k in kept] for name, column in sheet["days"].items()},
        "usual": {name: bands[place:] for name, bands in sheet["usual"].items()},
    }


def sign_chart(view: View, sheet: dict[str, Any], column: str) -> Component:
    """Daily values of one sign over the usual band of each epoch.

    Parameters
    ----------
    view : View
        For the plant's zone and the moment.
    sheet : dict
        The pump's document.
    column : str
        Which sign.
    """
    sign = next(s for s in _SIGNS if s.column == column)
    days = [from_ms(t + DAY_MS // 2).date().isoformat() for t in sheet["days"]["start_ms"]]
    values = sheet["days"][column]
    line = {
        "type": "scatter", "mode": "lines+markers", "x": days, "y": values, "name": sign.title,
        "connectgaps": False, "line": {"color": COLOURS[0], "width": 1.5}, "marker": {"size": 4},
    }  # fmt: skip
    look = chart_layout(190, yaxis=axis(sign.unit or None, range=_reach(sheet, column)))
    look |= {"xaxis": axis(**_days(days)), "shapes": _bands(view, sheet, column)}
    last = next((v for v in reversed(values) if v is not None), None)
    says = f"{sign.says}; last {words.amount(last, sign.unit or '1')}"
    return chart({"data": [line], "layout": look}, says)


def _days(days: Sequence[str]) -> dict[str, Any]:
    """The lying axis: days, with few words on it, so that they lie and leave the chart room."""
    few = {"dtick": DAY_MS} if len(days) <= _FEW_DAYS else {"nticks": _FEW_DAYS}
    return {"type": "date", "tickformat": "%-d %b", "tickangle": 0, **few}


def _reach(sheet: dict[str, Any], column: str) -> list[float]:
    """Ends of the upright axis: readings and band with room about them.

    Not from zero: of 50 W a band of a fifth of a watt would be a hair, and the pump's way out
    of it with it.
    """
    bands = [end for band in sheet["usual"][column] if band is not None for end in band]
    known = [*(v for v in sheet["days"][column] if v is not None), *bands]
    low, high = min(known, default=0.0), max(known, default=1.0)
    room = max(0.15 * (high - low), 0.01 * abs(high))
    return [low - room if low < 0 else max(0.0, low - room), high + room]


def _bands(view: View, sheet: dict[str, Any], column: str) -> list[dict[str, Any]]:
    """Usual band of each epoch as a pale rectangle."""
    shapes = []
    for span, band in zip(_epoch_spans(view, sheet), sheet["usual"][column], strict=True):
        if band is None:
            continue
        ends = [from_ms(t).isoformat() for t in (span.start_ms, span.end_ms)]
        shapes.append(
            {
                "type": "rect", "layer": "below", "x0": ends[0], "x1": ends[1],
                "y0": band[0], "y1": band[1], "line": {"width": 1, "color": COLOURS[2]},
                "fillcolor": faint(COLOURS[2], 0.28),
            }
        )  # fmt: skip
    return shapes


def _epoch_spans(view: View, sheet: dict[str, Any]) -> list[Span]:
    edges = [*(parse_rfc3339(e["from"]) for e in sheet["epochs"]), view.now_ms]
    return [Span(a, b) for a, b in pairwise(edges)]


def _epochs(view: View, sheet: dict[str, Any] | None) -> Component:
    if sheet is None:
        return html.Div()
    rows = []
    for epoch in reversed(sheet["epochs"]):
        band = f"{words.figure(epoch['low_w'])} to {words.figure(epoch['high_w'])} W"
        state = chip("learning", "soon") if epoch["is_learning"] else chip("learned", "fine")
        since = words.moment(parse_rfc3339(epoch["from"]), view.plant.timezone, view.now_ms)
        rows.append([since, epoch["why"], band, state])
    note = "A new pump, setting or plug begins a new epoch. Each epoch has its own usual values."
    return section("Epochs", table(("Since", "Why", "Usual power", "State"), rows), note=note)


def _found_before(view: View, pump: Pump) -> Component:
    """Findings that are over, and every event of its alarms."""
    slow = (view.result("slow") or {}).get("findings", ())
    over = [f for f in slow if f["subject"] == pump.id and f["to"] is not None]
    over.sort(key=lambda f: str(f["from"]), reverse=True)
    events = [e for e in view.site.journal.events(view.plant.key) if e.subject == pump.id]
    rows = [
        [words.moment(e.time_ms, view.plant.timezone, view.now_ms), e.words] for e in events[:20]
    ]
    told = [table(("When", "What"), rows)] if rows else []
    cards = [
        html.Details(
            [html.Summary(f"{fault_title(f['fault'])}, {f['from'][:10]} to {f['to'][:10]}"),
             finding_card(view, f)]
        )
        for f in over[:20]
    ]  # fmt: skip
    nothing = [] if cards or told else [empty("Nothing was ever found on this pump.")]
    return section("Findings and events of the past", *cards, *told, *nothing)


def _unjudged(view: View, pump: Pump) -> dict[str, str]:
    """What cannot be judged, by its title, and what that needs."""
    return {
        fault_title(unknown["fault"]): unknown["needs"]
        for name in ("watch", "slow")
        for unknown in (view.result(name) or {}).get("cannot_judge", ())
        if unknown["subject"] == pump.id
    }


def _not_judged(view: View, pump: Pump) -> Component:
    """What cannot be judged, and the sensor that would settle it."""
    rows = [[title, needs] for title, needs in _unjudged(view, pump).items()]
    if not rows:
        return html.Div()
    return section("Cannot be judged", table(("Fault", "Needs"), rows))


# beside


def _beside(view: View, pump: Pump) -> Component:
    """What stands, to be acknowledged or shelved, and the logbook."""
    cards = alarm_cards(view, standing_of(view, pump.id))
    return beside(view, pump.id, "Alarms", cards, "No alarm of this pump stands.")


def callbacks(app: Dash, site: Site) -> None:
    """State and figures follow while the page stays open; charts and the form stay as they are."""
    follow(app, site, "pump", _live)


PAGE = Page(path="/pump", title="Pumps", layout=layout, callbacks=callbacks)
