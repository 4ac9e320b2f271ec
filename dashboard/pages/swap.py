"""The swap: before and after on one picture, the saving as it grows, and the sum in words."""

from collections.abc import Sequence
from itertools import accumulate
from typing import Any

from dash import html

from analysis.base.time import parse_rfc3339
from dashboard.pages.fitting import swap_tabs
from dashboard.parts import words
from dashboard.parts.cards import chip, empty, fact, facts, section, table
from dashboard.parts.charts import COLOURS, axis, bands, chart
from dashboard.parts.charts import layout as chart_layout
from dashboard.parts.page import Component, Page, View

_OLD, _NEW, _CLAIM = COLOURS[1], COLOURS[0], COLOURS[6]
_VERDICTS = {
    "confirmed": ("confirmed", "fine"),
    "exceeded": ("more than claimed", "fine"),
    "refuted": ("refuted", "now"),
    "not_proven": ("not proven", "soon"),
    None: ("nothing claimed", ""),
}
_HOW_TO = (
    "No exchange of a pump is known yet. Record one under Fitting or with 'stokehold swap', or "
    "write a [[swap]] table into the plant file; the proof appears after the next night."
)


def layout(view: View) -> Component:
    """Every swap of the plant, newest first."""
    savings: list[dict[str, Any]] = view.result("saving") or []
    if not savings:
        return html.Div([html.H1("Swap"), swap_tabs(view, "/swap"), empty(_HOW_TO)])
    newest = sorted(savings, key=lambda one: one["swap_time"], reverse=True)
    tabs = swap_tabs(view, "/swap")
    return html.Div([html.H1("Swap"), tabs, *(part for one in newest for part in _swap(view, one))])


def _swap(view: View, saving: dict[str, Any]) -> Sequence[Component]:
    when = words.moment(parse_rfc3339(saving["swap_time"]), view.plant.timezone, view.now_ms)
    text, kind = _VERDICTS[saving["verdict"]]
    head = html.P([f"{words.named(saving['pump'])} pump, exchanged {when} ", chip(text, kind)])
    return (
        head,
        _figures(saving),
        html.P(saving["why"][:1].upper() + saving["why"][1:] + "."),
        section("Before and after", *_daily(saving, view.plant.timezone)),
        section("Saved so far", *_course(saving, view.plant.timezone)),
        _sum(saving),
        _money(saving),
        *_cycling(saving),
        _method(saving),
    )


def _figures(saving: dict[str, Any]) -> Component:
    """Measured, projected and claimed, side by side and never mixed."""
    claim = saving["claim_kwh_per_year"]
    return facts(
        fact("Measured so far", words.estimate(saving["saved_so_far"]), "since the swap"),
        fact("Projected", words.estimate(saving["saving_per_year"]), "a year, 95 % interval"),
        fact("Claimed", "nothing" if claim is None else words.amount(claim, "kW.h"), "a year"),
    )


def _times(days: Sequence[dict[str, Any]], zone: str) -> list[str]:
    """Noon of each of the plant's days, as the chart takes it."""
    return [f"{words.local_date(parse_rfc3339(one['day']), zone)}T12:00:00" for one in days]


def _daily(saving: dict[str, Any], zone: str) -> list[Component]:
    """Daily energy of both pumps, and what the old one would have used since."""
    days = saving["days"]
    if not days:
        return [empty("No whole day of readings about the swap.")]
    swapped = saving["swap_time"]
    after = [d for d in days if d["day"] >= swapped and d["old_kwh"] is not None]
    traces: list[dict[str, Any]] = []
    if after:
        x = _times(after, zone)
        traces.append(bands([d["old_low"] for d in after], [d["old_high"] for d in after], x, _OLD))
        old = [d["old_kwh"] for d in after]
        traces.append(_line(x, old, "old pump, had it stayed", _OLD, dash="dot"))
    for name, colour, part in (
        ("old pump", _OLD, [d for d in days if d["day"] < swapped]),
        ("new pump", _NEW, [d for d in days if d["day"] >= swapped]),
    ):
        traces.append(_line(_times(part, zone), [d["measured_kwh"] for d in part], name, colour))
    figure = {"data": traces, "layout": _style("kWh a day", swapped)}
    says = (
        "Energy of each whole day: the old pump, the new one, and dotted with its 95 % band what "
        "the old pump would have used since. A break in a line is a day without enough readings."
    )
    return [chart(figure, says)]


def _line(
    x: list[str], y: list[Any], name: str, colour: str, dash: str = "solid"
) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": x,
        "y": y,
        "name": name,
        "line": {"color": colour, "width": 2, "dash": dash},
    }


def _style(title: str, swapped: str) -> dict[str, Any]:
    """Layout with the moment of the swap as an upright line."""
    mark = {
        "type": "line",
        "x0": swapped.rstrip("Z"),
        "x1": swapped.rstrip("Z"),
        "yref": "paper",
        "y0": 0,
        "y1": 1,
        "line": {"color": "rgba(128,128,128,0.8)", "width": 1, "dash": "dash"},
    }
    return chart_layout(
        320,
        showlegend=True,
        margin={"l": 56, "r": 12, "t": 48, "b": 40},
        yaxis=axis(title, rangemode="tozero"),
        shapes=[mark],
    )


