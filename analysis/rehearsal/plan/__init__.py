"""Which case is played: what happens when, and how it is told.

No physics.

Doors: `cases`, `events`, `telling`.
"""
