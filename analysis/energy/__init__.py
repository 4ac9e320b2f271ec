"""What pumps and boiler use and cost: measured days, and the year with its interval.

No comparison of an old pump with a new one: that is in `analysis.savings`.

Doors: `costs`, `design_load`, `fuel_by_day`, `fuel_year`, `heat_meter`, `instrument_limits`,
`machine_year`, `measured`, `payback`, `pump_days`, `standing_loss`.
"""
