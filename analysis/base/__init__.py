"""Time, quantities, estimates with their interval, and the one kind of error.

Nothing here knows a plant, a pump or a reading.

Doors: `errors`, `estimate`, `formatting`, `quantities`, `time`.
"""
