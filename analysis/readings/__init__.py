"""Readings as they came, laid out on minutes, and the two levels of power they show.

No judgement and no money.

Doors: `learned`, `mains_voltage`, `minute_grid`, `plant_minutes`, `power_bands`, `power_levels`,
`readings`, `situation`, `thinning`, `two_levels`, `usual_silence`, `worked_once`.
"""
