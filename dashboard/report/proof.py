"""The report's section on whether an exchange saves what was claimed."""

import numpy as np
from matplotlib.dates import date2num

from analysis.base.time import YEAR_H, to_ms
from analysis.savings.result import Saving
from dashboard.parts.words import amount, estimate
from dashboard.report.blocks import Block, Picture, Points, Section, Words, drawn, table
from dashboard.report.pictures import BLUE, ORANGE, axes, dates, moments
from dashboard.report.report_data import Matter


def verdict_words(saving: Saving) -> str:
    """The saving and what it means for the claim, as the end of a sentence."""
    per_year = estimate(saving.per_year.document())
    claim = saving.swap.claim_kwh_per_year
    if claim is None or saving.verdict.word is None:
        return f"it saves {per_year} a year, nothing was claimed"
    word = saving.verdict.word.replace("_", " ")
    return f"it saves {per_year} a year; the claim of {claim:g} kWh is {word}"


def proof(matter: Matter) -> Section:
    """Whether each exchange saves what was claimed, and how that is known."""
    blocks: list[Block] = []
    zone = matter.asked.plant.timezone
    for saving in matter.savings:
        document = saving.document()
        blocks.append(Words(f"{saving.swap.pump}: {verdict_words(saving)}; {saving.verdict.why}"))
        rows = [
            ("measured so far", estimate(document["saved_so_far"])),
            ("projected a year", estimate(document["saving_per_year"])),
            ("claimed a year", amount(document["claim_kwh_per_year"], "kW.h")),
            ("worth a year, electricity", estimate(document["money"]["electricity_per_year"])),
            ("after the boiler's extra heat", estimate(document["money"]["net_per_year"])),
            ("method", saving.method),
        ]
        blocks.append(table(("what", "figure"), rows, (2, 5)))
        blocks += [p for p in (before_and_after(saving, zone), cumulated(saving, zone)) if p]
        blocks += [Points(saving.notes)] if saving.notes else []
    return Section("The proof of the saving", tuple(blocks))


def before_and_after(saving: Saving, timezone: str) -> Picture | None:
    """Measured use day by day, and what the old pump would have used, with its interval."""
    days = [day for day in saving.days if day.measured_kwh is not None]
    if not days:
        return None
    when = moments([day.start_ms for day in days], timezone)
    figure, drawing = axes()
    use = np.array([day.measured_kwh for day in days], float)
    drawing.plot(when, use, "o", ms=3, color=BLUE, label="measured")
    since = np.array(
        [d.start_ms >= to_ms(saving.swap.time) and d.old_kwh is not None for d in days]
    )
    if since.any():
        old, low, high = (
            np.array([getattr(day, name) for day in days], float)[since]
            for name in ("old_kwh", "old_low", "old_high")
        )
        drawing.plot(when[since], old, color=ORANGE, label="the old pump")
        drawing.fill_between(when[since], low, high, color=ORANGE, alpha=0.25, linewidth=0)
    drawing.axvline(float(date2num(saving.swap.time)), color="#555555", linewidth=1, linestyle="--")
    drawing.set_ylim(bottom=0)
    drawing.set_ylabel("kWh a day")
    figure.legend(loc="outside upper right", ncols=2, frameon=False)
    dates(drawing, timezone)
    words = (
        f"Use of {saving.swap.pump} day by day, and what the old pump would have used on the days "
        "since the swap, with the 95 % interval."
    )
    return drawn(figure, words)


def cumulated(saving: Saving, timezone: str) -> Picture | None:
    """The saving so far day by day, with its interval, and the claim's pace as a line."""
    days = [day for day in saving.days if day.start_ms >= to_ms(saving.swap.time)]
    if len(days) < 2:
        return None
    when = moments([day.start_ms for day in days], timezone)
    figure, drawing = axes()
    low, high = (np.array([getattr(day, n) for day in days]) for n in ("so_far_low", "so_far_high"))
    drawing.fill_between(when, low, high, color=BLUE, alpha=0.25, linewidth=0)
    drawing.plot(when, np.array([day.so_far for day in days]), color=BLUE, label="saved so far")
    claim = saving.swap.claim_kwh_per_year
    if claim is not None:
        pace = claim * (when - when[0]) * 24.0 / YEAR_H
        label = "the claim, spread evenly over the year"
        drawing.plot(when, pace, color=ORANGE, linestyle="--", label=label)
    drawing.set_ylabel("kWh")
    figure.legend(loc="outside upper right", ncols=2, frameon=False)
    dates(drawing, timezone)
    words = "What was saved since the swap, with the 95 % interval, and the claim as a line."
    return drawn(figure, words)
