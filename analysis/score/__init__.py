"""What the judges find of the faults that are known to be there, against simple ways of judging.

Nothing that judges a real plant.

Doors: `score`, `simple_ways`, `sources`, `tally`.
"""
