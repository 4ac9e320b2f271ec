"""The course of a house through its days, and the truth about it.

What the instruments make of it is in `instruments`.

Doors: `electric`, `play`, `scene`, `truth`, `warmth`, `year`.
"""
