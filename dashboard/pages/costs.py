"""What the plant uses and costs in a year: every machine, the fuel, and the fuel's signature."""

from typing import Any

from dash import html

from analysis.base.time import DAY_MS, parse_rfc3339
from dashboard.parts import words
from dashboard.parts.cards import empty, estimate_fact, facts, section, table
from dashboard.parts.charts import COLOURS, axis, bands, chart, layout
from dashboard.parts.page import Component, Page, View

Document = dict[str, Any]
_MACHINE, _LINE, _DAY, _WEEK = COLOURS[0], COLOURS[1], COLOURS[0], COLOURS[3]


def costs(view: View) -> Component:
    """Draw the newest nightly result; nothing is computed here."""
    found = view.result("costs")
    if found is None:
        return html.Div([html.H1("Costs"), empty("Worked out during the night; nothing yet.")])
    used = [(one["pump"], one) for one in found["pumps"]]
    used += [(one["boiler"], one) for one in found["boilers"]]
    return html.Div(
        [
            html.H1("Costs"),
            _summary(found),
            section(
                "Electricity in a year", *_electricity(used),
                note="Brackets hold the truth in 19 of 20 cases. The year begins "
                "with the history; days not measured come from the season.",
            ),
            *[_fuel(view, one) for one in found["fuel"]],
        ]
    )  # fmt: skip


def _summary(found: Document) -> Component:
    told = [
        estimate_fact("Electricity a year", found["electricity_per_year"]),
        estimate_fact("Electricity costs a year", found["electricity_cost_per_year"]),
    ]
    for one in found["fuel"]:
        if "reason" not in one:
            told.append(estimate_fact("Fuel a year, net", one["per_year"]))
            told.append(estimate_fact("Fuel costs a year", one["cost_per_year"]))
    own = estimate_fact("The plugs themselves, on top", found["plug_own_per_year"])
    return facts(*told, own)


def _electricity(used: list[tuple[str, Document]]) -> list[Component]:
    known = [(name, one) for name, one in used if one["per_year"]["value"] is not None]
    head = ("Machine", "Measured", "A year", "Costs a year", "Known from")
    rows = [_row(name, one) for name, one in used]
    picture = [_bars(known)] if known else []
    return [*picture, table(head, rows)]


def _row(name: str, one: Document) -> list[Component]:
    year = one["per_year"]
    if not one["covered_hours"]:
        return [words.named(name), "not measured", words.NOTHING, words.NOTHING, words.NOTHING]
    measured = f"{words.amount(one['measured_kwh'], 'kW.h')} in {one['covered_hours'] / 24:.0f} d"
    rests = year["basis"] or year.get("reason") or ""
    cost = words.estimate(one["cost_per_year"])
    return [words.named(name), measured, words.estimate(year), cost, rests]


def _bars(known: list[tuple[str, Document]]) -> Component:
    """Bars of the yearly use with their intervals, the greatest on top."""
    ranked = sorted(known, key=lambda pair: pair[1]["per_year"]["value"])
    years = [one["per_year"] for _, one in ranked]
    bar = {
        "type": "bar",
        "orientation": "h",
        "y": [words.named(name) for name, _ in ranked],
        "x": [y["value"] for y in years],
        "error_x": {
            "type": "data",
            "symmetric": False,
            "array": [y["high"] - y["value"] for y in years],
            "arrayminus": [y["value"] - y["low"] for y in years],
            "color": "#808080",
        },
        "marker": {"color": _MACHINE},
        "width": 0.5,
        "hovertemplate": "%{y}: %{x:.0f} kWh<extra></extra>",
    }
    drawn = layout(
        90 + 46 * len(ranked),
        hovermode="closest",
        xaxis=axis("kWh a year", rangemode="tozero"),
        yaxis=axis(),
    )
    name, most = ranked[-1]
    says = f"{words.named(name)} uses most: {words.estimate(most['per_year'])}."
    return chart({"data": [bar], "layout": drawn}, says)


