"""Degree-days, and how the weather of a place spreads over the years.

No fuel and no plant's heat: these are in `analysis.energy`.

Doors: `degree_days`.
"""
