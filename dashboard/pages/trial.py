"""The guided trial at the pump: a step at a time with live watts, and the pump's own table."""

from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from analysis.base.errors import StokeholdError
from analysis.base.time import parse_rfc3339
from analysis.exchange.trial import TrialStep
from analysis.plant.plant import Pump
from collector.installation.site import Site
from collector.installation.trial_bench import Bench, TrialPlan, fresh_trial
from collector.journal.exchanges import swap_book
from collector.journal.trials import TrialBook
from collector.store.protocol import clock_ms
from dashboard.pages.fitting import pump_of, swap_tabs
from dashboard.parts import words
from dashboard.parts.cards import chip, empty, fact, facts, part_tabs, section, table
from dashboard.parts.page import Component, Page, View, pump_known, view_of, view_still_there
from dashboard.parts.page_acts import on_deed
from dashboard.parts.visitor import visitor

PATH = "/swap/trial"
_LOOK_EVERY_MS = 5_000
_MARKS = {True: ("agrees", "fine"), False: ("look", "soon"), None: ("cannot be said", "")}


def layout(view: View) -> Component:
    """Where the trial of one pump stands, and what the last one gave."""
    pump = _pump(view)
    head = [html.H1("Trial"), swap_tabs(view, PATH)]
    if pump is None:
        return html.Div([*head, empty("The plant file names no pump.")])
    tabs = part_tabs(view, PATH, [one.id for one in view.plant.pumps], pump.id)
    if view.plant.first(pump.id, "power") is None:
        told = f"{words.named(pump.id)} has no power channel; a trial needs its smart plug."
        return html.Div([*head, tabs, empty(told)])
    bench = bench_of(view.site, view.plant.key, pump.id, view.now_ms)
    shown = [_start(view, pump)] if bench is None else _under_way(view, bench)
    return html.Div([*head, tabs, *shown, _last(view, pump)])


def _pump(view: View) -> Pump | None:
    return next((p for p in view.plant.pumps if p.id == pump_of(view)), None)


def bench_of(
    site: Site, plant: str, pump: str, now_ms: int, wanted: TrialPlan | None = None
) -> Bench | None:
    """The bench of a pump's trial: the one under way, or a fresh one where it is wanted."""
    trials = TrialBook(site.journal)
    view = view_of(site, f"?plant={plant}", now_ms)
    known = pump_known(view.plant, pump)
    trial = trials.load(plant, pump)
    if trial is None and wanted is not None:
        trial = fresh_trial(view.plant, known, wanted, now_ms)
    if trial is None:
        return None
    book = swap_book(site.settings, site.journal)
    return Bench(view.plant, known, site.store, trials, book, trial)


def _button(text: str, deed: str, view: View, *, pump: str, main: bool = False) -> Component:
    key = {"type": "trial", "deed": deed, "plant": view.plant.key, "pump": pump}
    return html.Button(text, id=key, className="main" if main else "")


def _start(view: View, pump: Pump) -> Component:
    """What a trial is, what it shall hold, and the button that begins it."""
    names = dcc.Input(id={"type": "trial-names", "at": 0}, type="text", placeholder="I, II, III")
    usual = dcc.Input(id={"type": "trial-usual", "at": 0}, type="text", placeholder="II")
    more = dcc.Checklist(
        {
            "offset": "Unplug the pump for two minutes, for the plug's own offset",
            "valve": "Shut an isolating valve for two minutes, burner off",
        },
        ["offset"],
        labelStyle={"display": "flex", "gap": "8px"},
        id={"type": "trial-more", "at": 0},
    )
    told = (
        "You turn the knob, ten minutes a setting; the program watches the plug and switches "
        "nothing. It can be left and taken up again. It ends with the pump's own table of watts, "
        "the checks of nameplate, display and plug, and a first baseline."
    )
    return section(
        "Begin",
        html.P(told),
        *_cautions(),
        html.Div(
            [
                html.Label(["Settings as the knob names them (empty: the usual ones)", names]),
                html.Label(["Setting it is left at afterwards", usual]),
                html.Div(more, className="wide"),
                html.Div(
                    _button("Begin a trial", "start", view, pump=pump.id, main=True),
                    className="wide",
                ),
            ],
            className="form",
        ),
    )


