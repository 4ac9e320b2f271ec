"""The table of all pages, in the order of the menu.

A page is a module here with a `PAGE`; adding one is adding its row.
"""

from dashboard.page import Page
from dashboard.pages import alarms, costs, data, history, logbook, now

PAGES: tuple[Page, ...] = (
    now.PAGE,
    history.PAGE,
    alarms.PAGE,
    costs.PAGE,
    data.PAGE,
    logbook.PAGE,
)
