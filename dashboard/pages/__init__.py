"""The table of all pages, in the order of the menu.

A page is a module here with a `PAGE`; adding one is adding its row.
"""

from dashboard.pages import (
    alarms,
    boiler,
    costs,
    data,
    fitting,
    history,
    logbook,
    now,
    pump,
    swap,
    trial,
)
from dashboard.parts.page import Page

PAGES: tuple[Page, ...] = (
    now.PAGE,
    pump.PAGE,
    boiler.PAGE,
    swap.PAGE,
    fitting.PAGE,
    trial.PAGE,
    costs.PAGE,
    history.PAGE,
    alarms.PAGE,
    logbook.PAGE,
    data.PAGE,
)
