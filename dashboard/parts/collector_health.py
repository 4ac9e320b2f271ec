"""Whether anybody watches: what of the program itself keeps alarms from people, on every page."""

from dash import html

from analysis.base.time import MINUTE_MS
from dashboard.parts import words
from dashboard.parts.cards import chip
from dashboard.parts.page import Component, View

_UNWATCHED_MS = 10 * MINUTE_MS
"""A watch so old is no all-clear, whatever holds it up; a thousand plants take a minute."""
_UNREACHED_MS = MINUTE_MS


def own_troubles(view: View) -> list[Component]:
    """A banner for each trouble of the program itself."""
    return [
        html.P([chip("collector", "now"), f" {why[:1].upper()}{why[1:]}"], className="banner now")
        for why in _troubles(view)
    ]


def _troubles(view: View) -> list[str]:
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
    return told


def is_watched(view: View) -> bool:
    """Whether that nothing stands is worth anything: the plant was judged just now."""
    kept = view.site.journal.result(view.plant.key, "watch")
    return kept is not None and view.now_ms - kept[0] <= _UNWATCHED_MS


def watched(view: View) -> str:
    """When the plant was last judged, and how much of it could not be."""
    kept = view.site.journal.result(view.plant.key, "watch")
    if kept is None:
        return "The first watch is still to come."
    unknown = len(kept[1].get("cannot_judge", ()))
    more = f"; {words.count(unknown, 'check')} could not be made" if unknown else ""
    return f"Watched {words.ago(kept[0], view.now_ms)}{more}."
