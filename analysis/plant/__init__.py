"""What a plant is made of: circuits, pumps, boiler, store, exchanges, and what a finding says.

No reading and no rule of a fault.

Doors: `boiler_limits`, `effects`, `exchanges`, `finding`, `installed_pump`, `logbook_kinds`,
`plant`.
"""
