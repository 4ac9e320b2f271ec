"""The journal: alarms, results, logbook, exchanges and trials in one database.

No readings: these are in `collector.store`.

Doors: `exchanges`, `journal`, `trials`.
"""
