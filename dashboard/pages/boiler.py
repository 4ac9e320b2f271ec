"""The boiler: a day of firings, a year of starts, run lengths, signature, findings, service."""

from datetime import timedelta
from itertools import pairwise
from typing import Any

from dash import Dash, html

from analysis.base.time import local_day, parse_rfc3339
from analysis.faults.registry import grouped
from analysis.firing.cycle_statistics import SHORT_CYCLING
from analysis.plant.plant import Boiler
from collector.installation.site import Site
from dashboard.pages.alarms import alarm_cards
from dashboard.pages.costs import needs, signature_charts
from dashboard.pages.logbook import beside
from dashboard.parts import words
from dashboard.parts.alarm_sentence import against, standing_of
from dashboard.parts.cards import (
    chosen_part,
    empty,
    fact,
    facts,
    fault_title,
    finding_card,
    part_tabs,
    section,
    sheet_of,
    table,
)
from dashboard.parts.charts import COLOURS, axis, chart
from dashboard.parts.charts import layout as chart_layout
from dashboard.parts.collector_health import own_troubles
from dashboard.parts.last_values import presence, value_words
from dashboard.parts.live_section import follow, followed
from dashboard.parts.page import Component, Page, View

HEAT, CHARGE = COLOURS[1], COLOURS[0]


def layout(view: View) -> Component:
    """Everything about one boiler; words where there is none or nothing is worked out yet."""
    boilers = view.plant.boilers
    if not boilers:
        told = f"The plant file of {view.plant.name} names no boiler; add a [[boiler]] and restart."
        return html.Div([html.H1("Boiler"), empty(told)])
    boiler = chosen_part(view, view.plant.boilers)
    sheet = sheet_of(view, "boilers", "boiler", boiler.id)
    head = [
        html.H1(words.named(boiler.id)),
        part_tabs(view, "/boiler", [one.id for one in boilers], boiler.id),
    ]
    head += followed("boiler", _live(view))
    if sheet is None or sheet["method"] is None:
        return html.Div([*head, _nothing(sheet), _beside(view, boiler, sheet)])
    return html.Div(
        [
            *head,
            html.Div(
                [_charts(view, boiler, sheet), _beside(view, boiler, sheet)], className="sides"
            ),
        ]
    )


def _live(view: View) -> list[Component]:
    """What changes while the page stays open."""
    if not view.plant.boilers:
        return []
    boiler = chosen_part(view, view.plant.boilers)
    sheet = sheet_of(view, "boilers", "boiler", boiler.id)
    told = [*own_troubles(view), html.P(_sentence(view, boiler, sheet), className="lead")]
    if sheet is not None and sheet["method"] is not None:
        told.append(_facts(view, boiler, sheet))
    return told


def _nothing(sheet: dict[str, Any] | None) -> Component:
    if sheet is None:
        return empty("Nothing has been worked out yet; the first report comes tonight.")
    why = sheet["summary"][SHORT_CYCLING]["why"]
    return empty(f"Firings cannot be seen: {why}. A plug or a clip on its flow helps.")


def _sentence(view: View, boiler: Boiler, sheet: dict[str, Any] | None) -> str:
    """What the boiler does, what stands against it, and how its firings are seen."""
    told = [presence(view).state(boiler).words + "."]
    found = [f["fault"] for f in _unalarmed(view, boiler) if f["to"] is None]
    told += against(view, standing_of(view, boiler.id), map(fault_title, found))
    if sheet is None or sheet["method"] is None:
        return " ".join(told)
    if sheet["summary"][SHORT_CYCLING]["is"]:
        told.append("It fires briefly and more often than the rule of thumb allows.")
    if sheet.get("tells") == "running":
        return f"{' '.join(told)} {sheet['channel']}: {sheet['note']}."
    told.append(f"Its firings are read from {sheet['channel']} ({sheet['method']}).")
    check = sheet["cross_check"]
    if check and not check["agrees"]:
        told.append(f"{check['words'].capitalize()}.")
    return " ".join(told)