def _fuel(view: View, one: Document) -> Component:
    title = f"Fuel of the {one['boiler']}" if one["boiler"] != "boiler" else "Fuel"
    if "reason" in one:
        return section(title, empty(f"Unknown: {one['reason']}."))
    note = f"From the {one['source']}; {one['per_year']['basis']}."
    return section(title, needs(one), *signature_charts(view, one), note=note)


def needs(one: Document) -> Component:
    """Signature, design load and the boiler's size over it, of one boiler's fuel."""
    design, signature = one["design"], one["signature"]
    told = [
        estimate_fact("Each kelvin colder adds", signature["slope"])
        if signature["slope"]
        else None,
        estimate_fact("On warm days", signature["base_use"]) if signature["base_use"] else None,
        _heating_below(signature),
        estimate_fact(f"Coldest usual day, {design['outdoor_c']:.0f} °C", design["fuel_kw"]),
        estimate_fact("Boiler size over this need", design["oversize"]),
    ]
    return facts(*[t for t in told if t is not None])


def _heating_below(signature: Document) -> Component | None:
    """Where heating is shut off, if days were seen that could have heated and did not."""
    limit = signature.get("heating_limit_c") or {}
    if limit.get("value") is not None:
        return estimate_fact("Heating shut off above", limit)
    change = signature["change_c"]
    return estimate_fact("Heating begins below", change) if change else None


def signature_charts(view: View, one: Document) -> list[Component]:
    """Fuel a day over outdoor temperature, with its interval and this week; or why not.

    Parameters
    ----------
    view : View
        For the moment.
    one : dict
        A boiler's fuel document.
    """
    line = one.get("line")
    if not line:
        reason = one["signature"].get("reason") or "too few days"
        return [empty(f"No signature: {reason}.")]
    days = one["days"]
    since = view.now_ms - 7 * DAY_MS
    late = [parse_rfc3339(t) >= since for t in days["start"]]
    data = [
        bands(line["low"], line["high"], line["outdoor_c"], _LINE),
        _points(days, [not is_late for is_late in late], "earlier days", _DAY, 5),
        _points(days, late, "this week", _WEEK, 10),
        {
            "type": "scatter", "mode": "lines", "x": line["outdoor_c"], "y": line["kwh"],
            "name": "usual", "line": {"color": _LINE, "width": 2}, "hoverinfo": "skip",
        },
    ]  # fmt: skip
    drawn = layout(
        360,
        hovermode="closest",
        showlegend=True,
        xaxis=axis("Outdoor, mean of the day [°C]"),
        yaxis=axis("kWh a day", rangemode="tozero"),
    )
    return [chart({"data": data, "layout": drawn}, _says(one, late))]


def _points(days: Document, chosen: list[bool], name: str, colour: str, size: int) -> Document:
    def pick(key: str) -> list[float]:
        return [v for v, is_chosen in zip(days[key], chosen, strict=True) if is_chosen]

    return {
        "type": "scatter",
        "mode": "markers",
        "x": pick("outdoor_c"),
        "y": pick("kwh"),
        "name": name,
        "marker": {"color": colour, "size": size, "opacity": 0.75},
        "hovertemplate": "%{x:.1f} °C: %{y:.0f} kWh<extra></extra>",
    }


def _says(one: Document, late: list[bool]) -> str:
    """The picture in a sentence, this week against the usual."""
    days, line = one["days"], one["line"]
    used = usual = 0.0
    for is_late, temp, kwh in zip(late, days["outdoor_c"], days["kwh"], strict=True):
        if is_late:
            used += kwh
            usual += _at(line, temp)
    told = f"Fuel by day against the outdoor temperature, {len(late)} days."
    if not any(late) or usual <= 0:
        return told + " No day of this week is known."
    return f"{told} This week {words.figure(used)} kWh, usual {words.figure(usual)} kWh."


def _at(line: Document, temp_c: float) -> float:
    """Point of the drawn line nearest to a temperature."""
    nearest = min(range(len(line["kwh"])), key=lambda k: abs(line["outdoor_c"][k] - temp_c))
    return float(line["kwh"][nearest])


PAGE = Page(path="/costs", title="Costs", layout=costs)
"""Costs of a year, drawn from the nightly result."""
