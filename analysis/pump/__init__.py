"""What a pump does: epochs, baseline, settings, rests, night reduction, control mode.

No fault and no money.

Doors: `baseline`, `daily_rows`, `epochs`, `hours`, `mode_advice`, `night_reduction`,
`recurring_rests`, `running_power`, `setting_steps`, `state_now`.
"""
