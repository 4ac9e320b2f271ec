"""Change-point regression, control charts and the combining of uncertainties.

Nothing of heating: series go in, series and estimates come out.

Doors: `change_point_regression`, `control_charts`, `uncertainty`.
"""