_CAUTIONS = (
    ("Turning the knob", TrialStep("", "setting", 0)),
    ("Unplugging the pump", TrialStep("", "offset", 0)),
    ("Shutting a valve", TrialStep("", "valve", 0)),
)


def _cautions() -> list[Component]:
    """What can hurt in each kind of step, before any is chosen; each step says it again."""
    return [
        html.P([html.B(f"{deed}. Caution: "), step.caution], className="caution")
        for deed, step in _CAUTIONS
    ]


# under way


def _under_way(view: View, bench: Bench) -> list[Component]:
    step = bench.trial.next
    over = sum(m.end_ms is not None for m in bench.trial.marks)
    note = f"Step {min(over + 1, len(bench.trial.steps))} of {len(bench.trial.steps)}"
    card = _finished(view, bench) if step is None else _step(view, bench, step)
    rows = result_rows(bench.result(view.now_ms).document())
    so_far = [section("So far", rows)] if over else []
    return [section("Now", card, note=note), *so_far]


def _step(view: View, bench: Bench, step: TrialStep) -> Component:
    pump, running = bench.pump.id, bench.trial.running is not None
    buttons = [_button("Begin again" if running else "It is set: begin", "begin", view, pump=pump,
                       main=not running)]  # fmt: skip
    if running:
        buttons.insert(0, _button("Next", "end", view, pump=pump, main=True))
    buttons += [
        _button("Skip this step", "skip", view, pump=pump),
        _button("Give up the trial", "drop", view, pump=pump),
    ]
    display: list[Component] = []
    if running and step.kind == "setting" and bench.pump.drive == "electronic":
        field = dcc.Input(id={"type": "trial-display", "at": 0}, type="number", min=0)
        label = html.Label(["What the pump's display shows, W (may stay empty)", field])
        display.append(html.Div(label, className="form"))
    return html.Article(
        [
            html.H3(words.named(step.label)),
            html.P(step.words, className="lead"),
            html.P([html.B("Caution: "), step.caution], className="caution"),
            html.Div(live(bench, view.now_ms), id="trial-live"),
            *display,
            html.Div(buttons, className="row"),
            dcc.Interval(id="trial-look", interval=_LOOK_EVERY_MS),
        ],
        className="card",
    )


def live(bench: Bench, now_ms: int) -> Component:
    """Watts just now, minutes still wanted, and what is seen."""
    if bench.trial.running is None:
        objection = bench.objection(now_ms)
        return html.P([chip("not now", "soon"), f" {objection}"] if objection else [])
    seen = bench.view(now_ms)
    power = "unknown" if seen.power_w is None else f"{seen.power_w:.1f} W"
    left = "none" if seen.is_enough else f"{max(seen.left_s, 0.0) / 60:.1f} min"
    said = "Enough readings: go on with Next." if seen.is_enough else f"{seen.words}."
    kind = "fine" if seen.is_enough else "soon" if seen.begin_again else ""
    return html.Div(
        [
            facts(fact("Just now", power), fact("Still wanted", left)),
            html.P(chip(said[:1].upper() + said[1:], kind)),
        ]
    )


def _finished(view: View, bench: Bench) -> Component:
    return html.Article(
        [
            html.P("Every step is over.", className="lead"),
            html.Div(
                _button("Keep the result", "finish", view, pump=bench.pump.id, main=True),
                className="row",
            ),
        ],
        className="card",
    )


# results


def _last(view: View, pump: Pump) -> Component:
    document = view.result(f"trial.{pump.id}")
    if document is None:
        return section("Last trial", empty(f"{words.named(pump.id)} was never tried."))
    when = words.moment(parse_rfc3339(document["time"]), view.plant.timezone, view.now_ms)
    usual = f", left at {document['usual']}" if document["usual"] else ""
    note = f"Ended {when}{usual}"
    checks = html.Ul([_check(one) for one in document["checks"]], className="signs")
    offset = fact("Plug without load", words.estimate(document["plug_offset"]))
    return section("Last trial", result_rows(document), facts(offset), checks, note=note)


