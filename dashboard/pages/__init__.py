"""The table of all pages, in the order of the menu.

A page is a module here with a `PAGE`; adding one is adding its row.
"""

from dashboard.page import Page
from dashboard.pages import alarms, costs, data, history, logbook, now, pump, swap

PAGES: tuple[Page, ...] = (
    now.PAGE,
    pump.PAGE,
    swap.PAGE,
    costs.PAGE,
    history.PAGE,
    alarms.PAGE,
    logbook.PAGE,
    data.PAGE,
)
