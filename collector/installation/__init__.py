"""One installation: its plants, store and journal opened together, and its backup.

No schedule.

Doors: `alarm_acts`, `backup`, `site`, `trial_bench`.
"""
