"""Jobs on a schedule: watch, night, retention.

No page.

Doors: `jobs`, `schedule`.
"""