def _facts(view: View, boiler: Boiler, sheet: dict[str, Any]) -> Component:
    heating = sheet["heating"]
    often = heating["starts_per_demand_hour"]
    per_hour = "" if often is None else f"{words.figure(often)} an hour of heat demand"
    median = heating["median_on"]["value"]
    told = [fact("Power now", value_words(presence(view).reading(boiler.id, "power")))]
    if sheet.get("tells") == "running":
        summary = sheet["summary"]
        hours = f"{words.figure(summary['on_hours'])} h, firings within are not seen"
        return facts(*told, fact("Running", _share(summary["duty"]), hours))
    told += [
        fact("Starts a day", words.figure(sheet["summary"]["starts_per_day"]), per_hour),
        fact("Starts a year", words.estimate(sheet["starts_per_year"])),
        fact("Usual firing", words.amount(median, "min"), "for heating"),
    ]
    if boiler.condensing:
        share = sheet["condensing_share"]
        told.append(
            fact("Condensing", _share(share["value"]), share["basis"] or share.get("reason", ""))
        )
    service = sheet["service"]
    due = {True: "due", False: "not due", None: "not known"}[service["is_due"]]
    by = f"next by {service['due'][:10]}; " if service["due"] else ""
    told.append(fact("Service", due, f"{by}{service['why']}"))
    return facts(*told)


def _share(value: float | None) -> str:
    return "unknown" if value is None else f"{value:.0%}"


# charts


def _charts(view: View, boiler: Boiler, sheet: dict[str, Any]) -> Component:
    if sheet.get("tells") == "running":
        told = [_signature(view, boiler), _year(view, boiler), _heat(view, boiler, sheet)]
        return html.Div([*told, _judged(sheet)])
    return html.Div(
        [
            section("Firings, day by day", strip(view, sheet)),
            section("Starts through the year", calendar(sheet, view.plant.timezone)),
            section("How long it fires", lengths(sheet)),
            _signature(view, boiler),
            _year(view, boiler),
            _heat(view, boiler, sheet),
            _outdoor(sheet),
            _judged(sheet),
        ]
    )


def strip(view: View, sheet: dict[str, Any]) -> Component:
    """The last days as strips of firings from midnight to midnight, the newest on top."""
    rows = sheet["last_firings"]
    if not rows:
        return empty("No firing was seen in the last days.")
    zone = view.plant.timezone
    traces = []
    for is_charge, name, colour in ((False, "heating", HEAT), (True, "charging", CHARGE)):
        own = [r for r in rows if r["charging"] == is_charge]
        pieces = [p for r in own for p in _by_day(r, zone)]
        traces.append(
            {
                "type": "bar", "orientation": "h", "name": name,
                "y": [p[0] for p in pieces], "base": [p[1] for p in pieces],
                "x": [p[2] for p in pieces], "marker": {"color": colour, "line": {"width": 0}},
                "hovertemplate": f"%{{y}}, from %{{base:.2f}} h, %{{x:.2f}} h<extra>{name}</extra>",
            }
        )  # fmt: skip
    look = chart_layout(
        260, barmode="overlay", showlegend=True, hovermode="closest", bargap=0.25,
        xaxis=axis("hour of the day", range=[0, 24], dtick=6),
        yaxis=axis(type="category", categoryorder="category ascending"),
    )  # fmt: skip
    says = f"{words.count(len(rows), 'firing')} of the last days, each a bar where it burned"
    return chart({"data": traces, "layout": look}, says)


def _by_day(row: dict[str, Any], zone: str) -> list[tuple[str, float, float]]:
    """A firing cut at local midnights: day, hour it begins, hours."""
    start, end = parse_rfc3339(row["start"]), parse_rfc3339(row["end"])
    found = []
    while start < end:
        day = local_day(start, zone)
        stop = min(end, day.end_ms)
        name = words.local_date(day.start_ms, zone).strftime("%m-%d")
        found.append((name, (start - day.start_ms) / 3.6e6, (stop - start) / 3.6e6))
        start = stop
    return found


def calendar(sheet: dict[str, Any], zone: str) -> Component:
    """A square a day, a column a week: how often the burner started, over the last year."""
    days = sheet["days"]
    rows = list(zip(days["start"], days["starts"], days["charges"], days["is_whole"], strict=True))
    weeks: dict[str, list[float | None]] = {}
    for start, starts, charges, is_whole in rows[-371:]:
        day = words.local_date(parse_rfc3339(start), zone)
        monday = day - timedelta(days=day.weekday())
        column = weeks.setdefault(monday.isoformat(), [None] * 7)
        column[day.weekday()] = (starts or 0) + (charges or 0) if is_whole else None
    grid = [[column[k] for column in weeks.values()] for k in range(7)]
    trace = {
        "type": "heatmap", "x": list(weeks), "z": grid, "xgap": 2, "ygap": 2,
        "y": ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"], "hoverongaps": False,
        "colorscale": [[0, "#e8e4d8"], [1, HEAT]], "colorbar": {"thickness": 10, "outlinewidth": 0},
        "hovertemplate": "week of %{x}, %{y}: %{z} starts<extra></extra>",
    }  # fmt: skip
    look = chart_layout(
        230, hovermode="closest",
        xaxis=axis(type="date", showgrid=False), yaxis=axis(autorange="reversed", showgrid=False),
    )  # fmt: skip
    known = sum(v is not None for column in weeks.values() for v in column)
    says = f"Starts of {words.count(known, 'day')} watched whole; days with gaps are left empty"
    return chart({"data": [trace], "layout": look}, says)


