"""Slow drift of power and flow against the pump's own baseline.

It names no fault: several faults read it.

Doors: `daily_spells`, `power_and_flow`, `power_at_equal_flow`, `power_rise`.
"""
