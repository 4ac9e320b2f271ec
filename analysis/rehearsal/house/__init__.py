"""Houses drawn by chance: their parts, pipes and weather.

No event in time.

Doors: `draw`, `draw_pumps`, `layout`, `spec`, `weather`.
"""