def lengths(sheet: dict[str, Any]) -> Component:
    """How many firings fall into each class of length, heating and charging apart."""
    edges = sheet["lengths_min"]
    names = [
        f"{a:.0f} to {b:.0f}" if b is not None else f"over {a:.0f}" for a, b in pairwise(edges)
    ]
    traces = [
        {"type": "bar", "name": name, "x": names, "y": sheet[part]["lengths"],
         "marker": {"color": colour}}
        for part, name, colour in (("heating", "heating", HEAT), ("charging", "charging", CHARGE))
    ]  # fmt: skip
    look = chart_layout(
        260, barmode="stack", showlegend=True, xaxis=axis("minutes", type="category"),
        yaxis=axis("firings"),
    )  # fmt: skip
    total = sum(sheet["heating"]["lengths"]) + sum(sheet["charging"]["lengths"])
    return chart({"data": traces, "layout": look}, f"{total} complete firings by their length")


def _signature(view: View, boiler: Boiler) -> Component:
    """Fuel a day over outdoor temperature, as the page of costs draws it."""
    fuel = (view.result("costs") or {}).get("fuel", ())
    own = next((f for f in fuel if f["boiler"] == boiler.id), None)
    if own is None or "signature" not in own:
        why = (own or {}).get("reason", "it is worked out tonight")
        return section("Fuel over the weather", empty(f"No signature yet: {why}."))
    return section("Fuel over the weather", needs(own), *signature_charts(view, own))


def _year(view: View, boiler: Boiler) -> Component:
    """Fuel of the boiler in a year, and beside it the electricity of boiler and pumps."""
    costs = view.result("costs")
    if costs is None:
        return section("What a year comes to", empty("It is worked out tonight."))
    fuel = next((f for f in costs["fuel"] if f["boiler"] == boiler.id), {"reason": "not known"})
    if "reason" in fuel:
        rows = [["Fuel", f"unknown: {fuel['reason']}", words.NOTHING]]
    else:
        rows = [_yearly("Fuel, net", fuel)]
    rows += [
        _yearly("Boiler's electricity", b) for b in costs["boilers"] if b["boiler"] == boiler.id
    ]
    rows += [_yearly(f"Electricity, pump {words.named(p['pump'])}", p) for p in costs["pumps"]]
    return section("What a year comes to", table(("What", "A year", "Costs a year"), rows))


def _yearly(name: str, one: dict[str, Any]) -> list[Component]:
    return [name, words.estimate(one["per_year"]), words.estimate(one["cost_per_year"])]


def _heat(view: View, boiler: Boiler, sheet: dict[str, Any]) -> Component:
    """Fuel that went in and heat that came out, where a flow meter tells it."""
    heat = sheet.get("heat", {"reason": "it is worked out tonight"})
    if "heat" not in heat:
        return section("Heat balance", empty(f"Heat is not measured: {heat['reason']}."))
    fuel = (view.result("costs") or {}).get("fuel", ())
    burnt = next((f["measured_kwh"] for f in fuel if f["boiler"] == boiler.id and "source" in f), 0)
    rows = [
        ["Fuel measured, net", words.amount(burnt or None, "kW.h")],
        [f"Heat past {heat['channel']}", words.estimate(heat["heat"])],
        ["Heat over fuel", words.estimate(_percent(sheet["efficiency"]))],
        ["Water", f"{words.amount(heat['volume_m3'], 'm3')}, known {heat['covered_hours']:.0f} h"],
        ["A m³ cooled by a kelvin", f"{heat['kwh_per_m3k'] or 0:.3f} kWh"],
    ]
    return section("Heat balance", table(("What", "Told"), rows), html.P(f"{heat['note']}."))


def _percent(estimate: dict[str, Any]) -> dict[str, Any]:
    """The same in per cent."""
    scaled = {
        key: None if estimate[key] is None else 100 * estimate[key]
        for key in ("value", "low", "high")
    }
    return estimate | scaled | {"unit": "%"}