def result_rows(document: dict[str, Any]) -> Component:
    """The pump's own table: watts at each setting, and what they were measured at."""
    valve = [document["valve_shut"]] if document["valve_shut"] else []
    rows = [
        [
            row["setting"],
            words.estimate(row["power"]),
            f"{row['minutes']} min",
            "" if row["display_w"] is None else f"{row['display_w']:g} W",
            "" if row["voltage_v"] is None else f"{row['voltage_v']:.0f} V",
            _pipes(row),
        ]
        for row in (*document["table"], *valve)
    ]
    head = ("Setting", "Power", "Measured", "Display", "Mains", "Flow and return")
    return table(head, rows) if rows else empty("No setting is measured yet.")


def _pipes(row: dict[str, Any]) -> str:
    known = [f"{row[end]:.0f} °C" for end in ("flow_c", "return_c") if row[end] is not None]
    return ", ".join(known)


def _check(check: dict[str, Any]) -> Component:
    text, kind = _MARKS[check["agrees"]]
    return html.Li([chip(text, kind), f" {words.named(check['what'])}: {check['words']}"])


# what a person does


def callbacks(app: Dash, site: Site) -> None:
    """Moves of the trial, and the live watts."""

    def do(what: dict[str, str], given: list[Any]) -> str:
        names, usual, more, display_w = given
        return move(site, what, (plan_of(names, usual, more), display_w), clock_ms())

    on_deed(app, "trial", ("names", "usual", "more", "display"), do)

    @app.callback(
        Output("trial-live", "children"),
        Input("trial-look", "n_intervals"),
        State("address", "search"),
        prevent_initial_call=True,
    )
    def _look(_ticks: int | None, search: str | None) -> Any:
        view = view_still_there(site, search)
        bench = bench_of(site, view.plant.key, pump_of(view), view.now_ms)
        return no_update if bench is None else live(bench, view.now_ms)


def plan_of(names: str | None, usual: str | None, more: list[str] | None) -> TrialPlan:
    """What the form asks for; settings stand between commas."""
    settings = [name.strip() for name in (names or "").split(",") if name.strip()]
    wanted = more or []
    return TrialPlan(
        settings=settings,
        valve="valve" in wanted,
        offset="offset" in wanted,
        usual=(usual or "").strip() or None,
    )


def move(
    site: Site, what: dict[str, str], given: tuple[TrialPlan, float | None], now_ms: int
) -> str:
    """Do a button's move and say so, or why not.

    Parameters
    ----------
    site : Site
        Whose store and journal.
    what : dict
        Plant, pump and the deed: start, begin, end, skip, drop or finish.
    given : tuple
        What a fresh trial shall hold, and what the pump's display shows [W].
    now_ms : int
        The moment [ms].
    """
    wanted = given[0] if what["deed"] == "start" else None
    bench = bench_of(site, what["plant"], what["pump"], now_ms, wanted)
    if bench is None:
        return "No trial is under way; begin one."
    try:
        return _moved(bench, what["deed"], given[1], now_ms)
    except StokeholdError as error:
        return f"Not yet: {error}"


def _moved(bench: Bench, deed: str, display_w: float | None, now_ms: int) -> str:
    step = bench.trial.next
    name = "" if step is None else words.named(step.label)
    if deed == "start":
        bench.keep(bench.trial)
        return "The trial is begun; set the pump to the first setting."
    if deed == "begin":
        bench.begin(now_ms)
        return f"{name}: watching."
    if deed == "end":
        bench.end(now_ms, display_w)
        return f"{name}: measured."
    if deed == "skip":
        bench.skip(now_ms)
        return f"{name}: left out."
    if deed == "drop":
        bench.drop()
        return "The trial is given up."
    result = bench.finish(now_ms, who=visitor())
    back = "its usual setting" if result.usual is None else f"'{result.usual}'"
    return f"Kept. Set the pump back to {back}."


PAGE = Page(path=PATH, title="Trial", layout=layout, callbacks=callbacks, in_menu=False)
