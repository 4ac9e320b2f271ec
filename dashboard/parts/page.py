"""What a row of the table of pages holds, and what a page is given to draw from."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qsl, urlencode

from dash import Dash
from dash.exceptions import PreventUpdate

from analysis.base.errors import StokeholdError
from analysis.plant.plant import Plant, Pump
from collector.installation.site import Site
from collector.store.protocol import clock_ms

Component = Any
"""Anything Dash can draw."""


class NotHereError(StokeholdError):
    """A page names a plant or pump that is there no more.

    Pages stay open, and addresses in bookmarks, while plant files are changed; nothing meant for
    one plant may then happen to another.
    """


@dataclass(frozen=True, slots=True)
class View:
    """What a page is asked for: a plant of the site, the moment, and the address's query."""

    site: Site
    plant: Plant
    now_ms: int
    query: Mapping[str, str] = field(default_factory=dict)

    def result(self, name: str) -> Any:
        """Newest document a job made for this plant, or None."""
        found = self.site.journal.result(self.plant.key, name)
        return found[1] if found else None

    def link(self, path: str, **query: str) -> str:
        """Address of a page that keeps this plant in view."""
        several = {"plant": self.plant.key} if len(self.site.plants) > 1 else {}
        asked = several | query
        return f"{path}?{urlencode(asked)}" if asked else path


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One page.

    Attributes
    ----------
    path : str
        Its address, such as ``/boiler``.
    title : str
        One word or two for the menu.
    layout : callable
        Draws it for a `View`; it reads results and never computes them anew.
    callbacks : callable, optional
        Registers what the page does when a person acts on it.
    refresh_s : float, optional
        Drawn again so often; None for pages that hold forms or charts in use.
    in_menu : bool
        Whether the menu shows it.
    """

    path: str
    title: str
    layout: Callable[[View], Component]
    callbacks: Callable[[Dash, Site], None] | None = None
    refresh_s: float | None = None
    in_menu: bool = True


def view_of(site: Site, search: str | None, now_ms: int) -> View:
    """View for the query part of an address; one that names no plant gives the first.

    Raises
    ------
    NotHereError
        It names a plant that is not looked after here.
    """
    query = dict(parse_qsl((search or "").lstrip("?")))
    return View(site, plant_of(site, query.get("plant", "")), now_ms, query)


def view_still_there(site: Site, search: str | None) -> View:
    """View of an open page now, for what changes a part of it.

    Raises
    ------
    PreventUpdate
        Its plant is there no more: the part stays as it is, until the page is drawn anew.
    """
    try:
        return view_of(site, search, clock_ms())
    except NotHereError as error:
        raise PreventUpdate from error


def plant_of(site: Site, key: str) -> Plant:
    """Plant of a key; without one the first.

    Raises
    ------
    NotHereError
        No plant has this key.
    """
    plant = site.plant(key) if key else site.plants[0]
    if plant is None:
        words = f"no plant '{key:.60}' is looked after here now; its name may have been changed"
        raise NotHereError(f"{words}; choose the plant anew")
    return plant


def pump_known(plant: Plant, key: str) -> Pump:
    """Pump of an id.

    Raises
    ------
    NotHereError
        The plant has no such pump.
    """
    pump = next((p for p in plant.pumps if p.id == key), None)
    if pump is None:
        words = f"no pump '{key:.60}' is in the plant file of {plant.name} now"
        raise NotHereError(f"{words}; load the page anew")
    return pump