def _course(saving: dict[str, Any], zone: str) -> list[Component]:
    """Cumulated saving with its band, and the claim as a line from the swap on."""
    days = [d for d in saving["days"] if d["day"] >= saving["swap_time"]]
    if not days or saving["saved_so_far"]["value"] is None:
        return [empty("No whole day measured since the swap.")]
    x = _times(days, zone)
    low, high = ([d[f"so_far_{end}"] for d in days] for end in ("low", "high"))
    traces = [bands(low, high, x, _NEW), _line(x, [d["so_far"] for d in days], "saved", _NEW)]
    claim = saving["claim_kwh_per_year"]
    says = "Saving since the swap with its 95 % band; days without readings add nothing."
    if claim is not None:
        share = claimed_so_far(saving)
        traces.append(_line(x, share, "claimed, by the season", _CLAIM, dash="dash"))
        says += (
            " The dashed line is what the claim promises for the days so far; a week of winter "
            "counts for more than a week of summer."
        )
    return [chart({"data": traces, "layout": _style("kWh", saving["swap_time"])}, says)]


def claimed_so_far(saving: dict[str, Any]) -> list[float]:
    """The claim's course since the swap [kWh]: as the old pump's year would have gone by."""
    days = [d for d in saving["days"] if d["day"] >= saving["swap_time"]]
    year = saving["before"]["per_year"]["value"]
    even = [1.0 / 365.0] * len(days)
    by_season = [(d["old_kwh"] or 0.0) / year for d in days] if year else even
    return [saving["claim_kwh_per_year"] * part for part in accumulate(by_season)]


def _sum(saving: dict[str, Any]) -> Component:
    """Both pumps' years, and the ceiling no saving can pass."""
    rows = []
    for name, side in (("Old pump", saving["before"]), ("New pump", saving["after"])):
        hours = side["run_hours_per_day"]
        rows.append(
            [
                name,
                f"{words.count(side['days'], 'day')}, {side['basis']}",
                words.estimate(side["running_power_w"]),
                "unknown" if hours is None else f"{words.figure(hours)} h",
                words.estimate(side["per_year"]),
            ]
        )
    head = ("Pump", "Measured", "Running power", "Hours a day seen", "All year")
    more = []
    if saving["ceiling"] is not None:
        more.append(html.P(f"Ceiling: {saving['ceiling']['sum']}. No exchange saves more."))
    return section("The sum", table(head, rows), *more)


def _money(saving: dict[str, Any]) -> Component:
    money = saving["money"]
    return section(
        "Worth",
        facts(
            fact("Electricity", words.estimate(money["electricity_per_year"])),
            fact("Extra fuel", words.estimate(money["extra_fuel_cost_per_year"])),
            fact("Together", words.estimate(money["net_per_year"])),
        ),
        note="In the heating season the boiler makes up for heat the old pump gave the house.",
    )


def _cycling(saving: dict[str, Any]) -> list[Component]:
    """Starts of the boilers before and after, at equal weather: a pump changes them too."""
    shown = []
    for one in saving.get("cycling", ()):
        change = one["change_per_day"]
        low, high = change["low"], change["high"]
        word = "no change is sure" if low <= 0 <= high else "fewer" if high < 0 else "more"
        name = words.named(one["boiler"])
        seen = f"{one['before_per_day']:.1f} before, {one['after_per_day']:.1f} since"
        told = f"{change['value']:+.1f} a day ({low:+.1f} to {high:+.1f}), {word}"
        shown += [fact(f"{name}: starts a day", seen), fact("Change", told, change["basis"])]
    note = "Whatever else changed at the time of the exchange shows here as well."
    return [section("The boiler's starts", facts(*shown, wide=True), note=note)] if shown else []


def _method(saving: dict[str, Any]) -> Component:
    doubt = saving["uncertainty"]["half_widths_kwh"]
    rows = [[name, f"{words.figure(width, 2)} kWh"] for name, width in doubt.items()]
    guideline = saving["uncertainty"]["guideline_14"]
    more = []
    if guideline is not None and guideline["fractional_uncertainty_90"] is not None:
        share = abs(guideline["fractional_uncertainty_90"])
        avoided = words.figure(guideline["avoided_kwh"], 2)
        more.append(
            html.P(
                f"By a signature of the days before: {avoided} kWh "
                f"saved so far, to {share:.0%} at 90 % ({guideline['note']})."
            )
        )
    return section(
        "How sure, and why",
        html.P(saving["method"][:1].upper() + saving["method"][1:] + "."),
        table(("Doubt from", "Either way, 95 %"), rows),
        *more,
        html.Ul([html.Li(note) for note in saving["notes"]]),
    )


PAGE = Page(path="/swap", title="Swap", layout=layout)