def _outdoor(sheet: dict[str, Any]) -> Component:
    rows = [
        [
            f"{c['from_c']:.0f} to {c['to_c']:.0f} °C",
            words.figure(c["per_day"]),
            f"{words.figure(c['low'])} to {words.figure(c['high'])}",
            str(c["days"]),
        ]
        for c in sheet["starts_by_outdoor"]
    ]
    if not rows:
        return section("Starts by weather", empty("No outdoor temperature is measured."))
    return section(
        "Starts by weather",
        table(("Outdoors", "Starts a day", "On half of the days", "Days seen"), rows),
    )


def _judged(sheet: dict[str, Any]) -> Component:
    """Short cycling by rule of thumb, standing losses, warming, second source."""
    judged = sheet["summary"][SHORT_CYCLING]
    word = {True: "yes", False: "no", None: "cannot be said"}[judged["is"]]
    rows = [["Short cycling by rule of thumb", f"{word}: {judged['why']}"]]
    if causes := sheet["short_cycling_causes"][:3]:
        rows.append(["It may be", "; or ".join(causes)])
    charging = sheet["charging"]
    if charging["starts"]:
        often = f"{words.figure(charging['starts_per_day'])} firings a day"
        median = words.amount(charging["median_on"]["value"], "min")
        rows.append(["Charging the store", f"{often}, {median} each; not counted as heating"])
    rest = words.estimate(_percent(sheet["cooling_at_rest"]) | {"unit": "%/h"})
    rows.append([f"Cooling at rest, {sheet['boiler']}", f"{rest} of its warmth above the room"])
    for one in sheet["stores"]:
        rows.append([f"Standing loss, {one['store']}", words.estimate(one["standing_loss"])])
        warmest = words.estimate(one["warmest_hour"])
        hygiene = f"; {one['hygiene']}" if one["hygiene"] else ""
        rows.append([f"Warmest hour of a day, {one['store']}", f"{warmest}{hygiene}"])
    rows.append(["Warming", sheet["heat_up_note"]])
    if sheet.get("note"):
        rows.append(["How sure", f"{sheet['note']}."])
    if sheet.get("brief_words"):
        rows.append(["Too short to see", f"{sheet['brief_words']}."])
    if sheet["cross_check"]:
        rows.append(["Second source", sheet["cross_check"]["words"]])
    rows += [[f"Since the service: {e['what']}", e["says"]] for e in sheet["service"]["effects"]]
    return section("Condition", table(("What", "Told"), rows))


# beside


def _findings(view: View, boiler: Boiler) -> list[dict[str, Any]]:
    """Findings on this boiler and the stores, those that last first."""
    names = {fault.name for fault in grouped("boiler")}
    parts = {boiler.id, *(store.id for store in view.plant.stores)}
    found: dict[tuple[str, str], dict[str, Any]] = {}
    for result in ("slow", "watch"):
        for one in (view.result(result) or {}).get("findings", ()):
            if one["subject"] in parts and one["fault"] in names:
                found[one["subject"], one["fault"]] = one
    return sorted(found.values(), key=lambda f: f["to"] is not None)


def _unalarmed(view: View, boiler: Boiler) -> list[dict[str, Any]]:
    """Findings for which no alarm of the boiler stands."""
    told = {(one.alarm.subject, one.alarm.fault) for one in standing_of(view, boiler.id)}
    return [f for f in _findings(view, boiler) if (f["subject"], f["fault"]) not in told]


def _beside(view: View, boiler: Boiler, sheet: dict[str, Any] | None) -> Component:
    """What was found, in plain words, and the logbook."""
    cards = alarm_cards(view, standing_of(view, boiler.id))
    cards += [finding_card(view, found) for found in _unalarmed(view, boiler)]
    nothing = "Nothing wrong was found on boiler and store."
    if sheet is not None and sheet["summary"][SHORT_CYCLING]["is"]:
        nothing = (
            "Boiler and store are no worse than before. But the boiler fires more often and more "
            "briefly than the rule of thumb allows; see under Condition what the cause may be."
        )
    return beside(view, boiler.id, "Alarms and findings", cards, nothing)


def callbacks(app: Dash, site: Site) -> None:
    """State and figures follow while the page stays open; charts and the form stay as they are."""
    follow(app, site, "boiler", _live)


PAGE = Page(path="/boiler", title="Boiler", layout=layout, callbacks=callbacks)
